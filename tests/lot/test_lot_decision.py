"""Decisions on values and instruments: by hand, from reports, and by simulation."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from made_notes import CLEAN, SIX, note
from scipy import stats

from analyzer.instrument.model import Instrument
from analyzer.lot.judgement.decision import Decision, combine, decide, decide_instrument
from analyzer.lot.judgement.measurement import Measurement, NoteSpread, measurements
from analyzer.lot.judgement.specification import (
    DecisionRule,
    Limits,
    Requirement,
    Specification,
)
from analyzer.measure import Measured
from analyzer.music import note_hz
from analyzer.recording.labels import Label
from analyzer.report.build import build_report

GUARDED, SHARED = DecisionRule(), DecisionRule("shared risk")
LIMITS = Limits(-3.0, 3.0)


def measured(value: float, u: float = 0.5, **changes: Any) -> Measurement:
    """One take of one note, its uncertainty known well unless ``changes`` say otherwise."""
    spread = (NoteSpread(1, 0.0, u**2),)
    return replace(Measurement("error_cents", 3, value, spread), **changes)


def test_a_limit_on_one_side_leaves_the_other_open() -> None:
    falls_at_most = Limits(-8.0, None)
    assert decide(measured(90.0), falls_at_most, GUARDED).verdict == "conform"
    assert decide(measured(-9.0), falls_at_most, GUARDED).verdict == "not conform"
    at_most = Limits(None, 8.0)
    assert decide(measured(-90.0), at_most, GUARDED).verdict == "conform"
    assert decide(measured(9.0), at_most, GUARDED).verdict == "not conform"


# How far inside or outside the limit; u = 1/sqrt(n) for n takes of one note: 1.645/sqrt(n) <= 0.7
# from n = 6 on; for both notes of variance 1 each, sqrt(2/n), from n = 12 on.
@pytest.mark.parametrize("value", [3.0 - 0.7, 3.0 + 0.7, -3.0 + 0.7, -3.0 - 0.7])
@pytest.mark.parametrize(("notes", "most", "more"), [(1, 10, 5), (2, 11, 11), (2, 10, None)])
def test_how_many_more_takes_settle_it(value, notes, most, more) -> None:
    spread = (NoteSpread(1, 0.0, 1.0),) * notes
    rule = DecisionRule(most_more_takes=most)
    found = decide(measured(value, notes=spread), LIMITS, rule)
    assert (found.verdict, found.more_takes) == ("not decided", more)
    if more is None:
        assert "More than 10 more takes would be needed" in found.reason
    else:
        assert f"Record {more} more takes of {'both notes' if notes > 1 else 'the note'}" in (
            found.reason
        )


def test_more_takes_also_make_the_scatter_better_known() -> None:
    """A scatter of 0.27 cents with 3 degrees of freedom, two for each further take of both notes.

    By any t table the guard band is 2.353 x 0.382 = 0.90 now, 2.015 x 0.27 = 0.54 with one more
    take and 1.895 x 0.220 = 0.42 with two; the normal factor would say one more for 0.5.
    """
    spread = (NoteSpread(1, 0.27**2, 0.0),) * 2
    for inside, more in ((0.53, 2), (0.55, 1), (0.5, 2), (0.89, 1)):
        found = decide(measured(3.0 - inside, notes=spread, scatter_freedom=3.0), LIMITS, GUARDED)
        assert (found.verdict, found.more_takes) == ("not decided", more)
    found = decide(measured(3.0 - 0.91, notes=spread, scatter_freedom=3.0), LIMITS, GUARDED)
    assert (found.verdict, found.uncertainty.freedom) == ("conform", 3.0)


def test_what_takes_cannot_lessen_cannot_be_settled_by_them() -> None:
    """1.645 x 0.5 = 0.82 is more than the 0.7 to the limit, however many takes there are."""
    far = DecisionRule(most_more_takes=100)
    found = decide(measured(2.3, reproducibility_cents=0.5), LIMITS, far)
    assert (found.verdict, found.more_takes) == ("not decided", None)
    assert "More takes cannot settle it: 0.50 cents of that no take can lessen" in found.reason
    some = decide(measured(2.3, u=1.0, reproducibility_cents=0.4), LIMITS, far)
    assert some.more_takes is not None
    # Nearest to the limit that 0.4 alone would allow: (0.7/1.645)^2 - 0.4^2 = 0.0211 = 1/47.4.
    assert some.more_takes == 47


def test_on_the_limit_nothing_settles_it() -> None:
    found = decide(measured(3.0), LIMITS, DecisionRule(most_more_takes=100))
    assert (found.verdict, found.more_takes) == ("not decided", None)
    assert found.conformity_probability == pytest.approx(0.5)


def test_words_say_the_numbers() -> None:
    inside = decide(measured(1.0), LIMITS, GUARDED)
    assert inside.reason == (
        "String 3, 12th-fret error: +1.00 cents conforms, being within the acceptance limits, "
        "-2.18 to +2.18 cents (limits -3 to +3)."
    )
    outside = decide(measured(-4.5), LIMITS, GUARDED)
    assert outside.reason == (
        "String 3, 12th-fret error: -4.50 cents does not conform, being beyond the rejection "
        "limits, -3.82 to +3.82 cents (limits -3 to +3)."
    )
    shared = decide(measured(3.1), LIMITS, SHARED)
    assert shared.reason == (
        "String 3, 12th-fret error: +3.10 cents is outside the limits, -3 to +3 cents "
        "(shared risk)."
    )


def verdicts(*each: str) -> list[Decision]:
    return [
        Decision(
            "error_cents",
            string,
            LIMITS,
            verdict,
            f"why {string}",
            conformity_probability=0.9,
            more_takes=string if verdict == "not decided" else 0,
        )
        for string, verdict in enumerate(each, 1)
    ]


@pytest.mark.parametrize(
    ("each", "verdict", "reason", "more"),
    [
        (("conform", "conform"), "conform", "Every limit is kept.", 0),
        (("conform", "not conform"), "not conform", "why 2", 0),
        (("not decided", "not conform"), "not conform", "why 2", 0),
        (("not decided", "conform"), "not decided", "why 1", 1),
        (("not decided", "conform", "not decided"), "not decided", "why 1 why 3", 3),
    ],
)
def test_one_string_is_enough(each, verdict, reason, more) -> None:
    found = combine(verdicts(*each))
    assert (found.verdict, found.reason, found.more_takes) == (verdict, reason, more)
    assert found.conformity_probability == pytest.approx(0.9 ** len(each))


def test_nothing_judged_is_nothing_decided() -> None:
    found = combine([])
    assert found.verdict == "not decided"
    assert found.conformity_probability is None
    assert "no limits for any string of this instrument" in found.reason


def report_of(*notes: Measured, instrument: Instrument = SIX, a4_hz: float = 440.0):
    return build_report(instrument, a4_hz, notes, [])


def both_notes(string: int, cents: float = 0.0, takes: int = 2, **changes: float):
    return [
        note(f"{string} {fret}", off, take, **changes)
        for fret, off in (("open", 0.0), ("f12", cents))
        for take in range(1, takes + 1)
    ]


ERROR = Specification("made", error=Requirement(LIMITS))


def test_uncertainty_is_the_interval_of_the_report_over_its_factor() -> None:
    """The report's half-width is t(0.975) times the standard uncertainty, whatever the takes."""
    notes = [
        note("6 open", 0.0, 1, settled_uncertainty_cents=0.5),
        note("6 open", 0.4, 2, settled_uncertainty_cents=1.5),
        note("6 f12", 1.0, 1, settled_uncertainty_cents=0.1),
        note("1 open", 0.0, 1),
        note("1 f12", 0.0, 1),
        note("1 f5", 0.2, 1),
        note("1 f5", -0.2, 2),
    ]
    report = report_of(*notes)
    factor = stats.t.ppf(0.975, 3 + 2)  # beforehand, and two notes with a repeat
    by_string = {each.string: each for each in report.strings}
    found = [each for each in measurements(report, ERROR) if each.value_cents is not None]
    assert [each.string for each in found] == [6, 1]
    for each in found:
        half_width = by_string[each.string].error_uncertainty_cents
        assert each.uncertainty.standard_cents == pytest.approx(half_width / factor, rel=1e-9)
        assert each.uncertainty.freedom == 5
        assert each.value_cents == by_string[each.string].error_cents
    # By hand for string 6: the scatter is 0.2752, the root of (3 x 0.0729 + 0.08 + 0.08)/5; its
    # open takes weigh 0.8245 and 0.1755, so that of the square 0.0538 + 0.0757 is scatter.
    assert found[0].uncertainty.scatter_cents == pytest.approx(math.sqrt(0.1296), rel=1e-3)
    assert found[0].uncertainty.known_cents == pytest.approx(math.sqrt(0.0649), rel=2e-3)


