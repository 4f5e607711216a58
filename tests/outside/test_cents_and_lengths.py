"""Lengths and cents by definition, worked apart from this project."""

from __future__ import annotations

import math

import pytest

from analyzer.bridge.effect import LengthEffect, saddle_move_mm
from analyzer.music import cents_between

CENT = "Definition of the cent; the pitch of a string goes with 1/L"
pytestmark = pytest.mark.source(CENT, "published formula", "saddle move by length alone")


# Exact for length alone: L (m - 1) / (2 - m), m = 2^(e / 1200).
@pytest.mark.parametrize(
    ("length_mm", "error_cents", "move_mm"),
    [
        (609.6, 5, 1.7683),
        (628.65, 5, 1.8235),
        (635.0, 5, 1.8419),
        (647.7, 5, 1.8788),
        (650.0, 5, 1.8854),
        (863.6, 5, 2.5051),
        (647.7, -20, -7.3550),
        (647.7, -10, -3.7091),
        (647.7, -1, -0.3738),
        (647.7, 1, 0.3745),
        (647.7, 30, 11.5230),
    ],
)
def test_exact_length_rule(length_mm, error_cents, move_mm) -> None:
    assert saddle_move_mm(error_cents, LengthEffect(length_mm)) == pytest.approx(move_mm, abs=1e-4)


def test_a_millimetre_is_2_67_cents_at_647_7() -> None:
    effect = LengthEffect(647.7)
    assert effect.change_cents(0.01) / 0.01 == pytest.approx(-2.67289, abs=1e-3)
    assert effect.slope_cents_per_mm(0.0) == pytest.approx(-2.67289, abs=1e-5)


def test_move_against_lengths_of_an_ideal_string() -> None:
    """Both lengths from the geometry itself, the open string retuned: nothing of this project."""
    length_mm, setback_mm, move_mm = 647.7, 1.5, 0.8

    def error_cents(saddle_mm: float) -> float:
        return 1200 * math.log2((length_mm + saddle_mm) / (length_mm / 2 + saddle_mm) / 2)

    change = error_cents(setback_mm + move_mm) - error_cents(setback_mm)
    assert LengthEffect(length_mm, setback_mm).change_cents(move_mm) == pytest.approx(
        change, abs=1e-9
    )


def test_octave_is_1200_cents_upwards() -> None:
    assert cents_between(220.0, 440.0) == 1200.0
    assert cents_between(440.0, 220.0) == -1200.0
