"""The bridge from above: the strings run from the nut at the left to the tail at the right.

Along the strings all saddles have one scale. Across, the strings lie as the instrument file has
them, or evenly where it does not say or where they would be too close to read.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from analyzer.page.outline import HALF_LENGTH, Place, edge_x, outline, x_at
from analyzer.page.rounding import signed
from analyzer.page.scale import Scale, Tick
from analyzer.page.screws_drawing import (
    ROW,
    Screw,
    TurnLabel,
    places_across,
    screws,
    turn_labels,
)
from analyzer.report.model import Report, SaddleResult, StringResult
from analyzer.report.words import turned

WIDTH, LEFT, RIGHT = 340.0, 54.0, 216.0  # of the drawing, and of the part of it that has a scale
_TOP, _BOTTOM = 18.0, 54.0
_MARGIN_MM, _NARROWEST_MM = 1.0, 4.0
_CLOSEST = 0.6  # of the mean distance between strings; closer ones are drawn evenly
_SAME_MM = 1e-9
ARROW_ABOVE = 14.0  # its string
_SHORTEST_ARROW = 3.0
_TICKS = 6
_WIDEST_HALF_MM = 3.0  # of an interval: a wider one runs out of the drawing


@dataclass(frozen=True)
class Ideal:
    """Where a string's saddle would best be, and its interval; open where it leaves the drawing."""

    x: float
    from_x: float
    to_x: float
    open_from: bool
    open_to: bool


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
    ideal: Ideal | None
    labelled: bool  # whether a screw's turns stand in its row


@dataclass(frozen=True)
class Arrow:
    """The way that a string's break point goes; ``way`` is +1 to the tail, -1 to the nut."""

    from_x: float
    to_x: float
    y: float
    way: int


@dataclass(frozen=True)
class SaddleShape:
    """Outlines as ``points`` of SVG; ``then`` is None where the saddle stays or is not advised."""

    now: str
    then: str | None
    arrows: tuple[Arrow, ...]  # none where there is no room for one
    screws: tuple[tuple[float, float, float], ...]  # x of the saddle, x of the head, y of both


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

    @property
    def moving(self) -> bool:
        """Whether a saddle is to be moved; the key explains only what is drawn."""
        return any(each.then is not None for each in self.saddles)

    @property
    def staying(self) -> bool:
        return any(each.then is None for each in self.saddles)

    @property
    def shared(self) -> bool:
        return len(self.saddles) < len(self.strings)

    @property
    def best(self) -> bool:
        return any(each.ideal is not None for each in self.strings)


def bridge_drawing(report: Report) -> BridgeDrawing | None:
    """The drawing; None where the instrument has no bridge."""
    if report.layout is None or not report.saddles:
        return None
    numbers = [each.string for each in report.strings]
    heights, across = _heights(numbers, report.layout.across_mm)
    heights = _with_room(heights, places_across(report.adjusters, heights).values())
    places = places_across(report.adjusters, heights)
    labels = turn_labels(report.adjusters, places, heights)
    now_mm = report.layout.setback_mm
    moves = {string: move for each in report.saddles for string, move in _moves(each)}
    scale = _scale(report, now_mm, moves)
    rows = {each.y for each in labels if each.in_row}
    lines = {
        each.string: _line(each, heights, scale, now_mm, moves[each.string], rows)
        for each in report.strings
    }
    runs = list(screws(report.adjusters, places, heights))
    known = any(now_mm.values())
    return BridgeDrawing(
        WIDTH,
        max(*heights.values(), *places.values()) + _BOTTOM,
        LEFT,
        RIGHT,
        tuple(lines.values()),
        tuple(_shape(each, runs, lines) for each in report.saddles),
        labels,
        tuple(scale.ticks(_TICKS)),
        "mm beyond the scale length" if known else "mm from where the saddles are now",
        across,
        _in_words(report, list(lines.values())),
    )


def _moves(saddle: SaddleResult) -> Sequence[tuple[int, float | None]]:
    moves = saddle.moves_mm or {}
    return [(string, moves.get(string)) for string in saddle.strings]


def _heights(
    numbers: Sequence[int], across_mm: Mapping[int, float]
) -> tuple[dict[int, float], str]:
    """Where the strings lie in the drawing, and what that is worth."""
    even = {string: _TOP + ROW * (place + 0.5) for place, string in enumerate(numbers)}
    if len(numbers) < 2 or set(across_mm) != set(numbers):
        return even, "Across, the strings are drawn evenly spaced."
    places = [across_mm[string] for string in numbers]
    mean = (places[-1] - places[0]) / (len(places) - 1)
    if min(after - before for before, after in pairwise(places)) < _CLOSEST * mean:
        return even, "Across, the strings are drawn evenly spaced, so that they can be read."
    first = places[0]
    heights = {
        string: round(_TOP + ROW * ((across_mm[string] - first) / mean + 0.5), 2)
        for string in numbers
    }
    return heights, "Across, the strings lie as in the instrument file."


