"""Second lines that all partials share, stage by stage: loops, numpy's lines, and made partials."""

from __future__ import annotations

import math

import numpy as np
import pytest

from analyzer.pitch.beats import _looks, _share, _uneven, beat_hz
from analyzer.pitch.partials import Peaks
from analyzer.pitch.phases import Rest

RATES, BINS, MOST_CYCLES = 600, 1024, 0.4
STEP_S = 0.025
TIMES_S = 0.06 + STEP_S * np.arange(120)


def peaks_of(numbers, standing=None) -> Peaks:
    numbers = np.array(numbers, dtype=float)
    say = np.ones(numbers.size) if standing is None else np.array(standing)
    return Peaks(numbers, 100 * numbers, 40 * np.ones(numbers.size), say)


def lines_of(numbers, rate_hz: float, depth: float = 0.4, decay: float = 0.8):
    """Equation (1) of the module, times against the first sample's."""
    turned = np.exp(2j * np.pi * np.array(numbers)[:, None] * rate_hz * TIMES_S)
    return np.exp(-decay * TIMES_S) * (1 + depth * turned)


def rest_of(values, noise=1e-7) -> Rest:
    return Rest(values, np.broadcast_to(noise, len(values)).astype(float), TIMES_S)


def found_in(numbers, values, noise=1e-7, standing=None) -> float:
    return beat_hz(rest_of(values, noise), peaks_of(numbers, standing))


# --- where it looks


def test_looks_are_at_each_partials_multiple_of_every_rate() -> None:
    """Up and down to 0.4 cycles a sample of the lowest partial, none beyond that of any."""
    numbers = (2.0, 3.0, 5.0)
    looks = _looks(numbers)
    expected = []
    for partial, number in enumerate(numbers):
        for rate in range(2 * RATES):
            cycles = number / 2 * MOST_CYCLES * (rate % RATES + 1) / RATES
            if cycles <= MOST_CYCLES - 1e-9:  # right at the limit rounding chooses
                upwards = cycles if rate < RATES else -cycles
                expected.append((partial, rate, round(upwards * BINS) % BINS, cycles))
    inside = looks.away < MOST_CYCLES - 1e-9
    columns = (looks.partial, looks.rate, looks.bin, looks.away)
    got = sorted(zip(*(each[inside].tolist() for each in columns), strict=True))
    assert np.max(looks.away) == pytest.approx(MOST_CYCLES)
    assert [each[:3] for each in got] == [each[:3] for each in sorted(expected)]
    assert [each[3] for each in got] == pytest.approx([each[3] for each in sorted(expected)])


def test_lines_are_told_apart_that_turn_once_in_what_is_heard() -> None:
    looks = _looks((1.0, 2.0))
    counts = np.array([20, 50])
    told = looks.only_told_apart(counts)
    assert np.min(told.away[told.partial == 0]) == pytest.approx(0.05, abs=MOST_CYCLES / RATES)
    assert np.min(told.away[told.partial == 1]) == pytest.approx(0.02, abs=2 * MOST_CYCLES / RATES)
    cycles = looks.away * counts[looks.partial]
    for name in ("partial", "rate", "bin", "away"):
        assert np.array_equal(getattr(told, name), getattr(looks, name)[cycles >= 1])


# --- what is left beside an even decay


def test_what_is_uneven_is_beside_numpys_own_lines() -> None:
    """A decay through the logarithms, then a straight line through either part; where heard."""
    rng = np.random.default_rng(1)
    heard = np.arange(120) < np.array([[120], [40]])
    values = lines_of([1, 2], 1.3) + 0.05 * (rng.normal(size=(2, 120)) + 1j)
    found = _uneven(values, heard, TIMES_S)
    for row, kept, values_of_it in zip(found, heard, values, strict=True):
        t, there = TIMES_S[kept], values_of_it[kept]
        level = there * np.exp(-np.polyval(np.polyfit(t, np.log(np.abs(there)), 1), t))
        line = np.polyval(np.polyfit(t, level.real, 1), t)
        line = line + 1j * np.polyval(np.polyfit(t, level.imag, 1), t)
        assert row[kept] == pytest.approx(level - line)
        assert np.all(row[~kept] == 0)


def test_an_even_partial_leaves_nothing() -> None:
    values = np.exp(-0.8 * TIMES_S[None] + 0.3j)
    assert np.abs(_uneven(values, np.ones((1, 120), bool), TIMES_S)) == pytest.approx(0, abs=1e-12)


# --- what second lines explain


def test_share_is_the_mean_over_the_partials_by_their_say() -> None:
    """Of line over power, by a loop; fewer than 2.5 of say in all count as 2.5."""
    rng = np.random.default_rng(2)
    numbers = (1.0, 2.0, 3.0, 4.0)
    looks = _looks(numbers)
    lines, power = rng.uniform(0.2, 1, (4, BINS)), np.array([1.0, 2.0, 1.5, 3.0])
    say = np.array([1.0, 0.9, 0.6, 0.8])
    found = _share(lines, power, say, looks)
    assert found.shape == (2 * RATES,)
    for rate in (0, 77, 149, 150, 250, 599, 600, 820, 1199):
        at = looks.rate == rate
        partial = looks.partial[at]
        parts = say[partial] * lines[partial, looks.bin[at]] / power[partial]
        assert found[rate] == pytest.approx(np.sum(parts) / max(np.sum(say[partial]), 2.5))
    assert found[5] != found[605]  # upwards is not downwards


