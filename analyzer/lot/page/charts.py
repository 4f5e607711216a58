"""The control charts as they are shown, with what is said of each signal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

from analyzer.lot.judgement.specification import IN_WORDS
from analyzer.lot.output.words import counted
from analyzer.lot.page.chart_drawing import MOST_NUMBERED, ChartDrawing, chart_drawing
from analyzer.lot.statistics.charts import Chart, ChartPair
from analyzer.lot.statistics.figure import NotGiven
from analyzer.lot.summing.summary_model import ChartOf, ControlCharts
from analyzer.page.rounding import plain, signed

MOST_UNFOLDED = 6  # charts of strings: what a desk shows without much scrolling


@dataclass(frozen=True)
class ShownChart:
    """One pair of charts. ``drawing`` is None where there is none, and ``notes`` say why.

    ``signals`` counts them; ``lines`` are the first, those with a number in the drawing.
    """

    key: str
    named: str
    drawing: ChartDrawing | None
    description: str
    signals: int
    lines: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class ChartsPart:
    """One characteristic: the charts of all its strings together, then the strings'."""

    named: str
    together: tuple[ShownChart, ...]
    alarming: tuple[ShownChart, ...]
    quiet: tuple[ShownChart, ...]


@dataclass(frozen=True)
class ShownCharts:
    """``unfolded``: the charts of strings with a signal are few enough to be seen at once."""

    parts: tuple[ChartsPart, ...]
    unfolded: bool
    across: str
    methods: tuple[str, ...]


def charts_of(control: ControlCharts) -> ShownCharts:
    """All charts of a lot."""
    labels = {each.label: number for number, each in enumerate(control.subgrouping.of, 1)}
    shown = [
        (each, _shown(f"chart-{number}", each, labels))
        for number, each in enumerate(control.charts, 1)
    ]
    parts = tuple(
        _part(IN_WORDS[name], list(of))
        for name, of in groupby(shown, key=lambda each: each[0].characteristic)
    )
    methods = dict.fromkeys(
        f"{_capital(chart.method)}."
        for each in control.charts
        if isinstance(each.charts, ChartPair)
        for chart in (each.charts.location, each.charts.scatter)
    )
    return ShownCharts(
        parts,
        sum(len(each.alarming) for each in parts) <= MOST_UNFOLDED,
        f"subgroups of {control.subgrouping.words}, in the order of time",
        tuple(methods),
    )


def _part(named: str, shown: Sequence[tuple[ChartOf, ShownChart]]) -> ChartsPart:
    together = tuple(new for each, new in shown if each.charted != "string")
    single = [new for each, new in shown if each.charted == "string"]
    alarming = tuple(each for each in single if each.signals)
    quiet = tuple(each for each in single if not each.signals)
    return ChartsPart(named, together, alarming, quiet)


def _shown(key: str, of: ChartOf, labels: Mapping[str, int]) -> ShownChart:
    named = _capital(of.charted if of.string is None else f"string {of.string}")
    if isinstance(of.charts, NotGiven):
        note = f"{of.charts.method}: {of.charts.reason}."
        return ShownChart(key, named, None, "", 0, (), (note,))
    location, scatter = of.charts.location, of.charts.scatter
    signals = (of.location_signals, of.scatter_signals)
    lines = [
        f"{_capital(chart.drawn)}, {each.in_words()}."
        for chart, found in zip((location, scatter), signals, strict=True)
        for each in found
    ]
    words = f"{_capital(_in_words(location))}; {_in_words(scatter)}"
    cautions = [
        f"Caution, {each.drawn}: {each.caution}." for each in (location, scatter) if each.caution
    ]
    return ShownChart(
        key,
        named,
        chart_drawing(of.charts, signals, labels),
        f"{words}; {counted(len(lines), 'signal')}.",
        len(lines),
        tuple(lines[:MOST_NUMBERED]),
        (f"{words}.", *cautions),
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


def _capital(text: str) -> str:
    return f"{text[0].upper()}{text[1:]}"
