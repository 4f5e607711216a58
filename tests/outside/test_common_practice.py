"""What the trade does, without a source."""

from __future__ import annotations

import pytest
from compensation_tables import TABLES
from made_bridges import own_screws
from restrung import instrument_with, measured

from analyzer.bridge.effect import LengthEffect, saddle_move_mm
from analyzer.bridge.problem import Need
from analyzer.bridge.setting import PartSetting, set_bridge
from analyzer.bridge.steps import move_of_turns_mm, turns_for
from analyzer.instrument.model import Screw
from analyzer.restring.plan import plan_of

TRADE = "Common practice of the trade"
pytestmark = pytest.mark.source(
    TRADE, "common practice", "two strings on one saddle split the difference"
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


def test_shared_saddle_splits_the_difference_and_a_string_that_stays_counts() -> None:
    """Common practice of the trade; by [AB24]'s numbers as in the first test."""
    now, after = TABLES["normal nylon"][1], TABLES["hard nylon"][1]
    bridge = own_screws([(2, 1)], Screw(0.5, "neck", 0.01))
    plan = plan_of(instrument_with({2: measured(now)}, bridge), {2: measured(after)})
    (preset,) = plan.saddles
    assert preset.strings == (2, 1)
    half_mm = (after.null_12_mm - now.null_12_mm) / 2
    assert preset.move_mm == pytest.approx(half_mm, abs=0.01)
    assert preset.direction == "counterclockwise"
    assert preset.residual_cents[2] == pytest.approx(-preset.residual_cents[1], abs=0.02)


@pytest.mark.source(TRADE, "common practice", "tightening draws the saddle toward the head")
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