def _with_room(heights: Mapping[int, float], screws_y: Iterable[float]) -> dict[int, float]:
    """Further down where a screw lies above the first string."""
    missing = max(_TOP + ROW / 2 - min((*heights.values(), *screws_y)), 0.0)
    return {string: round(y + missing, 2) for string, y in heights.items()}


def _scale(report: Report, now_mm: Mapping[int, float], moves: Mapping[int, float | None]) -> Scale:
    """Room for where the saddles are, where they go, and where they would best go."""
    places_mm = [now_mm[string] + (move or 0.0) for string, move in moves.items()]
    places_mm += now_mm.values()
    for each in report.strings:
        if each.saddle_move_mm is not None:
            best_mm = now_mm[each.string] + each.saddle_move_mm
            half_mm = min(each.saddle_move_uncertainty_mm or 0.0, _WIDEST_HALF_MM)
            places_mm += [best_mm - half_mm, best_mm + half_mm]
    low, high = min(places_mm) - _MARGIN_MM, max(places_mm) + _MARGIN_MM
    spare = max(_NARROWEST_MM - (high - low), 0.0) / 2
    return Scale(low - spare, high + spare, LEFT, RIGHT)


def _line(
    result: StringResult,
    heights: Mapping[int, float],
    scale: Scale,
    now_mm: Mapping[int, float],
    move: float | None,
    rows: Container[float],
) -> StringLine:
    string = result.string
    now_x, then_x = scale.at(now_mm[string]), scale.at(now_mm[string] + (move or 0.0))
    arrow = 0 if abs(then_x - now_x) < _SHORTEST_ARROW else (1 if then_x > now_x else -1)
    if move is None:
        said = "no advice"
    else:
        said = "stays" if abs(move) < _SAME_MM else f"{signed(move, 2)} mm"
    ideal = _ideal(result, now_mm[string], scale)
    y = heights[string]
    return StringLine(string, result.note, y, now_x, then_x, said, arrow, ideal, y in rows)


def _ideal(result: StringResult, now_mm: float, scale: Scale) -> Ideal | None:
    move_mm, half_mm = result.saddle_move_mm, result.saddle_move_uncertainty_mm
    if move_mm is None or half_mm is None:
        return None
    best_mm = now_mm + move_mm
    from_x, to_x = scale.at(best_mm - half_mm), scale.at(best_mm + half_mm)
    return Ideal(
        scale.at(best_mm), max(from_x, LEFT), min(to_x, RIGHT), from_x < LEFT, to_x > RIGHT
    )


def _shape(
    saddle: SaddleResult, runs: Sequence[Screw], strings: Mapping[int, StringLine]
) -> SaddleShape:
    lines = sorted((strings[each] for each in saddle.strings), key=lambda line: line.y)
    own = [each for each in runs if set(each.strings) & set(saddle.strings)]
    now = _reaching([(each.now_x, each.y) for each in lines], own)
    then = _reaching([(each.then_x, each.y) for each in lines], own)
    moved = bool(saddle.move_mm) or any(each.now_x != each.then_x for each in lines)
    heads = {"tail": RIGHT, "neck": LEFT}
    return SaddleShape(
        outline(now),
        outline(then) if moved else None,
        tuple(filter(None, (_arrow(each, then) for each in lines))),
        tuple((x_at(then, each.y), heads[each.head], each.y) for each in own),
    )


def _arrow(line: StringLine, then: Sequence[Place]) -> Arrow | None:
    """It ends at the string's break point, or before a piece that lies in its way."""
    y, to_x = line.y - ARROW_ABOVE, line.then_x
    if y > then[0][1] - HALF_LENGTH:
        to_x = edge_x(then, y, line.arrow) - line.arrow
    if line.arrow * (to_x - line.now_x) < _SHORTEST_ARROW:
        return None
    return Arrow(line.now_x, to_x, y, line.arrow)


def _reaching(places: Sequence[Place], own: Sequence[Screw]) -> list[Place]:
    """As far as the screws that lie beyond the outer strings."""
    if len(places) == 1:
        return list(places)
    above = [each.y for each in own if each.y < places[0][1] - HALF_LENGTH]
    below = [each.y for each in own if each.y > places[-1][1] + HALF_LENGTH]
    return [
        *((x_at(places, y), y) for y in above[:1]),
        *places,
        *((x_at(places, y), y) for y in below[:1]),
    ]


def _in_words(report: Report, lines: Sequence[StringLine]) -> str:
    """What a reader who cannot see the drawing is told."""
    words = []
    for each in lines:
        way = {1: " away from the nut", -1: " toward the nut", 0: ""}[each.arrow]
        words.append(f"string {each.string}: {each.move}{way}")
    words += [
        f"{each.name}: {turned(each.turns, each.direction)}"
        for each in report.adjusters
        if each.turns
    ]
    return "; ".join(words) + "."