@pytest.mark.parametrize("own_cents", [0.05, 0.8, 3.0])
@pytest.mark.parametrize("takes", [1, 2])
def test_interval_from_the_uncertainty_holds_the_truth_19_times_in_20(own_cents, takes) -> None:
    """1500 one-string instruments; scatter as is believed beforehand (``strings``).

    ``own_cents`` is the half-width of each pluck's own interval. A single take holds it within
    four standard deviations; where there are repeats they count the pluck's own part a second
    time, so that the share may lie above.
    """
    rng = np.random.default_rng(14_253)
    number, held = 1500, 0
    instrument = Instrument("one", ("E4",))
    for _ in range(number):
        scatter = 0.27 * math.sqrt(3 / rng.chisquare(3))
        spread = math.hypot(scatter, own_cents / 1.96)
        notes = [
            note(f"1 {fret}", off, take, settled_uncertainty_cents=own_cents)
            for fret in ("open", "f12")
            for take, off in enumerate(spread * rng.standard_normal(takes), 1)
        ]
        (found,) = measurements(report_of(*notes, instrument=instrument), ERROR)
        held += abs(found.value_cents) <= found.uncertainty.quantile_cents(0.975)
    four_sigma = 4 * math.sqrt(0.05 * 0.95 / number)
    assert held / number >= 0.95 - four_sigma
    assert held / number <= (0.95 + four_sigma if takes == 1 else 0.99)


