"""A lot's summary as text for a terminal: figures, the worst of what there is much of, a verdict.

Everything else is in the JSON, on the page and in the tables.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from rich.console import Console, ConsoleOptions, RenderableType, RenderResult
from rich.table import Table

from analyzer.lot.output.words import (
    counted,
    guard_bands_in_words,
    process_risk_in_words,
    risks_in_words,
    signals_in_words,
    takes_in_words,
    verdict_of_lot,
    yield_in_words,
)
from analyzer.lot.statistics.figure import Figure, NotGiven
from analyzer.lot.statistics.gauge_model import GaugeShares
from analyzer.lot.statistics.pareto import Cause
from analyzer.lot.summing.summary_model import GaugeStudy, JudgedString, LotSummary
from analyzer.report.layout import bare_table, fits, line

_SHOWN = 5  # of everything that a lot may have hundreds of
_CHARTS_SHOWN = 3
_STRINGS_SHOWN = 12  # as many as an instrument has at most


class TerminalLot:
    """A rich renderable of a lot's summary, of the run that it comes from, and of names of note."""

    def __init__(self, summary: LotSummary, run: str = "", named: Sequence[str] = ()) -> None:
        self._summary, self._run, self._named = summary, run, named

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        summary = self._summary
        yield line(f"Lot {summary.name}", style="bold")
        for words in (*_head(summary), self._run, *_risk(summary)):
            if words:
                yield line(words)
        yield from _capability(summary, console, options)
        for words in (*_process(summary), *_causes(summary), *_gauge(summary), *_notes(summary)):
            yield line(words)
        for words in self._named:
            yield line(words)
        yield line(verdict_of_lot(summary), style="bold")


def _head(summary: LotSummary) -> Iterator[str]:
    counts, span = summary.counts, summary.span
    words = (
        f"{counted(counts.sessions, 'session')} of {counted(counts.instruments, 'instrument')}, "
        f"{counted(counts.recordings, 'recording')}, {counts.left_out:,} left out"
    )
    if span is not None:
        words = f"{words}; {span.first:%Y-%m-%d %H:%M} to {span.last:%Y-%m-%d %H:%M}"
    yield f"{words}."
    yield summary.rule_in_words
    if words := guard_bands_in_words(summary):
        yield words


def _risk(summary: LotSummary) -> Iterator[str]:
    yield yield_in_words(summary.conforming_share)
    yield from risks_in_words(summary)
    if words := takes_in_words(summary):
        yield words


def _capability(
    summary: LotSummary, console: Console, options: ConsoleOptions
) -> Iterator[RenderableType]:
    """The strings that are worst by Ppk; those without one come last."""
    worst = sorted(summary.judged, key=_badness)
    if not worst:
        return
    shown = worst[:_STRINGS_SHOWN]
    tables = (_table(shown), _table(shown, narrow=True))
    fitting = [each for each in tables if fits(each, console, options)]
    yield from fitting[:1] or map(line, _blocks(shown))
    if more := len(worst) - len(shown):
        yield line(f"{more} better {'one is' if more == 1 else 'ones are'} not shown.")
    for each in dict.fromkeys(figure.method for figure in _indices(shown[0])):
        yield line(f"{each}{_interval_method(shown[0], each)}")
    if words := process_risk_in_words(shown[0]):
        yield line(words)
    cautions = dict.fromkeys(each.capability.ppk.caution for each in shown)
    for caution in filter(None, cautions):
        named = [each.named for each in shown if each.capability.ppk.caution == caution]
        yield line(f"Caution: {'; '.join(named)}: {caution}.")


def _indices(each: JudgedString) -> tuple[Figure, Figure]:
    return each.capability.cpk, each.capability.ppk


def _interval_method(each: JudgedString, method: str) -> str:
    for figure in _indices(each):
        if figure.method == method and figure.interval_method is not None:
            return f"; {100 * (figure.confidence or 0):g} % interval by {figure.interval_method}."
    return "."


def _badness(each: JudgedString) -> float:
    value = each.capability.ppk.value
    return math.inf if value is None else value