def test_lines_a_twentieth_deep_are_the_faintest() -> None:
    """By amplitude, and on average."""
    looks, say = _looks((1.0, 2.0, 3.0)), np.ones(3)
    for depths, heard in (([0.04, 0.05, 0.057], False), ([0.04, 0.05, 0.063], True)):
        lines = np.repeat(np.square(depths)[:, None], BINS, axis=1)
        share = _share(lines, np.ones(3), say, looks)
        assert (share[50] > 0) == heard


# --- the rate


@pytest.mark.parametrize("rate_hz", [1.5, -1.5, 2.4])
@pytest.mark.parametrize("numbers", [[1, 2, 3, 4, 5], [2, 3, 4, 6], [3, 5, 6]])
def test_rate_is_that_of_the_first_partial_whichever_are_heard(numbers, rate_hz) -> None:
    """Above or below; to the steps of the rates and of the bins of the lowest partial."""
    step_hz = max(MOST_CYCLES / RATES, 0.5 / BINS) / STEP_S / min(numbers)
    found = found_in(numbers, lines_of(numbers, rate_hz))
    assert found == pytest.approx(abs(rate_hz), abs=step_hz)


def test_a_rate_that_only_some_partials_have_is_none() -> None:
    numbers = np.arange(1, 7)
    rates = np.array([1.5, 1.5, 2.7, 0.9, 3.1, 2.1])  # of each on its own
    values = np.concatenate([lines_of([k], each) for k, each in zip(numbers, rates, strict=True)])
    assert math.isnan(found_in(numbers, values))
    one = [1, 0.01, 0.01, 0.01, 0.01, 0.01]  # who stands alone explains itself
    assert math.isnan(found_in(numbers, values, standing=one))
    mostly = np.concatenate([lines_of(numbers[:5], 1.5), lines_of([6], 2.1)])
    assert found_in(numbers, mostly) == pytest.approx(1.5, abs=0.03)


def test_partials_without_standing_have_no_say() -> None:
    """Three beat together, three otherwise: by who stands."""
    numbers = np.arange(1, 7)
    values = np.concatenate([lines_of([1, 2, 3], 1.5), lines_of([4], 0.6), lines_of([5], 1.1),
                             lines_of([6], 0.9)])  # fmt: skip
    assert math.isnan(found_in(numbers, values))
    stand = [1, 1, 1, 0.01, 0.01, 0.01]
    assert found_in(numbers, values, standing=stand) == pytest.approx(1.5, abs=0.03)


@pytest.mark.parametrize(("share", "heard"), [(0.78, True), (0.62, False)])
def test_seven_tenths_must_be_explained(share, heard) -> None:
    """Beside the common line each partial has one of its own, of the rest of the power."""
    numbers = np.arange(1, 7)
    own_hz = np.array([4.1, -5.3, 6.2, -3.4, 9.7, -7.7])[:, None]
    both = math.sqrt(share) * np.exp(2j * np.pi * numbers[:, None] * 1.5 * TIMES_S)
    both = both + math.sqrt(1 - share) * np.exp(2j * np.pi * own_hz * TIMES_S)
    found = found_in(numbers, np.exp(-0.5 * TIMES_S) * (1 + 0.15 * both))
    assert math.isfinite(found) == heard


@pytest.mark.parametrize(("over", "heard"), [(60.5, True), (59.5, False)])
def test_what_is_not_60_times_the_usual_noise_is_not_heard(over, heard) -> None:
    """Of five partials' noises the second smallest is at a quarter; beats make noise of others.

    Nothing counts behind a sample that is too faint, here the first.
    """
    values = lines_of(np.arange(1, 6), 1.5, decay=0.0)
    values[:, 0] *= 0.5 / np.abs(values[:, 0])
    noise = 0.25 / over * np.array([50.0, 1.0, 0.01, 30.0, 20.0])
    assert math.isfinite(found_in(np.arange(1, 6), values, noise)) == heard


@pytest.mark.parametrize(("count", "enough"), [(12, True), (11, False)])
def test_three_partials_of_twelve_samples_are_the_fewest(count, enough) -> None:
    """The third dies away after so many; what comes back later is another's."""
    values = lines_of([1, 2, 3], 3.0)
    values[2, count] = 1e-9
    assert math.isfinite(found_in([1, 2, 3], values)) == enough


@pytest.mark.parametrize("numbers", [[1], [2], [1, 2]])
def test_one_or_two_partials_never_beat(numbers) -> None:
    assert math.isnan(found_in(numbers, lines_of(numbers, 2.0)))


def test_what_comes_after_a_partial_has_died_away_says_nothing() -> None:
    values = lines_of([1, 2, 3, 4], 2.0)
    values[:, 80] = 1e-9
    values[:, 81:] = 5.0 * np.exp(2j * np.pi * 3.3 * TIMES_S[81:])
    assert found_in([1, 2, 3, 4], values) == pytest.approx(2.0, abs=0.03)