def test_error_of_an_instrument_is_decided_string_by_string() -> None:
    notes = [each for string in (6, 5, 4, 3, 2) for each in both_notes(string, 0.5)]
    good = decide_instrument(report_of(*notes, *both_notes(1, -0.5)), ERROR)
    assert (good.verdict, len(good.decisions)) == ("conform", 6)
    assert good.conformity_probability == pytest.approx(
        math.prod(each.conformity_probability for each in good.decisions)
    )
    sharp = decide_instrument(report_of(*notes, *both_notes(1, 6.0)), ERROR)
    assert sharp.verdict == "not conform"
    assert sharp.reason.startswith("String 1, 12th-fret error: +6.00 cents does not conform")
    near = decide_instrument(report_of(*notes, *both_notes(1, -2.9)), ERROR)
    assert near.verdict == "not decided"
    assert near.reason.startswith("String 1, 12th-fret error: -2.90 cents cannot be decided")


def test_a_string_that_was_not_measured_leaves_the_instrument_open_with_the_reason() -> None:
    notes = [each for string in (6, 5, 4, 3, 2) for each in both_notes(string)]
    found = decide_instrument(report_of(*notes, note("1 open")), ERROR)
    assert (found.verdict, found.more_takes) == ("not decided", None)
    assert found.conformity_probability is None
    assert found.reason == (
        "String 1, 12th-fret error: No usable 12th-fret recording. Record s1_f12_1.wav."
    )
    shared = decide_instrument(report_of(*notes, note("1 open")), replace(ERROR, rule=SHARED))
    assert shared.verdict == "not decided"
    worse = decide_instrument(report_of(*notes[4:], *both_notes(6, 9.0), note("1 open")), ERROR)
    assert worse.verdict == "not conform"


def test_reasons_begin_with_what_is_lacking_and_go_on_with_the_furthest_off() -> None:
    """Against limits of -1 and +4 about 0, -3 cents are further off than +5."""
    asked = Specification("made", Requirement(Limits(-1.0, 4.0), {}))
    notes = [*both_notes(6, 5.0), *both_notes(5, -3.0), *both_notes(4, 9.0)]
    found = decide_instrument(report_of(*notes), asked).reason
    assert [int(each) for each in re.findall(r"String (\d), 12th-fret error", found)] == [5, 4, 6]
    near = [*both_notes(6, 3.9), *both_notes(5, -0.99)]
    found = decide_instrument(report_of(*near, note("4 open")), asked).reason
    assert [int(each) for each in re.findall(r"String (\d), 12th", found)][-2:] == [5, 6]
    assert found.startswith("String 4, 12th-fret error: No usable 12th-fret recording.")


def test_open_pitch_is_against_the_nominal_note_of_this_a4() -> None:
    """1200 log2(440/442) = -7.85 cents: what is in tune at 440 is flat at 442."""
    asked = Specification("made", open_pitch=Requirement(Limits(-5.0, 5.0), {}, 0.1))
    notes = [each for string in SIX.strings for each in both_notes(string)]
    at_440 = decide_instrument(report_of(*notes), asked)
    assert at_440.verdict == "conform"
    assert [each.value_cents for each in at_440.decisions] == pytest.approx([0.0] * 6, abs=1e-9)
    at_442 = decide_instrument(report_of(*notes, a4_hz=442.0), asked)
    assert at_442.verdict == "not conform"
    assert [each.value_cents for each in at_442.decisions] == pytest.approx([-7.851] * 6, abs=1e-3)
    sharp = report_of(note("6 open", 6.0))
    (found, *_) = measurements(sharp, asked)
    assert found.value_cents == pytest.approx(6.0)
    # One take: 0.27 from pluck to pluck, 0.02/1.96 of its own, and the clock.
    assert found.uncertainty.scatter_cents == pytest.approx(0.27)
    assert found.uncertainty.known_cents == pytest.approx(math.hypot(0.0102, 0.1), rel=1e-4)
    assert found.uncertainty.freedom == 3


