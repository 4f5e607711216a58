"""Control charts: where the process is, and below it how it scatters, over the same subgroups.

A drawing shows a subgroup in no less than about a unit. Where there are more than it has units,
the points of a unit are drawn as a stroke from the lowest to the highest; none is left out.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise

import numpy as np

from analyzer.lot.statistics.charts import Chart, ChartPair
from analyzer.lot.statistics.run_rules import Violation
from analyzer.page.scale import Scale, Tick, with_room

WIDTH, LEFT, RIGHT = 340.0, 40.0, 326.0
_TOP, _LOCATION, _SCATTER, _BETWEEN, _BOTTOM = 22.0, 110.0, 66.0, 30.0, 38.0
_MOST_DOTS, _MOST_POINTS = 80, 300  # beyond them a line without dots, and strokes
_TICKS_X, _TICKS_HIGH = 6, 4
_ROOM, _NARROWEST_CENTS = 0.08, 0.05
_SHORTEST_STROKE = 0.8
MOST_NUMBERED = 6  # signals with a number in the drawing and a line below it
_NUMBER_UP, _NUMBER_WIDE, _NUMBER_HIGH = 8.0, 8.0, 10.0  # of a signal's number above its point
Place = tuple[float, float]


@dataclass(frozen=True)
class SignalNumber:
    """The number of a signal, above the point at which it was seen."""

    x: float
    y: float
    number: int


@dataclass(frozen=True)
class Panel:
    """One chart: paths of its points, centre and limits, and of the marks of its signals.

    ``line`` joins the points, ``dots`` has one each; where there are many, ``strokes`` stand for
    both. ``beyond`` are diamonds about points beyond a limit, ``patterns`` squares about others.
    """

    drawn: str
    top: float
    bottom: float
    ticks: tuple[Tick, ...]
    line: str
    dots: str
    strokes: str
    centre: str
    limits: tuple[str, str]
    beyond: str
    patterns: str
    numbers: tuple[SignalNumber, ...]


@dataclass(frozen=True)
class ChartDrawing:
    width: float
    height: float
    left: float
    right: float
    panels: tuple[Panel, ...]
    ticks: tuple[Tick, ...]


def chart_drawing(
    pair: ChartPair,
    signals: tuple[Sequence[Violation], Sequence[Violation]],
    labels: Mapping[str, int],
) -> ChartDrawing:
    """``signals`` of both charts; ``labels`` gives the number of each subgroup, from 1."""
    across = Scale(0.5, max(len(labels), 1) + 0.5, LEFT, RIGHT)
    numbered = _numbered(signals)
    panels = []
    top = _TOP
    for chart, found, high in zip(
        (pair.location, pair.scatter), numbered, (_LOCATION, _SCATTER), strict=True
    ):
        panels.append(_panel(chart, found, (top, top + high), (across, labels)))
        top += high + _BETWEEN
    ticks = tuple(each for each in across.ticks(_TICKS_X) if each.value % 1 == 0)
    return ChartDrawing(WIDTH, top - _BETWEEN + _BOTTOM, LEFT, RIGHT, tuple(panels), ticks)


def _numbered(
    signals: tuple[Sequence[Violation], Sequence[Violation]],
) -> tuple[list[tuple[int, Violation]], list[tuple[int, Violation]]]:
    location = list(enumerate(signals[0], 1))
    return location, list(enumerate(signals[1], 1 + len(location)))


def _panel(
    chart: Chart,
    signals: Sequence[tuple[int, Violation]],
    ends: Place,
    across: tuple[Scale, Mapping[str, int]],
) -> Panel:
    top, bottom = ends
    reach = with_room(
        [*chart.points, *chart.lower_limits, *chart.upper_limits], _ROOM, _NARROWEST_CENTS
    )
    high = Scale(*reach, bottom, top)
    scale, labels = across
    xs = [scale.at(labels[each]) for each in chart.labels]
    half = (scale.at(1.0) - scale.at(0.0)) / 2
    places = [(x, high.at(y)) for x, y in zip(xs, chart.points, strict=True)]
    many = len(places) > _MOST_POINTS
    return Panel(
        chart.drawn,
        top,
        bottom,
        tuple(high.ticks(_TICKS_HIGH)),
        "" if many else "M" + "L".join(f"{x:g} {y:g}" for x, y in places),
        "".join(f"M{x:g} {y:g}h0" for x, y in places) if len(places) <= _MOST_DOTS else "",
        _strokes(places) if many else "",
        _steps(xs, [high.at(each) for each in chart.centres], half),
        (
            _steps(xs, [high.at(each) for each in chart.lower_limits], half),
            _steps(xs, [high.at(each) for each in chart.upper_limits], half),
        ),
        _marks(_of(signals, places, beyond=True), "M{x:g} {y:g}m0-5l5 5-5 5-5-5z"),
        _marks(_of(signals, places, beyond=False), "M{x:g} {y:g}m-4.5-4.5h9v9h-9z"),
        tuple(_numbers(signals, places)),
    )


def _numbers(
    signals: Iterable[tuple[int, Violation]], places: Sequence[Place]
) -> Iterator[SignalNumber]:
    """Each above its point, and above the numbers that stand there already."""
    taken: list[Place] = []
    for number, each in signals:
        if number > MOST_NUMBERED:
            return
        x, y = places[each.seen_at]
        y -= _NUMBER_UP
        while any(abs(x - other) < _NUMBER_WIDE and abs(y - up) < _NUMBER_HIGH
                  for other, up in taken):  # fmt: skip
            y = round(y - _NUMBER_HIGH, 2)
        y = max(y, _NUMBER_HIGH)
        taken.append((x, y))
        yield SignalNumber(x, y, number)


def _strokes(places: Sequence[Place]) -> str:
    """In each unit of the drawing from the lowest to the highest point."""
    path = []
    for unit, held in groupby(places, key=lambda each: round(each[0])):
        heights = [y for _, y in held]
        low = min(heights)
        path.append(f"M{unit} {low:g}V{max(*heights, low + _SHORTEST_STROKE):g}")
    return "".join(path)


def _steps(xs: Sequence[float], ys: Sequence[float], half: float) -> str:
    """A level line over each run of equal heights; unequal subgroups make steps."""
    if not xs:
        return ""
    heights = np.array(ys)
    starts = [0, *(np.flatnonzero(np.diff(heights)) + 1).tolist(), len(xs)]
    path = [f"M{xs[0] - half:.1f} {ys[0]:g}"]
    for start, end in pairwise(starts):
        path.append(f"V{ys[start]:g}H{xs[end - 1] + half:.1f}")
    return "".join(path)


def _of(
    signals: Iterable[tuple[int, Violation]], places: Sequence[Place], *, beyond: bool
) -> Iterator[Place]:
    """The points of the signals of one form, each once; those that would cover each other too."""
    seen = {
        (round(places[at][0]), round(places[at][1]))
        for _, each in signals
        if each.rule.for_every_chart == beyond
        for at in each.places
    }
    return iter(sorted(seen))


def _marks(places: Iterable[Place], form: str) -> str:
    return "".join(form.format(x=x, y=y) for x, y in places)
