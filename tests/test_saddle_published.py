"""The way to a saddle move, against published values.

[AB24] M. B. Anderson, R. G. Beausoleil, "Classical guitar intonation and compensation: The
well-tempered guitar", J. Acoust. Soc. Am. 156(1), 683 (2024), normal-tension nylon set: string data
are published; the errors at the 12th fret and the moves were computed from the paper's formulas
apart from this project. Lengths by the cents definition were computed likewise.
"""

from __future__ import annotations

import math

import pytest

from analyzer.bridge import Need, move_effect_cents, saddle_move_mm, set_saddle, turns_for
from analyzer.instrument.model import Bridge, Screw
from analyzer.strings import PLUCK_SCATTER_CENTS, Scatter

# string: open Hz, 12th fret Hz, error cents, saddle back by the paper's full model, mm (650 mm)
AB24_NORMAL = {
    1: (329.627557, 661.1708, 5.023, 1.881),
    2: (246.941651, 495.4818, 5.594, 2.095),
    3: (195.997718, 393.6912, 7.473, 2.796),
    4: (146.832384, 294.5106, 4.979, 1.865),
    5: (110.000000, 220.7570, 5.947, 2.226),
    6: (82.406889, 165.5617, 7.838, 2.932),
}


@pytest.mark.parametrize("string", AB24_NORMAL)
def test_move_is_within_two_percent_of_the_full_model(string) -> None:
    open_hz, fretted_hz, error_cents, back_mm = AB24_NORMAL[string]
    assert 1200 * math.log2(fretted_hz / (2 * open_hz)) == pytest.approx(error_cents, abs=0.002)
    assert saddle_move_mm(error_cents, 650.0) == pytest.approx(back_mm, rel=0.02)


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
    assert saddle_move_mm(error_cents, length_mm) == pytest.approx(move_mm, abs=1e-4)


def test_a_millimetre_is_2_67_cents_at_647_7() -> None:
    assert move_effect_cents(0.01, 647.7) / 0.01 == pytest.approx(-2.67289, abs=1e-3)


@pytest.mark.parametrize("setback_mm", [0.0, 2.0, 4.0])
def test_the_move_takes_the_error_away(setback_mm) -> None:
    for error_cents in (-12.0, -0.4, 3.0, 18.0):
        move_mm = saddle_move_mm(error_cents, 647.7, setback_mm)
        left = error_cents + move_effect_cents(move_mm, 647.7, setback_mm)
        assert left == pytest.approx(0, abs=1e-9)
        assert math.copysign(1, move_mm) == math.copysign(1, error_cents)


def test_move_against_lengths_of_an_ideal_string() -> None:
    """Both lengths from the geometry itself, the open string retuned: nothing of this project."""
    length_mm, setback_mm, move_mm = 647.7, 1.5, 0.8

    def error_cents(saddle_mm: float) -> float:
        return 1200 * math.log2((length_mm + saddle_mm) / (length_mm / 2 + saddle_mm) / 2)

    change = error_cents(setback_mm + move_mm) - error_cents(setback_mm)
    assert move_effect_cents(move_mm, length_mm, setback_mm) == pytest.approx(change, abs=1e-9)


def test_shared_saddle_splits_the_difference() -> None:
    """Common practice of the trade: two strings on one saddle end equally far off."""
    needs = {6: Need(6.4, 628.65), 5: Need(2.0, 628.65)}
    setting = set_saddle(needs, Bridge(((6, 5),)))
    assert setting.residual_cents[6] == pytest.approx(-setting.residual_cents[5], abs=1e-6)
    assert setting.residual_cents[6] == pytest.approx(2.2, abs=0.01)
    assert setting.move_mm == pytest.approx(saddle_move_mm(4.2, 628.65), abs=0.01)


@pytest.mark.parametrize(
    ("head", "move_mm", "direction"),
    [  # common practice: tightening draws the saddle toward the head
        ("tail", 1.0, "clockwise"),
        ("tail", -1.0, "counterclockwise"),
        ("neck", 1.0, "counterclockwise"),
        ("neck", -1.0, "clockwise"),
        ("tail", 0.0, "none"),
    ],
)
def test_direction_of_the_screw(head, move_mm, direction) -> None:
    turns, found = turns_for(move_mm, Screw(0.5, head))
    assert found == direction
    assert turns == abs(move_mm) / 0.5


# Turns for 5 cents at 647.7 mm by the linear rule; pitches from tables after ISO 4762, ASME B18.3.
@pytest.mark.parametrize(
    ("pitch_mm", "turns"), [(0.40, 4.677), (0.50, 3.741), (0.70, 2.672), (0.635, 2.946)]
)
def test_turns_for_five_cents(pitch_mm, turns) -> None:
    setting = set_saddle({1: Need(5.0, 647.7)}, Bridge(((1,),), Screw(pitch_mm, "tail", 0.01)))
    assert setting.turns == pytest.approx(turns, rel=0.01)  # exact is 0.4 % above linear
    assert setting.direction == "clockwise"


def test_move_comes_in_whole_steps_inside_the_travel() -> None:
    bridge = Bridge(((1,),), Screw(0.5, "tail", 0.25), travel_mm=(4.0, 1.3))
    setting = set_saddle({1: Need(9.0, 647.7)}, bridge)
    assert setting.move_mm == 1.25
    assert setting.turns == 2.5
    assert setting.short_by_mm == pytest.approx(saddle_move_mm(9.0, 647.7) - 1.3)
    left = 9.0 - 1.25 * 2.67289
    assert setting.residual_cents[1] == pytest.approx(left, abs=0.02)


def test_saddle_that_need_not_move() -> None:
    setting = set_saddle({1: Need(0.1, 647.7)}, Bridge(((1,),), Screw(0.5, "tail", 0.25)))
    assert (setting.move_mm, setting.turns, setting.direction) == (0, 0, "none")


def test_scatter_before_any_repeat_is_that_seen_on_real_guitars() -> None:
    """Median 0.3, 90th percentile 0.5 to 0.85 cents: quantiles of the prior, by scipy."""
    from scipy import stats

    variance = stats.invgamma(1.5, scale=1.5 * PLUCK_SCATTER_CENTS**2)
    assert math.sqrt(variance.median()) == pytest.approx(0.3, abs=0.02)
    assert 0.5 < math.sqrt(variance.ppf(0.9)) < 0.85
    assert Scatter(PLUCK_SCATTER_CENTS, 3).coverage == pytest.approx(3.182, abs=1e-3)  # t table
