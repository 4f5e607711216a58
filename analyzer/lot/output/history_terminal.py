"""The histories of a store as text for a terminal, of any length."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rich.console import Console, ConsoleOptions, RenderableType, RenderResult

from analyzer.lot.histories import Analyzed, History, InstrumentHistory, Period, verdicts
from analyzer.lot.output.long_table import LongTable
from analyzer.lot.output.words import counted
from analyzer.lot.sessions.clock import in_utc
from analyzer.lot.store import Entry
from analyzer.report.comparison import StringComparison
from analyzer.report.layout import line, sign_for, signed, with_interval
from analyzer.report.model import StringResult

_TO_THE_MINUTE = len("2031-05-02T10:00")
_NOTHING = "-"
_UNJUDGED = "not judged"


class TerminalHistory:
    """A rich renderable of an instrument's history, or of a period."""

    def __init__(self, history: History) -> None:
        self._history = history

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        found = self._history
        if isinstance(found, Period):
            yield from _listed(found.entries, options, with_serial=True)
        else:
            yield line(f"{found.serial}: {found.newest.instrument}", style="bold")
            yield from _listed(found.entries, options, with_serial=False)
            yield from _errors(found.analyses, options)
            yield from _notes(found, sign_for(options))
        yield line(last_line(found), style="bold")


def last_line(history: History) -> str:
    """How many analyses there are, and what was decided of them."""
    entries = history.entries
    since = f" {history.since.in_words()}" if history.since is not None else ""
    of = f" of {history.newest.serial}" if isinstance(history, InstrumentHistory) else ""
    if not entries:
        return f"No analysis{of}{since}."
    counts = [
        f"{count:,} {_UNJUDGED if verdict is None else verdict}"
        for verdict, count in verdicts(entries).items()
        if count
    ]
    words = f"{_analyses(len(entries))}{of}{since}: {', '.join(counts)}."
    more = _left_off(history)
    return f"{words} {more}" if more else words


def _left_off(history: History) -> str:
    """Of an instrument, those before the moment are left off as well."""
    more = history.known - len(history.entries)
    if more <= 0:
        return ""
    if isinstance(history, InstrumentHistory):
        return f"{counted(more, 'other')} not shown."
    return f"{counted(more, 'later one')} not shown."


def _analyses(count: int) -> str:
    return f"{count:,} {'analysis' if count == 1 else 'analyses'}"


def _listed(
    entries: Sequence[Entry], options: ConsoleOptions, *, with_serial: bool
) -> Iterator[RenderableType]:
    """A row an analysis, without the columns in which there is nothing."""
    if not entries:
        return
    columns = _columns(entries, with_serial=with_serial)
    table = LongTable(list(columns), list(zip(*columns.values(), strict=True)))
    if table.width <= options.max_width:
        yield table
        return
    for number, entry in enumerate(entries, 1):
        yield line(f"{entry.serial if with_serial else number}: {_in_words(entry)}")


def _columns(entries: Sequence[Entry], *, with_serial: bool) -> dict[str, list[str]]:
    repeated = any(each.repeat != 1 for each in entries)
    columns: dict[str, list[str]] = {
        "#": [] if with_serial else [str(number) for number in range(1, len(entries) + 1)],
        "Serial": [each.serial for each in entries] if with_serial else [],
        "Recorded": [_recorded(each) for each in entries],
        "Analyzed (UTC)": [_analyzed(each) for each in entries],
        "Station": [each.station for each in entries],
        "Operator": [each.operator for each in entries],
        "Repeat": [str(each.repeat) for each in entries] if repeated else [],
        "Verdict": [_verdict(each) for each in entries],
    }
    return {
        heading: [cell or _NOTHING for cell in column]
        for heading, column in columns.items()
        if any(column)
    }


def _in_words(entry: Entry) -> str:
    parts = [
        f"recorded {_recorded(entry) or _NOTHING}",
        f"analyzed {_analyzed(entry) or _NOTHING} UTC",
        entry.station,
        entry.operator,
        f"repeat {entry.repeat}" if entry.repeat != 1 else "",
        _verdict(entry),
    ]
    return ", ".join(each for each in parts if each)


def _verdict(entry: Entry) -> str:
    """How it was decided last, and by which rule where that asks for no proof."""
    shared = entry.verdict is not None and entry.rule == "shared risk"
    return f"{entry.verdict}, {entry.rule}" if shared else entry.verdict or ""


def _recorded(entry: Entry) -> str:
    """As it stood at the station."""
    return (entry.recorded_at or "")[:_TO_THE_MINUTE].replace("T", " ")


def _analyzed(entry: Entry) -> str:
    return (in_utc(entry.analyzed_s) or "")[:_TO_THE_MINUTE].replace("T", " ")


def _errors(analyses: Sequence[Analyzed], options: ConsoleOptions) -> Iterator[RenderableType]:
    """Each string's error, a column a string where that fits."""
    if not analyses:
        return
    sign = sign_for(options)
    yield line(f"Error in cents, with the half-width of its 95 % interval ({sign}):")
    notes = {each.string: each.note for found in analyses for each in found.strings}
    strings = sorted(notes, reverse=True)
    headings = ["#", *(f"{string} {notes[string]}" for string in strings)]
    right = range(1, len(headings))
    for spaced, gap in ((True, 2), (False, 1)):
        rows = [
            [str(number), *_cells(found, strings, sign, spaced=spaced)]
            for number, found in enumerate(analyses, 1)
        ]
        table = LongTable(headings, rows, right, gap)
        if table.width <= options.max_width:
            yield table
            return
    yield from map(line, _blocks(analyses, sign))


def _cells(found: Analyzed, strings: Sequence[int], sign: str, *, spaced: bool) -> Iterator[str]:
    by_string = {each.string: each for each in found.strings}
    for string in strings:
        cell = _error(by_string[string], sign) if string in by_string else _NOTHING
        yield cell if spaced else cell.replace(" ", "")


def _blocks(analyses: Sequence[Analyzed], sign: str) -> Iterator[str]:
    for number, found in enumerate(analyses, 1):
        strings = [f"{each.string} {each.note} {_error(each, sign)}" for each in found.strings]
        yield f"{number}: {'; '.join(strings)}"


def _error(each: StringResult, sign: str) -> str:
    return with_interval(each.error_cents, each.error_uncertainty_cents, sign)


def _notes(history: InstrumentHistory, sign: str) -> Iterator[RenderableType]:
    """What changed, and what is to be borne in mind, by analysis."""
    for number, found in enumerate(history.analyses, 1):
        if found.changes:
            yield line(f"{number}: {_changes(found.changes, sign)}")
        for warning in found.warnings:
            yield line(f"{number}: {warning}")


def _changes(changes: Sequence[StringComparison], sign: str) -> str:
    """Since the analysis before, where that is sure."""
    sure = [
        f"string {each.string} {each.verdict} ({signed(each.change_cents)} {sign} "
        f"{each.change_uncertainty_cents:.1f})"
        for each in changes
        if each.verdict not in (None, "no sure change")
    ]
    return f"since the one before, {', '.join(sure) if sure else 'no sure change'}."
