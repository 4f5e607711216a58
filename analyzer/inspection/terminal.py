"""An inspection as text for a terminal or a pipe; drawings of characters where they help."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from rich.console import Console, ConsoleOptions, RenderableType, RenderResult
from rich.table import Table

from analyzer.errors import printable
from analyzer.inspection.content import (
    Fact,
    check_text,
    figure_facts,
    file_facts,
    head_facts,
    in_ascii,
    limit_text,
    partial_rows,
    place_facts,
    pluck_text,
    settled_text,
    verdict_of,
)
from analyzer.inspection.model import Inspection, PluckLine, PluckList
from analyzer.inspection.terminal_drawings import (
    COURSE_KEY,
    course_lines,
    deviation_column,
    level_key,
    level_lines,
)
from analyzer.report.layout import LONGEST_LINE, bare_table, fits, line

_PARTIAL_HEADINGS = (
    "Par-\ntial\n",
    "\n\nHz",
    "\nLevel\ndB",
    "Over\nnoise\ndB",
    "From the\nstring law\ncents",
)
_WORDS = {"good": "good", "caution": "CAUTION", "reject": "REJECT"}


class TerminalInspection:
    """A rich renderable of an inspection."""

    def __init__(self, inspection: Inspection) -> None:
        self._found = inspection

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        found, plain = self._found, options.ascii_only
        yield line(found.title, style="bold")
        yield _line(verdict_of(found), plain=plain, style="bold")
        for each in found.cautions:
            added = f" It adds {each.added_cents:.2f} cents." if each.added_cents else ""
            yield _line(f"Caution: it {each.text}{added}", plain=plain)
        yield line("")
        facts = (*head_facts(found), *file_facts(found.sound), *place_facts(found))
        yield _facts(facts, plain=plain)
        yield from _drawing(level_key(found), level_lines(found, options.max_width, plain=plain))
        if found.pitch is not None:
            yield _facts(figure_facts(found), plain=plain)
        yield from _drawing(COURSE_KEY, course_lines(found, options.max_width, plain=plain))
        yield from _partials(found, console, options)
        yield from _lines(found)
        if found.checks:
            yield _checks(found, plain=plain)
        for warning in found.warnings:
            yield _line(f"Note: {warning}", plain=plain)
        if found.pitch is not None:
            yield line(
                "Judged by itself; analyze also holds the recordings of a folder against each "
                "other, which may add cautions.",
                style="italic",
            )


class TerminalPlucks:
    """A rich renderable of the plucks of a file of many."""

    def __init__(self, plucks: PluckList) -> None:
        self._found = plucks

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        found, plain = self._found, options.ascii_only
        yield line(found.title, style="bold")
        yield _facts(file_facts(found.sound), plain=plain)
        yield from _drawing(level_key(found), level_lines(found, options.max_width, plain=plain))
        if found.plucks:
            table = _plucks(found.plucks, plain=plain)
            short = fits(table, console, options)
            yield from [table] if short else _pluck_blocks(found.plucks, plain=plain)
        for each in found.plucks:
            for text in (*each.cautions, *([each.reason] if each.reason else [])):
                yield _line(f"{each.number}: {text}", plain=plain)
        if found.reason:
            yield _line(f"Rejected: it {found.reason}", plain=plain, style="bold")
        for warning in found.warnings:
            yield _line(f"Note: {warning}", plain=plain)
        if found.plucks:
            yield line("--pluck with one of these numbers shows all about that pluck.", "italic")


def _line(text: str, *, plain: bool, style: str = "") -> RenderableType:
    return line(in_ascii(text) if plain else text, style)


def _drawing(key: str, rows: Iterable[str]) -> Iterator[RenderableType]:
    drawn = [line(row) for row in rows]
    for text in drawn:
        text.no_wrap = True
    if drawn:
        yield from (line(""), line(key), *drawn, line(""))


def _facts(facts: Iterable[Fact], *, plain: bool) -> Table:
    table = Table.grid(padding=(0, 2, 0, 0))
    table.add_column(no_wrap=True)
    table.add_column(overflow="fold")
    for each in facts:
        table.add_row(each.name, _line(each.text, plain=plain))
    return table


def _partials(
    found: Inspection, console: Console, options: ConsoleOptions
) -> Iterator[RenderableType]:
    if not found.tracks:
        return
    plain = options.ascii_only
    drawn = deviation_column(found.tracks, plain=plain)
    for with_drawing in (True, False):
        table = bare_table()
        for heading in _PARTIAL_HEADINGS:
            table.add_column(heading, justify="right")
        if with_drawing:
            table.add_column(f"\n{drawn.heading}\n{drawn.scale}")
        table.add_column("\nWeight\n%", justify="right")
        for each, mark in zip(partial_rows(found.tracks), drawn.rows, strict=True):
            deviation = in_ascii(each.deviation) if plain else each.deviation
            level = in_ascii(each.level_db) if plain else each.level_db
            cells = [each.number, each.frequency_hz, level, each.over_noise_db, deviation]
            table.add_row(*cells, *([mark] if with_drawing else []), each.weight)
        if fits(table, console, options):
            break
    yield table


def _lines(found: Inspection) -> Iterator[RenderableType]:
    """What there was where nothing could be measured."""
    if not found.lines:
        return
    yield line("Lines of the spectrum that might be partials:")
    table = bare_table()
    for heading in ("Partial", "Hz", "Over noise, dB"):
        table.add_column(heading, justify="right")
    for each in found.lines:
        table.add_row(str(each.number), f"{each.frequency_hz:.2f}", f"{each.over_noise_db:.0f}")
    yield table


def _checks(found: Inspection, *, plain: bool) -> Table:
    table = bare_table()
    table.add_column("Checked")
    for heading in ("Found", "Caution", "Rejected"):
        table.add_column(heading, justify="right")
    table.add_column("")
    for each in found.checks:
        cells = (check_text(each), limit_text(each, each.caution), limit_text(each, each.reject))
        shown = [in_ascii(cell) if plain else cell for cell in cells]
        style = "" if each.verdict == "good" else "bold"
        table.add_row(each.name, *shown, _WORDS[each.verdict], style=style)
    return table


def _plucks(plucks: Iterable[PluckLine], *, plain: bool) -> Table:
    table = bare_table()
    for heading in ("", "From\ns", "To\ns"):
        table.add_column(heading, justify="right")
    table.add_column("Taken for")
    table.add_column("Settled pitch", justify="right")
    table.add_column("Verdict")
    for each in plucks:
        pitch = settled_text(each.settled_hz, each.settled_uncertainty_cents)
        table.add_row(
            str(each.number),
            f"{each.start_s:.2f}",
            f"{each.end_s:.2f}",
            pluck_text(each),
            in_ascii(pitch) if plain else pitch,
            each.status,
        )
    return table


def _pluck_blocks(plucks: Iterable[PluckLine], *, plain: bool) -> Iterator[RenderableType]:
    for each in plucks:
        pitch = settled_text(each.settled_hz, each.settled_uncertainty_cents)
        yield line(f"{each.number}  {each.start_s:.2f} s to {each.end_s:.2f} s: {each.status}")
        yield _line(printable(f"   {pluck_text(each)}, {pitch}", LONGEST_LINE), plain=plain)