def drifting(string: int, open_cents, fretted_cents):
    return [
        note(f"{string} {fret}", 0.0, take, sustain_drift_cents=drift)
        for fret, drifts in (("open", open_cents), ("f12", fretted_cents))
        for take, drift in enumerate(drifts, 1)
    ]


DRIFT = Specification("made", sustain_drift=Requirement(Limits(-8.0, 2.0)))
ONE = Instrument("one", ("E4",))


def test_drift_is_signed_and_each_note_is_judged() -> None:
    """The report's figure, the larger in size, is -5 and would keep the limits; +3.4 does not."""
    report = report_of(*drifting(1, (-5.1, -4.9), (3.5, 3.3)), instrument=ONE)
    assert report.strings[0].sustain_drift_cents == pytest.approx(-5.0)
    found = decide_instrument(report, DRIFT)
    assert [each.verdict for each in found.decisions] == ["conform", "not conform"]
    assert found.verdict == "not conform"
    mirrored = report_of(*drifting(1, (5.1, 4.9), (-3.5, -3.3)), instrument=ONE)
    found = decide_instrument(mirrored, DRIFT)
    assert [each.verdict for each in found.decisions] == ["not conform", "conform"]


def test_uncertainty_of_drift_is_that_of_the_mean_of_its_takes() -> None:
    """By hand: sums of squares 2 x 1 and 2 x 0.25, 2 degrees of freedom: s = 1.118; over sqrt 2."""
    report = report_of(*drifting(1, (-2.0, -4.0), (-1.0, -2.0)), instrument=ONE)
    for found in measurements(report, DRIFT):
        assert found.uncertainty.standard_cents == pytest.approx(math.sqrt(1.25) / math.sqrt(2))
        assert found.uncertainty.freedom == 2


def test_a_take_without_a_drift_leaves_its_note_the_others() -> None:
    """Sums of squares 2 x 1 and 2 x 0.25, 2 degrees of freedom; two of three takes have a drift."""
    report = report_of(*drifting(1, (-2.0, math.nan, -4.0), (-1.0, -2.0, math.nan)), instrument=ONE)
    for found in measurements(report, DRIFT):
        assert found.uncertainty.standard_cents == pytest.approx(math.sqrt(1.25) / math.sqrt(2))
        assert [each.takes for each in found.notes] == [2]


def test_drift_without_repeats_is_open_until_its_scatter_is_stated() -> None:
    report = report_of(*drifting(1, (-2.0,), (-1.0,)), instrument=ONE)
    found = decide_instrument(report, DRIFT)
    assert (found.verdict, found.more_takes) == ("not decided", None)
    assert "Record two takes or more of each note, or give take_scatter_cents" in found.reason
    stated = Specification("made", sustain_drift=Requirement(Limits(-8.0, 2.0), {}, 0.0, 0.5))
    found = decide_instrument(report, stated)
    assert found.verdict == "conform"
    assert [each.uncertainty.standard_cents for each in found.decisions] == [0.5, 0.5]
    shared = decide_instrument(report, replace(DRIFT, rule=SHARED))
    assert shared.verdict == "conform"
    assert shared.conformity_probability is None


def test_drift_that_could_not_be_had_is_open() -> None:
    report = report_of(*drifting(1, (-2.0, -2.2), (math.nan, math.nan)), instrument=ONE)
    found = decide_instrument(report, DRIFT)
    assert [each.verdict for each in found.decisions] == ["conform", "not decided"]
    assert "The drift of this note could not be had" in found.reason


def test_a_recording_that_was_left_out_counts_nowhere() -> None:
    lost = Measured("s1_open_9.wav", Label(1, "open", 9), None, "Silent.")
    with_it = report_of(*both_notes(1), lost, instrument=ONE)
    assert [each.status for each in with_it.recordings].count("rejected") == 1
    without = measurements(report_of(*both_notes(1), instrument=ONE), ERROR)
    assert measurements(with_it, ERROR) == without
    # Even one whose pitch is known: what the report does not use is not used here.
    strayed = [
        replace(each, settled_hz=120.0) if each.status == "rejected" else each
        for each in with_it.recordings
    ]
    assert measurements(replace(with_it, recordings=tuple(strayed)), ERROR) == without


def test_pitch_of_the_made_notes_is_the_nominal_one() -> None:
    """What the tests above rest on."""
    pitch = note("6 open").pitch
    assert pitch is not None
    assert pitch.settled_hz == pytest.approx(note_hz("E2"))
    assert CLEAN.settled_uncertainty_cents == 0.02
