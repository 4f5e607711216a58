"""Checks of a station against those before: false alarms and drifts by simulation, and the rest.

What a limit promises is a probability, so that is what the simulations hold it to.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from made_checks import DAY_S, Kept, check_of, past_of, tone, written
from scipy.stats import t as student

from analyzer.analysis import analyze_folder
from analyzer.errors import UnusableInputError
from analyzer.lot.station_check.baseline import baseline_of
from analyzer.lot.station_check.check import CheckRequest, check_station
from analyzer.lot.station_check.instrument_values import instrument_values
from analyzer.lot.station_check.judge import as_past, judge
from analyzer.lot.station_check.model import Check, CheckedStation, Judged
from analyzer.lot.station_check.thresholds import BASELINE_CHECKS, FALSE_ALARM
from analyzer.lot.statistics.charts import individuals_charts
from analyzer.lot.store import FILE_NAME, open_store

WANTED = BASELINE_CHECKS
SIGMA_CENTS = 0.02  # from day to day, of the simulated stations


def verdict(values, day) -> str:
    """Of the check of one day, after those before it."""
    past = [past_of(n, values[n]) for n in range(day)]
    return judge(check_of(day, values[day]), past, baseline_checks=WANTED).verdict


def test_limits_of_a_baseline_are_a_prediction_interval() -> None:
    """By its formula, with Student's t of scipy.stats."""
    values = np.random.default_rng(1).normal(0.1, SIGMA_CENTS, WANTED)
    found = baseline_of([past_of(n, v) for n, v in enumerate(values)], [], "c0_cents", "cents", 5)
    charts = individuals_charts(values, range(WANTED))
    sigma = charts.process.spread
    factor = student.ppf(1 - FALSE_ALARM / 10 / 2, sigma.degrees_of_freedom)
    assert sigma.sigma == pytest.approx(np.mean(np.abs(np.diff(values))) / 1.128, rel=1e-3)
    expected = factor * sigma.sigma / sigma.chi_ratio * math.sqrt(1 + 1 / WANTED)
    assert found.half_width == pytest.approx(expected, rel=1e-9)
    assert found.mean == pytest.approx(np.mean(values), abs=1e-12)


@pytest.mark.parametrize("characteristics", [1, 6])
def test_unchanged_stations_are_called_changed_as_seldom_as_stated(characteristics) -> None:
    """400 stations, the 30th check after the baseline of each.

    The rate stated is 1 %; more than 9 of 400 would come by chance once in 100 times (binomial).
    """
    rng = np.random.default_rng(2)
    changed = 0
    for _ in range(400):
        values = rng.normal(0.0, SIGMA_CENTS, (WANTED + 30, characteristics))
        changed += verdict(values, WANTED + 29) == "changed"
    assert FALSE_ALARM == 0.01
    assert changed <= 9


@pytest.mark.parametrize("seed", range(5))
def test_a_slow_drift_is_found_within_two_weeks(seed) -> None:
    """0.02 cents a day, as much as the scatter, from the day after the baseline.

    By then a value lies 14 standard deviations off, the mean of a week 11; limits for one
    characteristic are five and two.
    """
    rng = np.random.default_rng(seed)
    days = WANTED + 14
    drift = 0.02 * np.maximum(np.arange(days) - WANTED + 1, 0)
    values = rng.normal(0.0, SIGMA_CENTS, days) + drift
    first = next(day for day in range(WANTED, days) if verdict(values, day) == "changed")
    assert first - WANTED < 14
    found = judge(
        check_of(days - 1, values[-1]),
        [past_of(n, v) for n, v in enumerate(values[:-1])],
        baseline_checks=WANTED,
    )
    slope = found.judged[0].trend
    assert abs(slope.slope_per_day - 0.02) < 4 * slope.slope_uncertainty_per_day
    assert "mean of the last 7" in found.judged[0].reason


