"""Where the screws of a bridge lie in its drawing, and what is said beside each.

An adjuster lies across the strings where its share in a saddle's move is the whole: under its own
string, in the middle of what it moves as one, or, of two that tilt a piece, at its own end, which
may lie beyond the outer strings.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from analyzer.bridge.steps import Direction
from analyzer.report.model import AdjusterResult
from analyzer.report.words import turns_named

ROW = 45.0  # from string to string where they are drawn evenly
_SAME_SHARE = 1e-6
_FURTHEST_ROWS = 1.5  # beyond the outer strings; a post that lies further is drawn there
_BESIDE = 0.25  # of a row: so near to a string, a label stands in its row
_OFF_THE_STRING = 7.0
_SLANTS = -0.5  # a share below this goes the other way: what slants has no place of its own


@dataclass(frozen=True)
class Screw:
    """Where a screw runs: its height, and the end that its head faces, "tail" or "neck"."""

    strings: tuple[int, ...]
    y: float
    head: str


@dataclass(frozen=True)
class TurnLabel:
    """What a screw is turned by: ``y`` is the middle of a row or between two of them."""

    y: float
    in_row: bool
    turns: str
    direction: Direction


def places_across(
    adjusters: Sequence[AdjusterResult], heights: Mapping[int, float]
) -> dict[str, float]:
    """The height of every adjuster that has a screw, by its name."""
    turned = [each for each in adjusters if each.screw_head is not None]
    low, high = min(heights.values()), max(heights.values())
    beyond = _FURTHEST_ROWS * ROW
    return {
        each.name: min(max(_place(each, heights), low - beyond), high + beyond) for each in turned
    }


def _place(adjuster: AdjusterResult, heights: Mapping[int, float]) -> float:
    """Where the straight line through its shares at its outer strings is at 1."""
    first, last = adjuster.strings[0], adjuster.strings[-1]
    rise = adjuster.share.get(last, 0.0) - adjuster.share.get(first, 0.0)
    shares = adjuster.share.values()
    if abs(rise) < _SAME_SHARE or min(shares) < _SLANTS or max(shares) <= 0:
        return sum(heights[each] for each in adjuster.strings) / len(adjuster.strings)
    whole = (1.0 - adjuster.share.get(first, 0.0)) / rise
    return heights[first] + whole * (heights[last] - heights[first])


def screws(
    adjusters: Sequence[AdjusterResult],
    places: Mapping[str, float],
    heights: Mapping[int, float],
) -> Iterator[Screw]:
    """The screws, none of them on a string."""
    for each in adjusters:
        if each.name in places and each.screw_head is not None:
            y = places[each.name]
            on_string = any(abs(y - other) < _OFF_THE_STRING for other in heights.values())
            yield Screw(each.strings, y + _OFF_THE_STRING * on_string, each.screw_head)


def turn_labels(
    adjusters: Sequence[AdjusterResult],
    places: Mapping[str, float],
    heights: Mapping[int, float],
) -> tuple[TurnLabel, ...]:
    """A label for each screw that is to be turned, no two in one place."""
    found: dict[float, TurnLabel] = {}
    for each in sorted(adjusters, key=lambda one: places.get(one.name, 0.0)):
        if not each.turns or each.direction is None or each.name not in places:
            continue
        y = places[each.name]
        nearest = min(heights.values(), key=lambda height: abs(height - y))
        in_row = abs(nearest - y) < _BESIDE * ROW
        y = nearest if in_row else y
        while any(abs(y - taken) < ROW / 2 for taken in found):
            y, in_row = y + ROW / 2, False
        found[y] = TurnLabel(y, in_row, turns_named(each.turns), each.direction)
    return tuple(found.values())
