"""The bridge from above: the strings run from the nut at the left to the tail at the right.

Along the strings all saddles have one scale. Across, the strings lie as the instrument file has
them, or evenly where it does not say or where they would be too close to read.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from analyzer.page.rounding import signed
from analyzer.page.scale import Scale, Tick
from analyzer.report.model import AdjusterResult, Report, SaddleResult

WIDTH, LEFT, RIGHT = 340.0, 58.0, 228.0  # of the drawing, and of the part of it that has a scale
_TOP, _ROW, _BOTTOM = 18.0, 40.0, 54.0
_HALF_LENGTH, _HALF_WIDTH = 11.0, 4.0  # of a saddle: across the strings, and along them
_MARGIN_MM, _NARROWEST_MM = 1.0, 4.0
_CLOSEST = 0.6  # of the mean distance between strings; closer ones are drawn evenly
_SAME_MM = 1e-9
_SHORTEST_ARROW = 3.0
_TICKS = 6


@dataclass(frozen=True)
class StringLine:
    """A string: its name, its height, its break point now and then, and what is said beside it."""

    string: int
    note: str
    y: float
    now_x: float
    then_x: float
    move: str
    arrow: int  # +1 to the tail, -1 to the nut, 0 where nothing moves


@dataclass(frozen=True)
class SaddleShape:
    """Outlines as ``points`` of SVG; ``then`` is None where the saddle stays or is not advised."""

    now: str
    then: str | None
    screw: tuple[float, float, float] | None  # x of the saddle, x of the head, y of both


@dataclass(frozen=True)
class TurnLabel:
    """What the one screw of a saddle is turned by."""

    y: float
    text: str
    direction: str


@dataclass(frozen=True)
class BridgeDrawing:
    width: float
    height: float
    left: float
    right: float
    strings: tuple[StringLine, ...]
    saddles: tuple[SaddleShape, ...]
    turns: tuple[TurnLabel, ...]
    ticks: tuple[Tick, ...]
    axis: str
    across: str
    description: str


def bridge_drawing(report: Report) -> BridgeDrawing | None:
    """The drawing; None where the instrument has no bridge."""
    if report.layout is None or not report.saddles:
        return None
    numbers = [each.string for each in report.strings]
    heights, across = _heights(numbers, report.layout.across_mm)
    now_mm = report.layout.setback_mm
    moves = {string: move for each in report.saddles for string, move in _moves(each)}
    then_mm = {string: now_mm[string] + (moves[string] or 0.0) for string in numbers}
    scale = _scale([*now_mm.values(), *then_mm.values()])
    strings = {
        each.string: _line(each.note, each.string, heights, scale, now_mm, moves)
        for each in report.strings
    }
    known = any(now_mm.values())
    return BridgeDrawing(
        WIDTH,
        max(heights.values()) + _BOTTOM,
        LEFT,
        RIGHT,
        tuple(strings.values()),
        tuple(_shape(each, report.adjusters, strings) for each in report.saddles),
        tuple(_turns(report.saddles, strings)),
        tuple(scale.ticks(_TICKS)),
        "mm beyond the scale length" if known else "mm from where the saddles are now",
        across,
        _in_words(list(strings.values())),
    )


def _moves(saddle: SaddleResult) -> Sequence[tuple[int, float | None]]:
    moves = saddle.moves_mm or {}
    return [(string, moves.get(string)) for string in saddle.strings]


def _heights(
    numbers: Sequence[int], across_mm: Mapping[int, float]
) -> tuple[dict[int, float], str]:
    """Where the strings lie in the drawing, and what that is worth."""
    even = {string: _TOP + _ROW * (place + 0.5) for place, string in enumerate(numbers)}
    if len(numbers) < 2 or set(across_mm) != set(numbers):
        return even, "Across, the strings are drawn evenly spaced."
    places = [across_mm[string] for string in numbers]
    mean = (places[-1] - places[0]) / (len(places) - 1)
    if min(after - before for before, after in pairwise(places)) < _CLOSEST * mean:
        return even, "Across, the strings are drawn evenly spaced, so that they can be read."
    first = places[0]
    heights = {
        string: round(_TOP + _ROW * ((across_mm[string] - first) / mean + 0.5), 2)
        for string in numbers
    }
    return heights, "Across, the strings lie as in the instrument file."


def _scale(places_mm: Sequence[float]) -> Scale:
    low, high = min(places_mm) - _MARGIN_MM, max(places_mm) + _MARGIN_MM
    spare = max(_NARROWEST_MM - (high - low), 0.0) / 2
    return Scale(low - spare, high + spare, LEFT, RIGHT)


def _line(
    note: str,
    string: int,
    heights: Mapping[int, float],
    scale: Scale,
    now_mm: Mapping[int, float],
    moves: Mapping[int, float | None],
) -> StringLine:
    move = moves[string]
    now_x, then_x = scale.at(now_mm[string]), scale.at(now_mm[string] + (move or 0.0))
    arrow = 0 if abs(then_x - now_x) < _SHORTEST_ARROW else (1 if then_x > now_x else -1)
    if move is None:
        said = "no advice"
    else:
        said = "stays" if abs(move) < _SAME_MM else f"{signed(move, 2)} mm"
    return StringLine(string, note, heights[string], now_x, then_x, said, arrow)


def _shape(
    saddle: SaddleResult, adjusters: Sequence[AdjusterResult], strings: Mapping[int, StringLine]
) -> SaddleShape:
    lines = sorted((strings[each] for each in saddle.strings), key=lambda line: line.y)
    now = _outline([(each.now_x, each.y) for each in lines])
    moved = bool(saddle.move_mm) or any(each.now_x != each.then_x for each in lines)
    then = _outline([(each.then_x, each.y) for each in lines]) if moved else None
    return SaddleShape(now, then, _screw(saddle, adjusters, lines))


def _outline(places: Sequence[tuple[float, float]]) -> str:
    """Around the break points, a little beyond the outermost, as wide where it slants."""
    if len(places) == 1:
        ((x, y),) = places
        spine = [(x, y - _HALF_LENGTH), (x, y + _HALF_LENGTH)]
    else:
        spine = [_beyond(places[0], places[1]), *places, _beyond(places[-1], places[-2])]
    left, right = [], []
    for place, (x, y) in enumerate(spine):
        before, after = spine[max(place - 1, 0)], spine[min(place + 1, len(spine) - 1)]
        along_x, along_y = after[0] - before[0], after[1] - before[1]
        off = _HALF_WIDTH / math.hypot(along_x, along_y)
        left.append((x - off * along_y, y + off * along_x))
        right.append((x + off * along_y, y - off * along_x))
    return " ".join(f"{x:.2f},{y:.2f}" for x, y in (*left, *reversed(right)))


def _beyond(end: tuple[float, float], inward: tuple[float, float]) -> tuple[float, float]:
    """Where a saddle ends beyond its outermost string, in the direction of the next."""
    slope = (end[0] - inward[0]) / (end[1] - inward[1])
    length = math.copysign(_HALF_LENGTH, end[1] - inward[1])
    return end[0] + slope * length, end[1] + length


def _screw(
    saddle: SaddleResult, adjusters: Sequence[AdjusterResult], lines: Sequence[StringLine]
) -> tuple[float, float, float] | None:
    """Where the one screw of a saddle runs; the drawing of others would be a guess."""
    movers = [each for each in adjusters if set(each.strings) & set(saddle.strings)]
    if len(movers) != 1 or movers[0].screw_head is None:
        return None
    x = sum(each.then_x for each in lines) / len(lines)
    y = sum(each.y for each in lines) / len(lines)
    beside = y + (7.0 if len(lines) % 2 else 0.0)  # not on a string
    return x, (RIGHT if movers[0].screw_head == "tail" else LEFT), beside


def _turns(
    saddles: Sequence[SaddleResult], strings: Mapping[int, StringLine]
) -> Sequence[TurnLabel]:
    found = []
    for each in saddles:
        if each.turns and each.direction is not None:
            heights = [strings[string].y for string in each.strings]
            y = sum(heights) / len(heights)
            text = f"{each.turns:g} turn{'' if each.turns <= 1 else 's'}"
            found.append(TurnLabel(y, text, each.direction))
    return found


def _in_words(lines: Sequence[StringLine]) -> str:
    """What a reader who cannot see the drawing is told."""
    words = []
    for each in lines:
        way = {1: " away from the nut", -1: " toward the nut", 0: ""}[each.arrow]
        words.append(f"string {each.string}: {each.move}{way}")
    return "; ".join(words) + "."