def test_the_mean_of_a_week_finds_what_no_single_check_does() -> None:
    """Three standard deviations: within the limits of a single check, of a mean's far beyond."""
    rng = np.random.default_rng(4)
    values = rng.normal(0.0, SIGMA_CENTS, WANTED + 10)
    values[WANTED:] = 3 * SIGMA_CENTS
    last = WANTED + 9
    found = judge(
        check_of(last, values[last]),
        [past_of(n, v) for n, v in enumerate(values[:last])],
        baseline_checks=WANTED,
    )
    assert found.verdict == "changed"
    low, high = found.judged[0].limits
    assert low < values[last] < high


def cautions_of(values, unsure_cents=0.001) -> tuple[str, ...]:
    """Of the last of these checks, of one characteristic."""
    last = len(values) - 1
    check = check_of(last, values[last])
    unsure = replace(check.values[0], standard_uncertainty=unsure_cents)
    past = [
        replace(past_of(n, value), values={"c0_cents": (value, unsure_cents)})
        for n, value in enumerate(values[:last])
    ]
    found = judge(replace(check, values=(unsure,)), past, baseline_checks=WANTED)
    assert found.verdict == "no baseline yet"
    assert found.complete
    return found.cautions


def test_a_jump_among_the_first_checks_is_told_of_and_changes_no_verdict() -> None:
    """440.05 Hz, then 440.2 Hz: 1200 log2 of their ratio is 0.590 cents."""
    first, second = (1200 * math.log2(hz / 440) for hz in (440.05, 440.2))
    (text,) = cautions_of([first, second])
    assert "lies +0.59 cents from the check before" in text
    assert "--new-baseline" in text
    (text,) = cautions_of([second, first])
    assert "lies -0.59 cents" in text
    (text,) = cautions_of([first, first + 0.01, first - 0.01, first, second])
    assert "from the mean of the 4 checks before" in text


def test_what_clock_scatter_or_uncertainty_explains_is_no_jump() -> None:
    assert cautions_of([0.0]) == ()
    assert cautions_of([0.0, 1200 * math.log2(1 + 50e-6)]) == ()  # 50 ppm: a crystal's tolerance
    assert cautions_of([0.0, 0.6], unsure_cents=0.1) == ()  # 0.6 / (0.1 sqrt 2) = 4.2 sigma
    assert len(cautions_of([0.0, 0.8], unsure_cents=0.1)) == 1  # 5.7
    # Three checks 0.3 cents apart: t(2; 0.995) = 9.92, times 0.3, times sqrt(4/3): 3.4 cents.
    assert cautions_of([-0.3, 0.0, 0.3, 3.3]) == ()
    assert len(cautions_of([-0.3, 0.0, 0.3, 3.6])) == 1


def test_once_there_is_a_baseline_the_chart_judges_alone() -> None:
    values = [*np.random.default_rng(5).normal(0.0, SIGMA_CENTS, WANTED), 0.6]
    past = [past_of(n, value) for n, value in enumerate(values[:-1])]
    found = judge(check_of(WANTED, values[-1]), past, baseline_checks=WANTED)
    assert found.verdict == "changed"
    assert found.cautions == ()


def test_first_checks_have_no_baseline() -> None:
    values = np.full(WANTED + 1, 0.1)
    assert verdict(values, 2) == "no baseline yet"
    assert verdict(values, WANTED - 1) == "no baseline yet"
    assert verdict(values, WANTED) == "as before"


def test_a_baseline_without_scatter_has_limits_from_what_matters() -> None:
    values = np.full(WANTED + 2, 0.1)
    values[-1] += 0.5
    assert verdict(values, WANTED) == "as before"
    assert verdict(values, WANTED + 1) == "changed"


def test_a_baseline_that_runs_is_named() -> None:
    values = 0.05 * np.arange(WANTED + 1.0) + np.random.default_rng(1).normal(0, 0.01, WANTED + 1)
    past = [past_of(n, v) for n, v in enumerate(values[:-1])]
    found = judge(check_of(WANTED, values[-1]), past, baseline_checks=WANTED)
    assert any("itself runs by +0.05" in each for each in found.cautions)


