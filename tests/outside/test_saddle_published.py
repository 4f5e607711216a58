"""The way to a saddle move, against published values.

[AB24] M. B. Anderson, R. G. Beausoleil, "Classical guitar intonation and compensation: The
well-tempered guitar", J. Acoust. Soc. Am. 156(1), 683 (2024), normal-tension nylon set: string data
are published; the errors at the 12th fret and the moves were computed from the paper's formulas
apart from this project. Lengths by the cents definition were computed likewise.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import soundfile
from pluck_model import PluckModel, recording

from analyzer.analysis import analyze_folder
from analyzer.bridge.effect import LengthEffect, saddle_move_mm
from analyzer.bridge.problem import Need
from analyzer.bridge.setting import PartSetting, set_bridge
from analyzer.bridge.steps import move_of_turns_mm, turns_for
from analyzer.instrument.model import Screw, own_screws
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
    assert saddle_move_mm(error_cents, LengthEffect(650.0)) == pytest.approx(back_mm, rel=0.02)


def test_published_pairs_as_recordings(tmp_path) -> None:
    """The six pairs sounded as stiff strings at 55 dB: 0.01 cents, and moves within 2 %."""
    rng = np.random.default_rng(24)
    for string, (open_hz, fretted_hz, *_) in AB24_NORMAL.items():
        for fret, hz, stiffness in (("open", open_hz, 3e-5), ("f12", fretted_hz, 1.2e-4)):
            samples = recording(PluckModel(hz, stiffness=stiffness), rng, rate_hz=22050)
            soundfile.write(tmp_path / f"s{string}_{fret}_1.wav", samples, 22050, subtype="PCM_24")
    (tmp_path / "instrument.toml").write_text(
        '[instrument]\nscale_length_mm = 650\ntuning = ["E2", "A2", "D3", "G3", "B3", "E4"]\n',
        encoding="utf-8",
    )
    for found in analyze_folder(tmp_path, jobs=1).strings:
        *_, error_cents, back_mm = AB24_NORMAL[found.string]
        assert found.error_cents == pytest.approx(error_cents, abs=0.01)
        assert found.saddle_move_mm == pytest.approx(back_mm, rel=0.02)


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


@pytest.mark.parametrize("setback_mm", [0.0, 2.0, 4.0])
def test_the_move_takes_the_error_away(setback_mm) -> None:
    for error_cents in (-12.0, -0.4, 3.0, 18.0):
        effect = LengthEffect(647.7, setback_mm)
        move_mm = saddle_move_mm(error_cents, effect)
        left = error_cents + effect.change_cents(move_mm)
        assert left == pytest.approx(0, abs=1e-9)
        assert math.copysign(1, move_mm) == math.copysign(1, error_cents)


def test_move_against_lengths_of_an_ideal_string() -> None:
    """Both lengths from the geometry itself, the open string retuned: nothing of this project."""
    length_mm, setback_mm, move_mm = 647.7, 1.5, 0.8

    def error_cents(saddle_mm: float) -> float:
        return 1200 * math.log2((length_mm + saddle_mm) / (length_mm / 2 + saddle_mm) / 2)

    change = error_cents(setback_mm + move_mm) - error_cents(setback_mm)
    assert LengthEffect(length_mm, setback_mm).change_cents(move_mm) == pytest.approx(
        change, abs=1e-9
    )


def need(error_cents: float, length_mm: float = 647.7) -> Need:
    return Need(error_cents, LengthEffect(length_mm))


def only_part(bridge, needs) -> PartSetting:
    (part,) = set_bridge(bridge.adjusters, needs)
    return part


def test_shared_saddle_splits_the_difference() -> None:
    """Common practice of the trade: two strings on one saddle end equally far off."""
    part = only_part(own_screws([[6, 5]]), {6: need(6.4, 628.65), 5: need(2.0, 628.65)})
    left = part.residual_cents
    assert left[6] == pytest.approx(-left[5], abs=1e-6)
    assert left[6] == pytest.approx(2.2, abs=0.01)
    assert part.settings_mm[0] == pytest.approx(saddle_move_mm(4.2, LengthEffect(628.65)), abs=0.01)


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
@pytest.mark.parametrize("hand", ["right", "left"])
def test_direction_of_the_screw(head, move_mm, direction, hand) -> None:
    screw = Screw(0.5, head, hand=hand)
    if hand == "left":  # a left-hand thread is tightened counterclockwise
        other = {"clockwise": "counterclockwise", "counterclockwise": "clockwise"}
        direction = other.get(direction, direction)
    turns, found = turns_for(move_mm, screw)
    assert found == direction
    assert turns == abs(move_mm) / 0.5
    assert move_of_turns_mm(turns, found, screw) == move_mm


# Turns for 5 cents at 647.7 mm by the linear rule; pitches from tables after ISO 4762, ASME B18.3.
@pytest.mark.parametrize(
    ("pitch_mm", "turns"), [(0.40, 4.677), (0.50, 3.741), (0.70, 2.672), (0.635, 2.946)]
)
def test_turns_for_five_cents(pitch_mm, turns) -> None:
    screw = Screw(pitch_mm, "tail", 0.01)
    part = only_part(own_screws([[1]], screw), {1: need(5.0)})
    found, direction = turns_for(part.settings_mm[0], screw)
    assert found == pytest.approx(turns, rel=0.01)  # exact is 0.4 % above linear
    assert direction == "clockwise"


def test_move_comes_in_whole_steps_inside_the_travel() -> None:
    bridge = own_screws([[1]], Screw(0.5, "tail", 0.25), travel_mm=(4.0, 1.3))
    part = only_part(bridge, {1: need(9.0)})
    assert part.settings_mm[0] == 1.25
    assert part.short_by_mm(0) == pytest.approx(saddle_move_mm(9.0, LengthEffect(647.7)) - 1.3)
    assert part.residual_cents[1] == pytest.approx(9.0 - 1.25 * 2.67289, abs=0.02)
    reason = part.reason(0)
    assert reason is not None
    assert "the travel ends 2.09 mm short of the best place, away from the nut" in reason
    assert "string 1 would stay +5.7 cents off" in reason


def test_saddle_that_need_not_move() -> None:
    part = only_part(own_screws([[1]], Screw(0.5, "tail", 0.25)), {1: need(0.1)})
    assert part.settings_mm[0] == 0
    assert part.reason(0) == "the best place is 0.04 mm away, and no step of 0.125 mm is better"


def test_scatter_before_any_repeat_is_that_seen_on_real_guitars() -> None:
    """Median 0.3, 90th percentile 0.5 to 0.85 cents: quantiles of the prior, by scipy."""
    from scipy import stats

    variance = stats.invgamma(1.5, scale=1.5 * PLUCK_SCATTER_CENTS**2)
    assert math.sqrt(variance.median()) == pytest.approx(0.3, abs=0.02)
    assert 0.5 < math.sqrt(variance.ppf(0.9)) < 0.85
    assert Scatter(PLUCK_SCATTER_CENTS, 3).coverage == pytest.approx(3.182, abs=1e-3)  # t table
