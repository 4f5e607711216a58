"""The report as text for a terminal: tables where they fit, a block for each string where not.

Only a terminal is shown how the pitch runs; a pipe gets what can be searched and cut.
"""

from __future__ import annotations

from collections.abc import Iterator

from rich.console import Console, ConsoleOptions, RenderableType, RenderResult
from rich.table import Table

from analyzer.report.cause_lines import frets_and_causes
from analyzer.report.layout import bare_table, fits, line, sign_for, signed, with_interval
from analyzer.report.model import Report, StringResult
from analyzer.report.terminal_bridge import TerminalBridge, TerminalOutcome
from analyzer.report.terminal_courses import course_lines
from analyzer.report.words import way
from analyzer.report.working_order import caution


class TerminalReport:
    """A rich renderable of a report."""

    def __init__(self, report: Report) -> None:
        self._report = report

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        report = self._report
        sign = sign_for(options)
        yield line(f"{report.instrument}  ({' '.join(report.tuning)})", style="bold")
        if report.outcome:
            yield TerminalOutcome(report)
        tables = (_strings_table(report, sign), _strings_table(report, sign, narrow=True))
        fitting = [each for each in tables if fits(each, console, options)]
        yield from fitting[:1] or _blocks(report, sign)
        if options.is_terminal:
            yield from course_lines(report, options)
        if report.adjusters:
            yield TerminalBridge(report)
        for note in (*frets_and_causes(report, sign), *_notes(report)):
            yield line(note)
        if report.steps:
            yield line(caution(report), style="italic")
        yield line(report.verdict(), style="bold")


def _notes(report: Report) -> Iterator[str]:
    for each in report.strings:
        if each.error_cents is None:
            yield f"Note: string {each.string}: {each.reason}"
    for adjuster in report.adjusters:
        if adjuster.reason is not None and adjuster.move_mm is not None:
            yield f"Note: {adjuster.name}: {adjuster.reason}"
    for warning in report.warnings:
        yield f"Note: {warning}"
    yield from _cautions(report)
    for recording in report.rejected:
        yield f"Left out: {recording.named}: {recording.reason}"


def _cautions(report: Report) -> Iterator[str]:
    """A line for each caution, whatever number of recordings it is on."""
    on: dict[str, list[str]] = {}
    for recording in report.recordings:
        for text in recording.cautions:
            on.setdefault(text, []).append(recording.named)
    for text, names in on.items():
        yield f"Caution: {', '.join(names)}: {text}"


def _strings_table(report: Report, sign: str, *, narrow: bool = False) -> Table:
    """The strings' figures; the narrow form leaves out the pitches."""
    table = bare_table()
    table.add_column("String")
    pitches = () if narrow else ("Open\nHz", "12th fret\nHz")
    for heading in (*pitches, "Error\ncents", "Drift\ncents"):
        table.add_column(heading, justify="right")
    moves = any(each.saddle_move_mm is not None for each in report.strings)
    table.add_column("Saddle needs\nmm" if moves else "Finding")
    for each in report.strings:
        table.add_row(
            f"{each.string} {each.note}",
            *(() if narrow else (_hz(each.open_hz), _hz(each.fretted_hz))),
            with_interval(each.error_cents, each.error_uncertainty_cents, sign),
            signed(each.sustain_drift_cents),
            _move(each, sign),
        )
    return table


def _blocks(report: Report, sign: str) -> Iterator[RenderableType]:
    for each in report.strings:
        yield line(f"String {each.string} {each.note}", style="bold")
        if each.error_cents is None:
            yield line("  no result")
            continue
        yield line(
            f"  error {with_interval(each.error_cents, each.error_uncertainty_cents, sign)} cents"
        )
        yield line(f"  open {_hz(each.open_hz)} Hz, 12th fret {_hz(each.fretted_hz)} Hz")
        yield line(f"  sustain drift {signed(each.sustain_drift_cents)} cents")
        unit = "" if each.saddle_move_mm is None else "saddle, mm: "
        yield line(f"  {unit}{_move(each, sign)}")


def _move(each: StringResult, sign: str) -> str:
    if each.error_cents is None:
        return "no result"
    if each.saddle_move_mm is None:
        error = signed(each.error_cents)
        word = {"+": "sharp", "-": "flat"}.get(error[0], "in tune")
        return f"fretted note is {word}"
    size = f"{abs(each.saddle_move_mm):.2f}"
    where = "" if float(size) == 0 else f" {way(each.saddle_move_mm)}"
    return f"{size} {sign} {each.saddle_move_uncertainty_mm:.2f}{where}"


def _hz(value: float | None) -> str:
    return "-" if value is None else f"{value:.3f}"