@pytest.fixture
def kept() -> Kept:
    return Kept()


def days_of(folder, kept, count, change=lambda _, samples: samples):
    """So many checks by a tone, one a day, whose level and pitch scatter a little."""
    rng = np.random.default_rng(3)
    for day in range(count):
        samples = tone(
            440 * (1 + 2e-6 * rng.standard_normal()),
            length_s=4.0,
            amplitude=0.2 * (1 + 0.005 * rng.standard_normal()),
            noise=1e-4 * (1 + 0.02 * rng.standard_normal()),
            harmonics=(2e-3, 1e-3),
            seed=day,
        )
        path = written(folder / f"{day}.wav", change(day, samples))
        yield check_station(asked(path, day), kept)


def asked(path, day, **request: object) -> CheckRequest:
    moment = np.datetime64("2026-01-01T08:00:00") + np.timedelta64(day, "D")
    return CheckRequest(path, "bench-1", 440.0, f"{moment}", 6, **request)


def by_key(found, key) -> Judged:
    return next(each for each in found.judged if each.value.key == key)


def test_a_station_over_days(tmp_path, kept) -> None:
    found = list(days_of(tmp_path, kept, 9))
    assert [each.verdict for each in found] == ["no baseline yet"] * 6 + ["as before"] * 3
    last = found[-1]
    assert last.complete
    assert (last.earlier, last.baseline_had) == (8, 6)
    chart = by_key(last, "pitch_cents").charts.location
    assert len(chart.points) == 9
    assert chart.labels[0] == "2026-01-01T08:00:00Z"


def lost(day, samples):
    return np.delete(samples, slice(50_000, 50_123)) if day == 7 else samples


def clipped(day, samples):
    return np.clip(samples, -0.1, 0.1) if day == 7 else samples


def hummed(day, samples):
    return samples + (day == 7) * 0.01 * np.sin(2 * np.pi * 50 * np.arange(samples.size) / 44100)


def softer(day, samples):
    return samples * (0.7 if day == 7 else 1)


def shifted(day, samples):
    return samples + (0.02 if day == 7 else 0)


def silent(day, samples):
    return samples * (day != 7)


@pytest.mark.parametrize(
    ("change", "key"),
    [
        (lost, "breaks"),
        (clipped, "clipped_percent"),
        (hummed, "hum_dbfs"),
        (softer, "level_dbfs"),
        (shifted, "offset_percent"),
    ],
)
def test_each_change_of_the_chain_is_found_and_named(tmp_path, kept, change, key) -> None:
    *_, before, found = days_of(tmp_path, kept, 8, change)
    assert before.verdict == "as before"
    assert (found.verdict, found.complete) == ("changed", False)
    assert by_key(found, key).standing == "changed"
    assert by_key(found, key).remedy


@pytest.mark.fault("a station check that is silent")
def test_a_silent_recording_is_kept_as_not_measured_and_spoils_no_baseline(tmp_path, kept) -> None:
    *_, found = days_of(tmp_path, kept, 8, silent)
    assert (found.verdict, found.judged) == ("not measured", ())
    assert "silent" in found.reason
    again = check_station(asked(tmp_path / "6.wav", 20), kept)
    assert again.verdict == "as before"
    (once, stale) = again.cautions
    assert once.startswith("this recording was checked before")
    assert "2026-01-07T08:00:00" in stale  # the day of the first time, and this is the 21st
    assert "whether the station stores what it hears" in stale
    assert len({each.sha256 for each in kept.station_checks("bench-1")}) == 8


def test_a_faulty_check_makes_no_baseline(tmp_path, kept) -> None:
    def early(day, samples) -> np.ndarray:
        return np.delete(samples, slice(50_000, 50_123)) if day == 2 else samples

    found = list(days_of(tmp_path, kept, 8, early))
    assert found[2].verdict == "changed"
    assert found[6].verdict == "no baseline yet"  # it is the sixth sound one
    assert found[7].verdict == "as before"