def _table(shown: Sequence[JudgedString], *, narrow: bool = False) -> Table:
    table = bare_table()
    table.add_column("String")
    for heading in ("Mean\ncents", "s\ncents", "Cpk", "Ppk", "Not\nconform"):
        if not (narrow and heading in {"s\ncents", "Cpk"}):
            table.add_column(heading, justify="right")
    for each in shown:
        cells = [
            _number(each.capability.moments.mean, "+.2f"),
            _number(each.capability.moments.sd, ".2f"),
            _index(each.capability.cpk, narrow=True),
            _index(each.capability.ppk, narrow=narrow),
            f"{each.not_conform:,}",
        ]
        kept = (cells[0], *cells[3:]) if narrow else cells
        table.add_row(each.named.removeprefix("string "), *kept)
    return table


def _blocks(shown: Sequence[JudgedString]) -> Iterator[str]:
    for each in shown:
        yield each.named
        yield (
            f"  mean {_number(each.capability.moments.mean, '+.2f')} cents, "
            f"Ppk {_index(each.capability.ppk)}, {each.not_conform:,} not conform"
        )


def _index(figure: Figure, *, narrow: bool = False) -> str:
    if figure.value is None:
        return "-"
    if narrow or figure.lower is None or figure.upper is None:
        return f"{figure.value:.2f}"
    return f"{figure.value:.2f} ({figure.lower:.2f} to {figure.upper:.2f})"


def _number(value: float | None, form: str) -> str:
    return "-" if value is None else f"{value:{form}}"


def _process(summary: LotSummary) -> Iterator[str]:
    """Control charts and trends of stations."""
    yield signals_in_words(summary)
    noisy = [each for each in summary.control.charts if each.signals]
    noisy.sort(key=lambda each: -len(each.signals))
    for each in noisy[:_CHARTS_SHOWN]:
        signal = max(each.signals, key=lambda signal: signal.seen_at)
        yield (
            f"  {each.named}: {counted(len(each.signals), 'signal')}, the last {signal.in_words()}."
        )
    for trend in summary.trends.sure[:_SHOWN]:
        yield trend.words
    if more := len(summary.trends.sure) - _SHOWN:
        yield from [f"{more} more trends like these."] if more > 0 else ()
    if summary.trends.sure:
        yield f"Trends: {summary.trends.method}."


def _causes(summary: LotSummary) -> Iterator[str]:
    causes = summary.causes
    for heading, rows, noun in (
        ("Does not conform, by cause", causes.not_conform, "instrument"),
        ("Not decided, by cause", causes.not_decided, "instrument"),
        ("Recordings left out, by cause", causes.left_out, "recording"),
    ):
        yield from _pareto(heading, rows, noun)


def _pareto(heading: str, rows: Sequence[Cause], noun: str) -> Iterator[str]:
    if not rows:
        return
    yield f"{heading}:"
    for each in rows[:_SHOWN]:
        yield f"  {counted(each.count, noun)}: {each.cause}"
    if more := rows[_SHOWN:]:
        yield f"  {counted(len(more), 'other cause')} of fewer"


def _gauge(summary: LotSummary) -> Iterator[str]:
    """One line for each characteristic, of all strings together where there are several."""
    if isinstance(summary.gauge, NotGiven):
        return
    by_characteristic = {each.characteristic: each for each in summary.gauge}
    for study in by_characteristic.values():
        yield f"Gauge, {study.named} ({study.parts} parts, {study.operators_are}):"
        yield from _both_methods(study)


def _both_methods(study: GaugeStudy) -> Iterator[str]:
    for found in (study.anova, study.average_and_range):
        words = found.reason if isinstance(found, NotGiven) else _shares(found.shares)
        yield f"  {found.method}: {words}."


def _shares(shares: GaugeShares) -> str:
    gauge = shares.gauge
    words = f"{gauge.sd:.3g} cents, {gauge.study_percent:.1f} % of the study's scatter"
    if gauge.tolerance_percent is not None:
        words = f"{words}, {gauge.tolerance_percent:.1f} % of the tolerance"
    if shares.categories is not None:
        words = f"{words}, {shares.categories} distinct categories"
    return words


def _notes(summary: LotSummary) -> Iterator[str]:
    for fault in summary.faults[:_SHOWN]:
        yield f"Fault: {fault.where}: {fault.reason}"
    if (more := len(summary.faults) - _SHOWN) > 0:
        yield f"{counted(more, 'more fault')}."
    for warning in summary.warnings[:_SHOWN]:
        yield f"Note: {warning}"
    if (more := len(summary.warnings) - _SHOWN) > 0:
        yield f"{counted(more, 'more note')}."
