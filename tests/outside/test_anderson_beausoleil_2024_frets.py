"""Saddle, nut and fretting stretch told apart, against [AB24] with known errors.

Its full formulas make the notes, and not only to first order; its least-squares setbacks are the
right places of saddle and nut.
"""

from __future__ import annotations

import json
import math

import pytest
from compensation_tables import AB24, ALL_ROWS, NORMAL_1_FRETS, NORMAL_6_FRETS, TABLES
from fitted_frets import FEW, LABELLED, fit
from made_notes import (
    model_errors,
    octave_of_partials,
    published_string,
)
from pluck_model import PluckModel

from analyzer.string_model.fretting import FrettedString, Setbacks

pytestmark = pytest.mark.source(
    AB24, "published example", "saddle and nut told apart, moves to their setbacks"
)


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
    """Computed errors of uncompensated strings, printed to 0.01 cents; setbacks as published."""
    row = TABLES["normal nylon"][0 if errors is NORMAL_1_FRETS else 5]
    found = fit(dict(enumerate(errors, start=1)))
    assert found.saddle_move_mm == pytest.approx(row.saddle_mm, abs=0.04)
    assert found.nut_move_mm == pytest.approx(row.nut_mm, abs=0.02)


@pytest.mark.source(AB24, "published formula", "stretch from fretting, first order")
def test_stretch_goes_with_the_square_of_the_height_at_the_nut() -> None:
    """By hand, first order of [AB24]: kappa b^2 / (4 X0^2) / (2^(1/12) - 1) at fret 1."""
    for height_mm in (0.5, 1.0, 2.0):
        string = published_string(1, height_nut_mm=height_mm)
        by_hand = 1731.234 * (48.2 + 1) * height_mm**2 / (4 * 650**2) / (2 ** (1 / 12) - 1)
        found = fit(model_errors(string, Setbacks(1.48, -0.36), LABELLED))
        assert found.stretch.cents == pytest.approx(by_hand, rel=0.1, abs=0.03)


@pytest.mark.source(AB24, "published formula", "saddle and nut told apart, cents a millimetre")
def test_a_saddle_error_alone_is_no_nut_error() -> None:
    """2.66344 cents a millimetre at 650 mm (computed from the definition of the cent)."""
    before = fit(model_errors(published_string(3), Setbacks(2.33, -0.43), LABELLED))
    after = fit(model_errors(published_string(3), Setbacks(3.33, -0.43), LABELLED))
    assert after.saddle.cents - before.saddle.cents == pytest.approx(-2.66344, rel=0.03)
    assert after.nut.cents - before.nut.cents == pytest.approx(0.0, abs=0.05)
    moved = fit(model_errors(published_string(3), Setbacks(2.33, 0.57), LABELLED))
    assert moved.nut.cents - before.nut.cents == pytest.approx(2.66344, rel=0.01)
    assert moved.saddle.cents - before.saddle.cents == pytest.approx(0.0, abs=0.05)


@pytest.mark.source(AB24, "published formula", "saddle and nut told apart, from sound")
def test_recordings_of_other_frets_are_measured_and_told_apart(
    tmp_path, called, write_pluck
) -> None:
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
    done = called("analyze", tmp_path, "--jobs", 1, "--json", "-")
    report = json.loads(done.out)
    assert all(each["status"] == "used" for each in report["recordings"]), done.out
    (found,) = report["frets"]
    assert found["saddle_move_mm"] == pytest.approx(-1.5, abs=0.1)
    assert found["nut_move_mm"] == pytest.approx(0.0, abs=0.05)
    assert found["cure"] == ["saddle"]
    assert found["harmonic_cents"] == pytest.approx(found["harmonic_law_cents"], abs=0.1)
    assert not [each for each in report["findings"] if "uneven" in each["cause"]]