def test_another_rate_is_a_change_of_settings(tmp_path, kept) -> None:
    list(days_of(tmp_path, kept, 7))
    path = written(tmp_path / "48.wav", tone(rate_hz=48000, length_s=4.0, amplitude=0.2), 48000)
    found = check_station(asked(path, 8), kept)
    assert by_key(found, "rate_hz").standing == "changed"
    assert "44100 Hz in the first check" in by_key(found, "rate_hz").reason


def test_a_new_baseline_forgets_the_old(tmp_path, kept) -> None:
    list(days_of(tmp_path, kept, 7))
    path = written(tmp_path / "new.wav", tone(440.1, length_s=4.0, amplitude=0.1))
    assert check_station(asked(path, 8), kept).verdict == "changed"
    found = check_station(asked(path, 8, new_baseline=True), kept)
    assert (found.verdict, found.baseline_had) == ("no baseline yet", 1)
    once_more = check_station(asked(path, 8), kept)  # the same recording keeps its mark
    assert once_more.verdict == "no baseline yet"


def test_a_tolerance_is_held_from_the_first_check(tmp_path, kept) -> None:
    """440 Hz and 0.4 cents."""
    path = written(tmp_path / "a.wav", tone(440 * 2 ** (0.4 / 1200), length_s=4.0))
    found = check_station(asked(path, 0, tolerance_cents=0.3), kept)
    assert found.verdict == "changed"
    assert "0.400 cents is beyond the tolerance" in found.reason
    assert found.baseline_had == 0  # it makes no baseline
    other = asked(written(tmp_path / "b.wav", tone(440.0, seed=2)), 1, tolerance_cents=0.3)
    assert check_station(other, kept).baseline_had == 1
    assert check_station(asked(path, 0, tolerance_cents=0.5), kept).verdict == "no baseline yet"


def test_the_same_recording_is_no_second_check(tmp_path, kept) -> None:
    path = written(tmp_path / "a.wav", tone(length_s=4.0))
    check_station(asked(path, 0), kept)
    found = check_station(asked(path, 1), kept)
    assert found.earlier == 0
    assert any("checked before" in each for each in found.cautions)


@pytest.mark.fault("a station whose clock runs backwards")
def test_a_clock_that_runs_backwards_is_said(tmp_path, kept) -> None:
    first = written(tmp_path / "a.wav", tone(length_s=4.0))
    second = written(tmp_path / "b.wav", tone(length_s=4.0, seed=2))
    check_station(asked(first, 10), kept)
    found = check_station(asked(second, 5), kept)
    assert any("before the last check" in each for each in found.cautions)
    assert found.baseline_had == 1  # what came later does not judge it


def test_a_dead_channel_does_not_go_unnoticed(tmp_path, kept) -> None:
    def two(day, samples) -> np.ndarray:
        left = samples * (1e-6 if day == 7 else 1)
        return np.column_stack([left, 0.5 * samples])

    *_, found = days_of(tmp_path, kept, 8, two)
    assert found.verdict == "not measured"
    assert "silent on channel 1" in found.reason


def test_stations_and_references_are_kept_apart(tmp_path, kept) -> None:
    list(days_of(tmp_path, kept, 7))
    path = written(tmp_path / "x.wav", tone(220.0, length_s=4.0))
    at = "2026-02-01T08:00:00Z"
    other = check_station(CheckRequest(path, "bench-1", 220.0, at, 6), kept)
    assert other.earlier == 0
    path = written(tmp_path / "y.wav", tone(length_s=4.0))
    assert check_station(CheckRequest(path, "bench-2", 440.0, at, 6), kept).earlier == 0


