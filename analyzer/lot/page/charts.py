"""The control charts as they are shown, with what is said of each signal."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from analyzer.lot.page.chart_drawing import MOST_NUMBERED, ChartDrawing, chart_drawing
from analyzer.lot.page.tables import counted
from analyzer.lot.statistics.charts import Chart
from analyzer.lot.statistics.figure import NotGiven
from analyzer.lot.summary_model import ChartOf, ControlCharts
from analyzer.page.rounding import plain, signed


@dataclass(frozen=True)
class ShownChart:
    """One pair of charts. ``drawing`` is None where there is none, and ``notes`` say why.

    ``signals`` are lines, those with a number in the drawing; ``unsaid`` counts the others.
    """

    key: str
    named: str
    drawing: ChartDrawing | None
    description: str
    signals: tuple[str, ...]
    unsaid: int
    notes: tuple[str, ...]

    @property
    def alarming(self) -> bool:
        return bool(self.signals)


@dataclass(frozen=True)
class ShownCharts:
    """``first``: those with a signal, and those of all strings together; ``others``: the rest."""

    first: tuple[ShownChart, ...]
    others: tuple[ShownChart, ...]
    across: str


def charts_of(control: ControlCharts) -> ShownCharts:
    """All charts of a lot."""
    labels = {each.label: number for number, each in enumerate(control.subgrouping.of, 1)}
    shown = [
        (each, _shown(f"chart-{number}", each, labels))
        for number, each in enumerate(control.charts, 1)
    ]
    first = [new.alarming or each.charted != "string" for each, new in shown]
    return ShownCharts(
        tuple(new for (_, new), now in zip(shown, first, strict=True) if now),
        tuple(new for (_, new), now in zip(shown, first, strict=True) if not now),
        f"subgroup: {control.subgrouping.words}, in the order of time",
    )


def _shown(key: str, of: ChartOf, labels: Mapping[str, int]) -> ShownChart:
    named = f"{of.named[0].upper()}{of.named[1:]}"
    if isinstance(of.charts, NotGiven):
        note = f"{of.charts.method}: {of.charts.reason}."
        return ShownChart(key, named, None, "", (), 0, (note,))
    location, scatter = of.charts.location, of.charts.scatter
    signals = (of.location_signals, of.scatter_signals)
    lines = [
        f"{_capital(chart.drawn)}, {each.in_words()}"
        for chart, found in zip((location, scatter), signals, strict=True)
        for each in found
    ]
    return ShownChart(
        key,
        named,
        chart_drawing(of.charts, signals, labels),
        f"{_in_words(location)}; {_in_words(scatter)}; {counted(len(lines), 'signal')}.",
        tuple(f"{each}." for each in lines[:MOST_NUMBERED]),
        max(0, len(lines) - MOST_NUMBERED),
        tuple(_notes(location, scatter)),
    )


def _in_words(chart: Chart) -> str:
    if not chart.points:
        return f"{chart.drawn} chart without points"
    show = signed if chart.symmetric else plain
    same = len(set(chart.sizes)) == 1
    limits = (
        f"limits {show(chart.lower_limits[0], 2)} to {show(chart.upper_limits[0], 2)} cents"
        if same
        else "limits by the size of each subgroup"
    )
    centre = f"centre {show(chart.centres[0], 2)}, " if same else ""
    return f"{chart.drawn} of {len(chart.points):,} points, {centre}{limits}"


def _notes(location: Chart, scatter: Chart) -> Iterator[str]:
    yield f"{_capital(_in_words(location))}; {_in_words(scatter)}."
    yield f"{_capital(location.method)}; {scatter.method}."
    for each in (location, scatter):
        if each.caution:
            yield f"Mind, {each.drawn}: {each.caution}."


def _capital(text: str) -> str:
    return f"{text[0].upper()}{text[1:]}"
