"""Lengths and cents by definition, worked apart from this project."""

from __future__ import annotations

import math

import pytest

from analyzer.bridge.effect import LengthEffect, saddle_move_mm
from analyzer.music import CENTS_PER_NEPER, cents_between

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
        (647.7, -5, -1.8626),
        (647.7, -1, -0.3738),
        (647.7, 1, 0.3745),
        (647.7, 10, 3.7740),
        (647.7, 20, 7.6144),
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


# mm a cent, cents a mm, and the linear rule L e ln2 / 1200 at 5 cents.
@pytest.mark.parametrize(
    ("length_mm", "mm_per_cent", "cents_per_mm"),
    [
        (609.6, 0.35212, 2.83995),
        (628.65, 0.36312, 2.75389),
        (635.0, 0.36679, 2.72635),
        (647.7, 0.37413, 2.67289),
        (650.0, 0.37545, 2.66344),
        (863.6, 0.49883, 2.00467),
    ],
)
def test_linear_rule(length_mm, mm_per_cent, cents_per_mm) -> None:
    slope = LengthEffect(length_mm).slope_cents_per_mm(0.0)
    assert slope == pytest.approx(-cents_per_mm, abs=1e-5)
    assert -1 / slope == pytest.approx(mm_per_cent, abs=6e-6)
    assert saddle_move_mm(0.01, LengthEffect(length_mm)) == pytest.approx(
        0.01 * mm_per_cent, rel=1e-4
    )


@pytest.mark.parametrize(
    ("error_cents", "linear_mm"),
    [
        *((-20, -7.4825), (-10, -3.7413), (-5, -1.8706), (-1, -0.3741)),
        *((1, 0.3741), (5, 1.8706), (10, 3.7413), (20, 7.4825), (30, 11.2238)),
    ],
)
def test_linear_moves_at_647_7(error_cents, linear_mm) -> None:
    """What the program moves is the exact one: off the linear one by e ln2 / 600, second order."""
    slope = LengthEffect(647.7).slope_cents_per_mm(0.0)
    assert -error_cents / slope == pytest.approx(linear_mm, abs=6e-5)
    moved_mm = saddle_move_mm(error_cents, LengthEffect(647.7))
    second = 1 + 1.5 * error_cents * math.log(2) / 1200
    assert moved_mm == pytest.approx(linear_mm * second, rel=1e-3)


def test_the_move_is_not_that_of_the_fretted_half() -> None:
    """A rule by the fretted half L/2 forgets that the open string is retuned: half of the move."""
    naive_mm = 647.7 / 2 * 5 / 1731.234
    assert saddle_move_mm(5.0, LengthEffect(647.7)) == pytest.approx(2 * naive_mm, rel=0.01)


def test_cents_of_a_small_ratio() -> None:
    """1200 / ln 2 = 1731.234, with df over the MEAN of the two frequencies."""
    assert pytest.approx(1731.234, abs=5e-4) == CENTS_PER_NEPER
    low_hz, high_hz = 219.5, 220.5
    assert cents_between(low_hz, high_hz) == pytest.approx(1731.234 / 220, rel=1e-5)