def test_the_store_keeps_what_memory_does(tmp_path, kept) -> None:
    in_memory = list(days_of(tmp_path / "a", kept, 8, softer))[-1]
    with open_store(tmp_path / FILE_NAME, create=True) as store:
        list(days_of(tmp_path / "a", store, 7, softer))
    with open_store(tmp_path / FILE_NAME, create=False) as store:
        found = check_station(asked(tmp_path / "a" / "7.wav", 7), store)
        rows = store.station_checks("bench-1")
    assert found == in_memory
    assert {each.checked_s for each in rows} == {
        1767254400.0 + DAY_S * day for day in range(8)
    }  # 2026-01-01T08:00:00Z
    level = [each for each in rows if each.characteristic == "level_dbfs"][-1]
    assert (level.verdict, level.lower_limit) == ("changed", found.judged[1].limits[0])


def instrument_check(report, day, rng, *, sharper_cents=0.0, tuned_cents=0.0) -> Check:
    """A day's report: every error scatters by 0.1 cents, the first also by ``sharper_cents``."""
    strings = [
        replace(
            each,
            error_cents=each.error_cents + rng.normal(0, 0.1) + sharper_cents * (number == 0),
            open_hz=each.open_hz * 2 ** ((rng.normal(0, 2) + tuned_cents) / 1200),
        )
        for number, each in enumerate(report.strings)
    ]
    values = instrument_values(replace(report, strings=tuple(strings)))
    at = day * DAY_S
    return Check("s", "instrument", f"{day:064x}", "f", f"day {day}", at, values)


def test_an_instrument_finds_a_change_of_its_errors_and_not_of_its_tuning(first_round) -> None:
    report = analyze_folder(first_round / "before", jobs=1)
    rng = np.random.default_rng(9)
    past = [as_past(instrument_check(report, day, rng)) for day in range(WANTED)]
    string = report.strings[0].string

    def judged(day, **change: float) -> CheckedStation:
        check = instrument_check(report, day, rng, **change)
        return judge(check, past, baseline_checks=WANTED)

    assert judged(WANTED + 1).verdict == "as before"
    assert judged(WANTED + 2, tuned_cents=30.0).verdict == "as before"
    found = judged(WANTED + 3, sharper_cents=2.0)
    assert found.verdict == "changed"
    assert found.reason.startswith(f"string {string} error: ")
    assert by_key(found, f"string_{string}_open_pitch_cents").standing == "not judged"


def test_a_folder_of_the_reference_instrument_is_a_check(first_round, kept) -> None:
    folder = first_round / "before"
    found = check_station(CheckRequest(folder, "bench-1", at="2026-01-01T08:00:00Z"), kept, jobs=1)
    assert found.verdict == "no baseline yet"
    assert found.check.reference.startswith("instrument ")
    assert "does not find the clock" in dict(found.check.told)["It finds"]
    kinds = {each.value.kind for each in found.judged}
    assert kinds == {"charted", "shown"}


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"station": " "}, "--station"),
        ({"tone_hz": None}, "--tone"),
        ({"tone_hz": math.nan}, "--tone"),
        ({"tone_hz": 5.0}, "20 to 20000"),
        ({"tolerance_cents": -1.0}, "--tolerance-cents"),
        ({"baseline_checks": 2}, "--baseline"),
        ({"at": "yesterday"}, "--at"),
        ({"at": "0001-01-01T00:00:00+23:00"}, "--at"),  # the year 0 in UTC
    ],
)
@pytest.mark.fault("a station check that cannot be asked for")
def test_what_cannot_be_asked_is_one_line(tmp_path, kept, change, words) -> None:
    path = written(tmp_path / "a.wav", tone(length_s=4.0))
    asked_for = {"place": path, "station": "s", "tone_hz": 440.0} | change
    with pytest.raises(UnusableInputError) as error:
        check_station(CheckRequest(**asked_for), kept)
    assert words in str(error.value)
    assert "\n" not in str(error.value)
    assert not kept.rows
