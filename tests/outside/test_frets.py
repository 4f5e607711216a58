"""Saddle, nut and fretting stretch told apart, against a published model with known errors.

[AB24] as in ``compensation_tables``: its full formulas make the notes, and
not only to first order; its least-squares setbacks are the right places of saddle and nut.
"""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from compensation_tables import ALL_ROWS, NORMAL_1_FRETS, NORMAL_6_FRETS, TABLES
from made_notes import (
    OPEN_B,
    fretted_notes,
    model_errors,
    note,
    octave_of_partials,
    published_string,
    report_of,
)
from pluck_model import PluckModel

from analyzer.frets.fit import FretError, fit_parts, harmonic_law_cents, shapes
from analyzer.string_model.fretting import FrettedString, Setbacks

LABELLED = (1, 3, 5, 7, 12, 17, 19)  # the frets that the manual asks for
FEW = (1, 5, 12)
SURE = 1e-4  # variance of a note, cents squared


def fit(errors, variance=SURE, scale_length_mm=650.0):
    notes = {fret: FretError(cents, variance) for fret, cents in errors.items()}
    return fit_parts(notes, variance, 2.0, scale_length_mm)


@pytest.mark.parametrize("frets", [LABELLED, FEW, tuple(range(1, 13))])
@pytest.mark.parametrize("row", [row for _, row in ALL_ROWS], ids=[n for n, _ in ALL_ROWS])
@pytest.mark.parametrize(("saddle_mm", "nut_mm"), [(1.0, -0.3), (-0.8, 0.4), (0.0, 0.0)])
def test_misplaced_ends_are_found_with_sign_and_size(row, frets, saddle_mm, nut_mm) -> None:
    """Ends so far from the published setbacks: the moves are back to them."""
    string = FrettedString(650.0, row.kappa, row.stiffness, 1.0, 4.0)
    ends = Setbacks(row.saddle_mm + saddle_mm, row.nut_mm + nut_mm)
    found = fit(model_errors(string, ends, frets))
    # 0.02 and 0.01 mm: how well the published setbacks are met themselves; 0.02 for second order.
    assert found.saddle_move_mm == pytest.approx(-saddle_mm, abs=0.04)
    assert found.nut_move_mm == pytest.approx(-nut_mm, abs=0.02)


@pytest.mark.parametrize("errors", [NORMAL_1_FRETS, NORMAL_6_FRETS])
def test_published_rows_ask_for_the_published_setbacks(errors) -> None:
    """COMPUTED errors of uncompensated strings, printed to 0.01 cents; setbacks SEEN."""
    row = TABLES["normal nylon"][0 if errors is NORMAL_1_FRETS else 5]
    found = fit(dict(enumerate(errors, start=1)))
    assert found.saddle_move_mm == pytest.approx(row.saddle_mm, abs=0.04)
    assert found.nut_move_mm == pytest.approx(row.nut_mm, abs=0.02)


def test_stretch_goes_with_the_square_of_the_height_at_the_nut() -> None:
    """By hand, first order of [AB24]: kappa b^2 / (4 X0^2) / (2^(1/12) - 1) at fret 1."""
    for height_mm in (0.5, 1.0, 2.0):
        string = published_string(1, height_nut_mm=height_mm)
        by_hand = 1731.234 * (48.2 + 1) * height_mm**2 / (4 * 650**2) / (2 ** (1 / 12) - 1)
        found = fit(model_errors(string, Setbacks(1.48, -0.36), LABELLED))
        assert found.stretch.cents == pytest.approx(by_hand, rel=0.1, abs=0.03)


def test_a_saddle_error_alone_is_no_nut_error() -> None:
    """2.66344 cents a millimetre at 650 mm (COMPUTED from the definition of the cent)."""
    before = fit(model_errors(published_string(3), Setbacks(2.33, -0.43), LABELLED))
    after = fit(model_errors(published_string(3), Setbacks(3.33, -0.43), LABELLED))
    assert after.saddle.cents - before.saddle.cents == pytest.approx(-2.66344, rel=0.03)
    assert after.nut.cents - before.nut.cents == pytest.approx(0.0, abs=0.05)
    moved = fit(model_errors(published_string(3), Setbacks(2.33, 0.57), LABELLED))
    assert moved.nut.cents - before.nut.cents == pytest.approx(2.66344, rel=0.01)
    assert moved.saddle.cents - before.saddle.cents == pytest.approx(0.0, abs=0.05)


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


def test_harmonic_by_the_string_law() -> None:
    for b in (1e-5, 5e-5, 4e-4):
        assert harmonic_law_cents(b) == pytest.approx(octave_of_partials(b))
    law = octave_of_partials(OPEN_B)
    (found,) = report_of(note("5 open"), note("5 h12", law)).frets
    assert found.harmonic_cents == pytest.approx(law)
    assert found.harmonic_law_cents == pytest.approx(law)


def test_harmonic_knows_nothing_of_the_saddle() -> None:
    """Moving the saddle changes f12 against h12 and leaves h12 against the open note alone."""
    law = octave_of_partials(OPEN_B)
    found = [
        report_of(*fretted_notes(1, published_string(1), Setbacks(mm), FEW), note("1 h12", law))
        for mm in (0.0, 2.0)
    ]
    assert found[0].frets[0].harmonic_cents == found[1].frets[0].harmonic_cents
    assert found[0].strings[-1].error_cents - found[1].strings[-1].error_cents > 5


def test_recordings_of_other_frets_are_measured_and_told_apart(tmp_path, run, write_pluck) -> None:
    """The whole way from sound: string 6 of the normal set with its saddle 1.5 mm too far back."""
    row = TABLES["normal nylon"][5]
    ends = Setbacks(row.saddle_mm + 1.5, row.nut_mm)
    errors = model_errors(published_string(6), ends, LABELLED)
    b = (math.pi * row.stiffness) ** 2
    write_pluck("s6_open_1.wav", PluckModel(82.407, b))
    law_hz = 82.407 * 2 ** (1 + octave_of_partials(b) / 1200)
    write_pluck("s6_h12_1.wav", PluckModel(law_hz, 4 * b, pluck_position=0.31))
    for fret, cents in errors.items():
        hertz = 82.407 * 2 ** (fret / 12 + cents / 1200)
        write_pluck(f"s6_f{fret}_1.wav", PluckModel(hertz, b * 2 ** (fret / 6)))
    (tmp_path / "instrument.toml").write_text(
        '[instrument]\nscale_length_mm = 650\ntuning = ["E2", "A2", "D3", "G3", "B3", "E4"]\n',
        encoding="utf-8",
    )
    done = run("analyze", tmp_path, "--json", "-")
    report = json.loads(done.stdout)
    assert all(each["status"] == "used" for each in report["recordings"]), done.stdout
    (found,) = report["frets"]
    assert found["saddle_move_mm"] == pytest.approx(-1.5, abs=0.1)
    assert found["nut_move_mm"] == pytest.approx(0.0, abs=0.05)
    assert found["cure"] == ["saddle"]
    assert found["harmonic_cents"] == pytest.approx(found["harmonic_law_cents"], abs=0.1)
    assert not [each for each in report["findings"] if "uneven" in each["cause"]]
