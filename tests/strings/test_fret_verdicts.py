"""What is said of the frets of a string, and the intervals of the moves that would cure them."""

from __future__ import annotations

import math

import numpy as np
import pytest
from made_notes import OPEN_B, model_errors, note, octave_of_partials, published_string, report_of

from analyzer.frets.fit import FretError, fit_parts
from analyzer.frets.judge import FretResult
from analyzer.report.cause_lines import frets_and_causes
from analyzer.report.tables import strings_frame
from analyzer.string_model.fretting import Setbacks

RIGHT = Setbacks(1.48, -0.36)  # [AB24], string 1 of the normal nylon set
FRETS = (1, 2, 3, 5, 7, 9, 12)
NUT_MM, SADDLE_MM = 0.8, 2.5


def judged(ends: Setbacks) -> FretResult:
    """Three takes of every note with saddle and nut so placed."""
    errors = model_errors(published_string(1), ends, FRETS)
    places = (("open", 0.0), *((f"f{fret}", cents) for fret, cents in errors.items()))
    (found,) = report_of(
        *(note(f"1 {where}", cents, take) for take in (1, 2, 3) for where, cents in places)
    ).frets
    return found


def test_nut_too_near_the_saddle_goes_away_from_it() -> None:
    found = judged(Setbacks(RIGHT.saddle_mm, RIGHT.nut_mm - NUT_MM))
    assert found.cure == ("nut",)
    assert found.nut_move_mm == pytest.approx(NUT_MM, abs=0.03)
    assert "flat alike" in found.verdict
    assert f"by {found.nut_move_mm:.2f} ± " in found.verdict
    assert "mm away from the saddle at the nut" in found.verdict
    assert "The saddle's part" not in found.verdict


@pytest.mark.parametrize(("sign", "word"), [(1, "sharp"), (-1, "flat")])
def test_a_saddle_out_of_place_is_the_twelfth_frets_business(sign, word) -> None:
    """Too near the nut is sharp. A millimetre of 650 is 2.66 cents at fret 12."""
    found = judged(Setbacks(RIGHT.saddle_mm - sign * SADDLE_MM, RIGHT.nut_mm))
    assert found.cure == ("saddle",)
    changed_cents = found.saddle_part_cents - judged(RIGHT).saddle_part_cents
    assert changed_cents == pytest.approx(sign * SADDLE_MM * 1731.234 / 650, rel=0.01)
    assert f"cents {word} at fret 12: the saddle's move for the 12th fret is its" in found.verdict
    assert "alike" not in found.verdict


def test_saddle_and_nut_both_out_of_place() -> None:
    found = judged(Setbacks(RIGHT.saddle_mm - SADDLE_MM, RIGHT.nut_mm - NUT_MM))
    assert found.cure == ("saddle", "nut")
    assert f"cured by {found.saddle_move_mm:.2f} ± " in found.verdict
    assert "mm away from the nut at the saddle once the nut is right" in found.verdict


def test_which_frets_to_record_to_tell_the_parts() -> None:
    (found,) = report_of(note("6 open"), note("6 f1", 1.0)).frets
    assert found.reason.endswith("1 could be used. Record s6_f5_1.wav and s6_f12_1.wav.")
    (found,) = report_of(note("6 open"), note("6 f3", 1.0), note("6 f4", 1.0)).frets
    assert found.reason.endswith("2 could be used. Record s6_f1_1.wav.")


def test_interval_of_the_harmonic_is_that_of_two_single_takes() -> None:
    """t at 0.975 for 3 degrees of freedom (any t table), 0.27 cents a pluck, two plucks."""
    (found,) = report_of(note("5 open"), note("5 h12", octave_of_partials(OPEN_B))).frets
    assert found.harmonic_uncertainty_cents == pytest.approx(3.182 * 0.27 * math.sqrt(2), rel=0.01)


def test_intervals_of_the_moves_follow_from_the_notes() -> None:
    """The law of propagation (JCGM 100:2008, 5.1.2): own errors apart, the open note's in common.

    The derivatives are taken one note at a time; the fit is linear, so differences are exact.
    """
    length_mm, open_variance, coverage = 650.0, 0.04, 2.0
    frets, variances = (1, 3, 5, 8, 12), (0.01, 0.02, 0.03, 0.02, 0.01)

    def moves_mm(cents) -> np.ndarray:
        errors = {f: FretError(c, v) for f, c, v in zip(frets, cents, variances, strict=True)}
        found = fit_parts(errors, open_variance, coverage, length_mm)
        return np.array([found.saddle_move_mm, found.nut_move_mm])

    nothing = fit_parts(
        {f: FretError(0.0, v) for f, v in zip(frets, variances, strict=True)},
        open_variance, coverage, length_mm,
    )  # fmt: skip
    slopes = np.stack([moves_mm(row) for row in np.eye(len(frets))], axis=1)
    placing = [(1731.234 * 0.05 / (length_mm / 2 ** (fret / 12))) ** 2 for fret in frets]
    own = slopes**2 @ (np.array(variances) + placing)
    expected = coverage * np.sqrt(own + open_variance * slopes.sum(axis=1) ** 2)
    told = nothing.saddle_move_uncertainty_mm, nothing.nut_move_uncertainty_mm
    assert told == pytest.approx(expected, rel=1e-6)


def test_verdict_and_reason_reach_lines_and_table() -> None:
    """Where the sign cannot be printed it is spelled out."""
    errors = model_errors(
        published_string(1), Setbacks(RIGHT.saddle_mm, RIGHT.nut_mm - NUT_MM), FRETS
    )
    places = (("open", 0.0), *((f"f{fret}", cents) for fret, cents in errors.items()))
    notes = [note(f"1 {where}", cents, take) for take in (1, 2, 3) for where, cents in places]
    report = report_of(*notes, note("6 open"), note("6 f1", 1.0))
    by_string = {each.string: each for each in report.frets}
    lines = list(frets_and_causes(report, "+/-"))
    assert f"Frets of string 6: {by_string[6].reason}" in lines
    assert f"Frets of string 1: {by_string[1].verdict.replace('±', '+/-')}" in lines
    assert "+/-" in by_string[1].verdict.replace("±", "+/-")
    row = strings_frame(report).set_index("string").loc[1]
    assert row["nut_part_cents"] == by_string[1].nut_part_cents
