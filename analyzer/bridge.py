"""From cents to the saddle: how far to move it, and how many turns of the screw that is.

With the saddle's break point at setback c beyond the nominal scale length S, the open string is
S + c long and the one stopped at the 12th fret S/2 + c. After a move by d (positive: away from the
nut) and retuning, the error has changed by

    1200 log2[(S + c + d) / (S + 2c + 2d)] - 1200 log2[(S + c) / (S + 2c)]                   (1)

which is about -(1200 / ln 2) d / S. The setback is seldom known and matters little (at 3 mm, 1.4 %
of the move), so c is zero unless it is given.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from scipy.optimize import brentq

from analyzer.instrument.model import Bridge, Screw
from analyzer.music import CENTS_PER_OCTAVE, ratio_of_cents

Direction = Literal["clockwise", "counterclockwise", "none"]
FURTHEST_MOVE_MM = 60.0  # brackets the search; no saddle goes nearly so far


@dataclass(frozen=True)
class Need:
    """What one string asks of its saddle: its error, and the scale length that it works on."""

    error_cents: float
    scale_length_mm: float


@dataclass(frozen=True)
class Setting:
    """What to do to one saddle. ``move_mm`` is positive away from the nut.

    ``turns`` and ``direction`` are None where the screw is not known. ``residual_cents`` is what
    each string's error should be afterwards. ``short_by_mm`` is how far the best position lies
    beyond the travel, 0 where it is within.
    """

    strings: tuple[int, ...]
    move_mm: float
    turns: float | None
    direction: Direction | None
    residual_cents: dict[int, float]
    short_by_mm: float


def move_effect_cents(move_mm: float, scale_length_mm: float, setback_mm: float = 0.0) -> float:
    """Equation (1): the change of a string's error by a move of its saddle, cents."""
    s, c, d = scale_length_mm, setback_mm, move_mm
    after, before = (s + c + d) / (s + 2 * c + 2 * d), (s + c) / (s + 2 * c)
    return CENTS_PER_OCTAVE * math.log2(after / before)


def saddle_move_mm(error_cents: float, scale_length_mm: float, setback_mm: float = 0.0) -> float:
    """The move that takes a string's error to zero: equation (1) solved for d, mm."""
    s, c = scale_length_mm, setback_mm
    wanted = (s + c) / (s + 2 * c) / ratio_of_cents(error_cents)
    return (wanted * (s + 2 * c) - (s + c)) / (1 - 2 * wanted)


def saddle_move_uncertainty_mm(
    error_cents: float, uncertainty_cents: float, scale_length_mm: float
) -> float:
    """Half-width of the move's interval, mm, from that of the error."""
    upper = saddle_move_mm(error_cents + uncertainty_cents, scale_length_mm)
    lower = saddle_move_mm(error_cents - uncertainty_cents, scale_length_mm)
    return (upper - lower) / 2


def set_saddle(needs: Mapping[int, Need], bridge: Bridge) -> Setting:
    """The position of one saddle that leaves the least worst error of its strings.

    ``needs`` maps the strings on the saddle to their errors. The position lies within the travel
    and, where there is a screw, a whole number of its smallest turns away.
    """
    best_mm = _least_worst_mm(needs)
    low_mm, high_mm = (
        (-bridge.travel_mm[0], bridge.travel_mm[1])
        if bridge.travel_mm
        else (
            -FURTHEST_MOVE_MM,
            FURTHEST_MOVE_MM,
        )
    )
    within_mm = min(max(best_mm, low_mm), high_mm)
    turns, direction, move_mm = None, None, within_mm
    if bridge.screw is not None:
        move_mm = _whole_steps_mm(needs, within_mm, bridge.screw, low_mm, high_mm)
        turns, direction = turns_for(move_mm, bridge.screw)
    return Setting(
        tuple(needs), move_mm, turns, direction, _residuals(needs, move_mm), best_mm - within_mm
    )


def turns_for(move_mm: float, screw: Screw) -> tuple[float, Direction]:
    """Turns of the screw for a move, and which way, as seen facing the head.

    Tightening (clockwise) draws a saddle toward the screw's head (common practice): with the head
    at the tail end clockwise lengthens the string, with the head on the neck side it shortens it.
    """
    turns = abs(move_mm) / screw.pitch_mm
    if turns == 0:
        return 0.0, "none"
    lengthens = move_mm > 0
    return turns, "clockwise" if lengthens == (screw.head == "tail") else "counterclockwise"


def _residuals(needs: Mapping[int, Need], move_mm: float) -> dict[int, float]:
    return {
        string: need.error_cents + move_effect_cents(move_mm, need.scale_length_mm)
        for string, need in needs.items()
    }


def _least_worst_mm(needs: Mapping[int, Need]) -> float:
    """Where the sharpest string is as sharp as the flattest is flat.

    Every residual falls as the saddle moves away from the nut, so that place is the only one, and
    leaving it makes one of the two worse. For two strings it splits the difference (common
    practice); for one it is the exact move.
    """

    def imbalance(move_mm: float) -> float:
        residuals = _residuals(needs, move_mm).values()
        return max(residuals) + min(residuals)

    if imbalance(-FURTHEST_MOVE_MM) <= 0:
        return -FURTHEST_MOVE_MM
    if imbalance(FURTHEST_MOVE_MM) >= 0:
        return FURTHEST_MOVE_MM
    return float(brentq(imbalance, -FURTHEST_MOVE_MM, FURTHEST_MOVE_MM, xtol=1e-9))


def _whole_steps_mm(
    needs: Mapping[int, Need], move_mm: float, screw: Screw, low_mm: float, high_mm: float
) -> float:
    """Of the two whole steps about a move, the better one inside the travel."""
    step_mm = screw.smallest_turn * screw.pitch_mm
    below = math.floor(move_mm / step_mm)
    tries = [n * step_mm for n in (below, below + 1) if low_mm <= n * step_mm <= high_mm]
    return min(tries or [0.0], key=lambda mm: max(map(abs, _residuals(needs, mm).values())))
