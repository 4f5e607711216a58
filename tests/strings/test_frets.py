"""What is said of saddle, nut and stretch by the frets, and how often the intervals hold.

Notes are made by the string model of [AB24] (``compensation_tables``).
"""

from __future__ import annotations

import numpy as np
import pytest
from fitted_frets import FEW, LABELLED, fit
from made_notes import (
    OPEN_B,
    fretted_notes,
    model_errors,
    note,
    octave_of_partials,
    published_string,
    report_of,
)

from analyzer.frets.fit import FretError, fit_parts, shapes
from analyzer.string_model.fretting import Setbacks


@pytest.mark.parametrize("frets", [LABELLED, FEW])
def test_intervals_hold_the_truth_as_often_as_they_say(frets) -> None:
    """2000 strings with noise on every note, the open one's shared, and frets off by 0.05 mm."""
    rng = np.random.default_rng(5)
    sd, truth = 0.3, np.array([3.0, -1.5, 1.0])
    clean = shapes(frets) @ truth
    inside = np.zeros(3)
    for _ in range(2000):
        noise = rng.normal(0, sd, len(frets)) - rng.normal(0, sd)
        placing = 1731.234 * rng.normal(0, 0.05, len(frets)) * 2 ** (np.array(frets) / 12) / 650
        errors = dict(zip(frets, clean + noise + placing, strict=True))
        notes = {fret: FretError(cents, sd**2) for fret, cents in errors.items()}
        found = fit_parts(notes, sd**2, 1.96, 650.0)
        for k, part in enumerate((found.saddle, found.nut, found.stretch)):
            inside[k] += abs(part.cents - truth[k]) <= part.uncertainty_cents
    assert np.all(inside / 2000 > 0.935)
    assert np.all(inside / 2000 < 0.98)  # wider than 95 % where the misfit happens to be large


def test_fewer_than_three_frets_are_refused() -> None:
    with pytest.raises(ValueError, match="2 frets cannot tell three parts apart"):
        fit({5: 1.0, 12: 2.0})


def test_report_says_which_to_cure() -> None:
    """Three takes of each note: nut 0.8 mm too far from the saddle, saddle right for fret 12."""
    ends = Setbacks(1.48, -0.36 + 0.8)
    errors = model_errors(published_string(1), ends, LABELLED)
    notes = [
        note(f"1 {where}", cents, take)
        for take in (1, 2, 3)
        for where, cents in (("open", 0.0), *((f"f{n}", e) for n, e in errors.items()))
    ]
    report = report_of(*notes)
    (found,) = report.frets
    assert found.cure == ("nut",)
    assert any("String 1: its frets say that the nut comes first" in w for w in report.warnings)
    assert found.nut_move_mm == pytest.approx(-0.8, abs=0.03)
    assert "toward the saddle" in found.verdict
    assert "sharp alike" in found.verdict
    assert found.fret_errors_cents["f12"] == pytest.approx(errors[12])


def test_report_says_when_all_is_well_and_when_it_cannot_tell() -> None:
    right = Setbacks(1.48, -0.36)
    errors = model_errors(published_string(1), right, LABELLED)
    places = (("open", 0.0), *((f"f{n}", e) for n, e in errors.items()))
    often = [note(f"1 {where}", cents, take) for take in range(1, 6) for where, cents in places]
    report = report_of(*often)
    (found,) = report.frets
    assert (found.cure, found.unclear) == ((), ())
    assert not any("nut comes first" in each for each in report.warnings)
    assert "in order" in found.verdict
    once = fretted_notes(1, published_string(1), right, FEW)
    (found,) = report_of(*once).frets
    assert found.cure == ()
    assert set(found.unclear) == {"saddle", "nut", "stretch"}
    assert "cannot tell" in found.verdict


def test_too_few_frets_say_which_to_record() -> None:
    (found,) = report_of(note("6 open"), note("6 f12", 3.0), note("6 f5", 2.0)).frets
    assert found.verdict is None
    assert found.reason.endswith("2 could be used. Record s6_f1_1.wav.")
    (found,) = report_of(note("6 f12", 3.0), note("6 f5", 2.0)).frets
    assert "Record s6_open_1.wav" in found.reason


def test_open_and_twelfth_alone_say_nothing_of_other_frets() -> None:
    assert report_of(note("6 open"), note("6 f12", 3.0)).frets == ()


def test_a_slip_of_the_finger_is_left_out() -> None:
    notes = fretted_notes(1, published_string(1), Setbacks(), (1, 5, 7, 12))
    (found,) = report_of(*notes, note("1 f3", 100.0)).frets
    assert sorted(found.fret_errors_cents) == ["f1", "f12", "f5", "f7"]


def test_harmonic_knows_nothing_of_the_saddle() -> None:
    """Moving the saddle changes f12 against h12 and leaves h12 against the open note alone."""
    law = octave_of_partials(OPEN_B)
    found = [
        report_of(*fretted_notes(1, published_string(1), Setbacks(mm), FEW), note("1 h12", law))
        for mm in (0.0, 2.0)
    ]
    assert found[0].frets[0].harmonic_cents == found[1].frets[0].harmonic_cents
    assert found[0].strings[-1].error_cents - found[1].strings[-1].error_cents > 5
