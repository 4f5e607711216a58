"""The strings' errors with their intervals, now and in the earlier report."""

from __future__ import annotations

from dataclasses import dataclass

from analyzer.page.rounding import with_interval
from analyzer.page.scale import Scale, Tick, with_room
from analyzer.report.model import Report

WIDTH, LEFT, RIGHT = 340.0, 58.0, 228.0
_TOP, _ROW, _ROW_OF_TWO, _BOTTOM = 30.0, 28.0, 40.0, 38.0
_APART = 8.0  # of a row's two marks from its middle
_MARGIN, _NARROWEST_CENTS = 0.06, 4.0
_TICKS = 6


@dataclass(frozen=True)
class Mark:
    """One error: where its value and the ends of its interval lie, and its text."""

    x: float
    from_x: float
    to_x: float
    y: float
    text: str


@dataclass(frozen=True)
class ErrorRow:
    string: int
    note: str
    y: float
    now: Mark | None
    before: Mark | None


@dataclass(frozen=True)
class ErrorsDrawing:
    width: float
    height: float
    left: float
    right: float
    zero_x: float
    rows: tuple[ErrorRow, ...]
    ticks: tuple[Tick, ...]
    description: str
    has_before: bool


def errors_drawing(report: Report) -> ErrorsDrawing | None:
    """The drawing; None where no string has a result."""
    now, before = report.intervals, report.intervals_before
    if not now:
        return None
    scale = _scale([*now.values(), *before.values()])
    height, apart = (_ROW_OF_TWO, _APART) if before else (_ROW, 0.0)
    rows = []
    for place, each in enumerate(report.strings):
        y = _TOP + height * (place + 0.5)
        marks = (
            _mark(now.get(each.string), y - apart, scale),
            _mark(before.get(each.string), y + apart, scale),
        )
        rows.append(ErrorRow(each.string, each.note, y, *marks))
    return ErrorsDrawing(
        WIDTH,
        _TOP + height * len(rows) + _BOTTOM,
        LEFT,
        RIGHT,
        scale.at(0.0),
        tuple(rows),
        tuple(scale.ticks(_TICKS)),
        _in_words(rows),
        bool(before),
    )


def _scale(intervals: list[tuple[float, float]]) -> Scale:
    """Nought is always in it."""
    ends = [end for value, half in intervals for end in (value - half, value + half)]
    return Scale(*with_room([0.0, *ends], _MARGIN, _NARROWEST_CENTS), LEFT, RIGHT)


def _mark(figure: tuple[float, float] | None, y: float, scale: Scale) -> Mark | None:
    if figure is None:
        return None
    value, half = figure
    text = with_interval(value, half) or ""
    return Mark(scale.at(value), scale.at(value - half), scale.at(value + half), y, text)


def _in_words(rows: list[ErrorRow]) -> str:
    words = []
    for row in rows:
        said = "no result" if row.now is None else f"{row.now.text} cents"
        earlier = "" if row.before is None else f", before {row.before.text}"
        words.append(f"string {row.string}: {said}{earlier}")
    return "; ".join(words) + "."
