"""From the setting of a bridge to the steps of a bench: how much, which way, in which order.

Common practice of the trade: the part with the most to gain first, so that whoever stops early has
had the most; one string slack at a time, so that the others keep their load and their pitch;
the two ends of one piece in turn and in proportion, so that it does not bind on its posts; and a
check after every half turn.

A screw's long move needs fewer checks: once its first step has read as it should, it is the right
screw, turned the right way, and what follows cannot go too far before the steps near its end
(coarse, then fine: common practice of the trade). Those in between may be skipped. What is filed or
moved by hand is always checked: the one does not come back, of the other nobody knows the size.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from analyzer.bridge.setting import PartSetting
from analyzer.instrument.model import Adjuster, Screw

Direction = Literal["clockwise", "counterclockwise", "none"]
_ROUNDING = 1e-9


@dataclass(frozen=True)
class Step:
    """One step: what to move and by how much, and each string's error in cents after it.

    ``turns`` and ``direction`` are None where there is no screw. ``check_may_be_skipped``: whether
    the next step may follow at once, where the first step of this adjuster read as it should.
    """

    adjuster: str
    move_mm: float
    turns: float | None
    direction: Direction | None
    error_cents: dict[int, float]
    check_may_be_skipped: bool = False


def turns_for(move_mm: float, screw: Screw) -> tuple[float, Direction]:
    """Turns of the screw for a move, and which way, as seen facing the head.

    >>> from analyzer.instrument.model import Screw
    >>> turns_for(1.0, Screw(pitch_mm=0.5, head="tail")), turns_for(1.0, Screw(0.5, "neck"))
    ((2.0, 'clockwise'), (2.0, 'counterclockwise'))
    """
    turns = abs(move_mm) / screw.pitch_mm
    if turns == 0:
        return 0.0, "none"
    lengthens = move_mm > 0
    return turns, "clockwise" if lengthens == screw.clockwise_lengthens else "counterclockwise"


def move_of_turns_mm(turns: float, direction: Direction, screw: Screw) -> float:
    """The move, mm away from the nut, of turns of the screw: ``turns_for`` the other way."""
    if direction == "none" or turns == 0:
        return 0.0
    sign = 1.0 if (direction == "clockwise") == screw.clockwise_lengthens else -1.0
    return sign * turns * screw.pitch_mm


def in_working_order(parts: Sequence[PartSetting]) -> list[PartSetting]:
    """The parts that move, the one with the most to gain first."""
    moving = [part for part in parts if np.any(part.settings_mm != 0)]
    return sorted(moving, key=lambda part: -part.gain_cents)


def steps_of(parts: Sequence[PartSetting], doubts: Mapping[str, float]) -> list[Step]:
    """Every step of the bridge, in the order in which they are best done.

    ``doubts`` maps an adjuster's name to the half-width of the 95 % interval of what a turn does,
    as a share of it.
    """
    return [step for part in in_working_order(parts) for step in _steps_of_part(part, doubts)]


def _steps_of_part(part: PartSetting, doubts: Mapping[str, float]) -> Iterator[Step]:
    moves = list(_moves_of_part(part))
    places = np.array([now_mm for _, _, now_mm in moves])
    skipped = _may_be_skipped(part, [(each.name, move_mm) for each, move_mm, _ in moves], doubts)
    for (adjuster, move_mm, _), errors, skips in zip(
        moves, part.problem.residuals_cents(places), skipped, strict=True
    ):
        turns, direction = None, None
        if adjuster.screw is not None:
            turns, direction = turns_for(move_mm, adjuster.screw)
        by_string = dict(zip(part.problem.strings, map(float, errors), strict=True))
        moved = {string: by_string[string] for string in adjuster.strings}
        yield Step(adjuster.name, move_mm, turns, direction, moved, skips)


def _may_be_skipped(
    part: PartSetting, moves: Sequence[tuple[str, float]], doubts: Mapping[str, float]
) -> list[bool]:
    """For each step: whether its adjuster could go on even if it moves the most that it may."""
    skips = [False] * len(moves)
    for place, adjuster in enumerate(part.problem.adjusters):
        if adjuster.screw is None or adjuster.steps.always_checked:
            continue
        own = [number for number, (name, _) in enumerate(moves) if name == adjuster.name]
        so_far_mm = np.cumsum([abs(moves[number][1]) for number in own])
        sure_mm = abs(part.settings_mm[place]) - part.uncertainty_mm[place]
        next_at_most_mm = so_far_mm[2:] * (1 + doubts[adjuster.name])
        for number, at_most_mm in zip(own[1:-1], next_at_most_mm, strict=True):
            skips[number] = bool(at_most_mm <= sure_mm + _ROUNDING)
    return skips


def _moves_of_part(part: PartSetting) -> Iterator[tuple[Adjuster, float, tuple[float, ...]]]:
    """What is moved, by how much, and where all adjusters of the part are after it, mm."""
    left_mm = list(map(float, part.settings_mm))
    larger_first = sorted(range(len(left_mm)), key=lambda place: -abs(part.settings_mm[place]))
    while any(abs(each) > _ROUNDING for each in left_mm):
        # The one with the largest share of its way still before it; of two alike the larger.
        place = max(larger_first, key=lambda place: _share_left(part, left_mm, place))
        adjuster = part.problem.adjusters[place]
        move_mm = _next_move_mm(adjuster, left_mm[place])
        left_mm[place] -= move_mm
        now_mm = zip(part.settings_mm, left_mm, strict=True)
        yield adjuster, move_mm, tuple(float(end - left) for end, left in now_mm)


def _share_left(part: PartSetting, left_mm: Sequence[float], place: int) -> float:
    whole_mm = float(part.settings_mm[place])
    left = left_mm[place]
    return round(left / whole_mm, 9) if whole_mm and abs(left) > _ROUNDING else 0.0


def _next_move_mm(adjuster: Adjuster, left_mm: float) -> float:
    """As much of a move as is made before the next check, in whole smallest steps."""
    most_mm = adjuster.steps.largest_mm
    if adjuster.steps.smallest_mm:
        most_mm = max(math.floor(most_mm / adjuster.steps.smallest_mm + _ROUNDING), 1)
        most_mm *= adjuster.steps.smallest_mm
    return math.copysign(min(abs(left_mm), most_mm), left_mm)
