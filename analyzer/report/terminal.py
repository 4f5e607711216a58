"""The report as text for a terminal: tables where they fit, a block for each string where not."""

from __future__ import annotations

from collections.abc import Iterator

from rich import box
from rich.console import Console, ConsoleOptions, RenderableType, RenderResult
from rich.table import Table
from rich.text import Text

from analyzer.errors import printable
from analyzer.report.cause_lines import frets_and_causes
from analyzer.report.model import Report, SaddleResult, StringResult

CAUTION = (
    "Before a screw is turned: slacken the string, guard the finish, keep eyes clear of strings "
    "under tension. Small steps: turn, retune, record again. If a screw binds, or a part is loose "
    "or cracked, stop and ask a qualified repairer."
)
LONGEST_LINE = 1000  # characters
_ANY_WIDTH = 10_000


class TerminalReport:
    """A rich renderable of a report."""

    def __init__(self, report: Report) -> None:
        self._report = report

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        report = self._report
        sign = "+/-" if options.ascii_only else "±"
        yield _line(f"{report.instrument}  ({' '.join(report.tuning)})", style="bold")
        strings, saddles = _strings_table(report, sign), _saddles_table(report)
        yield from [strings] if _fits(strings, console, options) else _blocks(report, sign)
        if report.saddles:
            yield from [saddles] if _fits(saddles, console, options) else _saddle_lines(report)
        for line in (*frets_and_causes(report, sign), *_notes(report)):
            yield _line(line)
        if any(saddle.move_mm for saddle in report.saddles):
            yield _line(CAUTION, style="italic")
        yield _line(report.verdict(), style="bold")


def _line(text: str, style: str = "") -> Text:
    # Names of files and instruments stand in it, and what they hold must not steer a terminal.
    return Text(printable(text, LONGEST_LINE), style=style)


def _bare_table() -> Table:
    """Narrow enough that both tables of six strings fit into 80 columns."""
    return Table(box=box.SIMPLE_HEAD, pad_edge=False, collapse_padding=True)


def _fits(table: Table, console: Console, options: ConsoleOptions) -> bool:
    """Whether a table can be as wide as its contents, with nothing wrapped."""
    return console.measure(table, options=options.update(width=_ANY_WIDTH)).maximum <= (
        options.max_width
    )


def _notes(report: Report) -> Iterator[str]:
    for each in report.strings:
        if each.error_cents is None:
            yield f"Note: string {each.string}: {each.reason}"
    for saddle in report.saddles:
        if saddle.reason is not None and saddle.move_mm is not None:
            yield f"Note: saddle of {_saddle_name(saddle)}: {saddle.reason}"
    for warning in report.warnings:
        yield f"Note: {warning}"
    for recording in report.rejected:
        yield f"Left out: {recording.file}: {recording.reason}"


def _strings_table(report: Report, sign: str) -> Table:
    table = _bare_table()
    table.add_column("String")
    for heading in ("Open\nHz", "12th fret\nHz", "Error\ncents", "Drift\ncents"):
        table.add_column(heading, justify="right")
    moves = any(each.saddle_move_mm is not None for each in report.strings)
    table.add_column("Saddle needs\nmm" if moves else "Finding")
    for each in report.strings:
        table.add_row(
            f"{each.string} {each.note}",
            _hz(each.open_hz),
            _hz(each.fretted_hz),
            _error(each, sign),
            _signed(each.sustain_drift_cents),
            _move(each, sign),
        )
    return table


def _blocks(report: Report, sign: str) -> Iterator[RenderableType]:
    for each in report.strings:
        yield _line(f"String {each.string} {each.note}", style="bold")
        if each.error_cents is None:
            yield _line("  no result")
            continue
        yield _line(f"  error {_error(each, sign)} cents")
        yield _line(f"  open {_hz(each.open_hz)} Hz, 12th fret {_hz(each.fretted_hz)} Hz")
        yield _line(f"  sustain drift {_signed(each.sustain_drift_cents)} cents")
        unit = "" if each.saddle_move_mm is None else "saddle, mm: "
        yield _line(f"  {unit}{_move(each, sign)}")


def _saddles_table(report: Report) -> Table:
    table = _bare_table()
    for heading in ("Saddle of", "Screw, facing its head", "Saddle", "Error then\ncents"):
        table.add_column(heading)
    for saddle in report.saddles:
        cells = _advice(saddle)
        table.add_row(_saddle_name(saddle), *(("-",) * (3 - len(cells))), *cells)
    return table


def _saddle_lines(report: Report) -> Iterator[RenderableType]:
    for saddle in report.saddles:
        *advice, after = _advice(saddle)
        words = ", ".join([*advice, f"error then {after}" if advice else after])
        yield _line(f"{_saddle_name(saddle)}: {words}")


def _saddle_name(saddle: SaddleResult) -> str:
    *others, last = map(str, saddle.strings)
    return f"strings {', '.join(others)} and {last}" if others else f"string {last}"


def _advice(saddle: SaddleResult) -> list[str]:
    """Screw (where it is known), saddle, error afterwards."""
    if saddle.move_mm is None or saddle.residual_cents is None:
        return [f"no advice: {saddle.reason}"]
    after = ", ".join(_signed(cents) for cents in saddle.residual_cents.values())
    if saddle.move_mm == 0:
        return ["leave it", after]
    words = [f"{abs(saddle.move_mm):.2f} mm {_way(saddle.move_mm)}", after]
    if saddle.turns is not None:
        words.insert(
            0, f"{saddle.turns:g} turn{'' if saddle.turns <= 1 else 's'} {saddle.direction}"
        )
    return words


def _error(each: StringResult, sign: str) -> str:
    if each.error_cents is None:
        return "-"
    return f"{_signed(each.error_cents)} {sign} {each.error_uncertainty_cents:.1f}"


def _move(each: StringResult, sign: str) -> str:
    if each.error_cents is None:
        return "no result"
    if each.saddle_move_mm is None:
        error = _signed(each.error_cents)
        word = {"+": "sharp", "-": "flat"}.get(error[0], "in tune")
        return f"fretted note is {word}"
    size = f"{abs(each.saddle_move_mm):.2f}"
    way = "" if float(size) == 0 else f" {_way(each.saddle_move_mm)}"
    return f"{size} {sign} {each.saddle_move_uncertainty_mm:.2f}{way}"


def _way(move_mm: float) -> str:
    return "away from nut" if move_mm > 0 else "toward nut"


def _hz(value: float | None) -> str:
    return "-" if value is None else f"{value:.3f}"


def _signed(value: float | None) -> str:
    if value is None:
        return "-"
    return "0.0" if round(value, 1) == 0 else f"{value:+.1f}"
