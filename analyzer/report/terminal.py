"""The report as text for a terminal: tables where they fit, a block for each string where not."""

from __future__ import annotations

from collections.abc import Iterator

from rich import box
from rich.console import Console, ConsoleOptions, RenderableType, RenderResult
from rich.table import Table
from rich.text import Text

from analyzer.report.model import Report, SaddleResult, StringResult

WIDE_COLUMNS = 78  # the table of strings needs this much
CAUTION = (
    "Before a screw is turned: slacken the string, guard the finish, keep eyes clear of strings "
    "under tension. Small steps: turn, retune, record again. If a screw binds, or a part is loose "
    "or cracked, stop and ask a qualified repairer."
)


class TerminalReport:
    """A rich renderable of a report."""

    def __init__(self, report: Report) -> None:
        self._report = report

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        report = self._report
        yield Text(f"{report.instrument}  ({' '.join(report.tuning)})", style="bold")
        yield from _strings(report, options.max_width)
        yield from _saddles(report, options.max_width)
        for saddle in report.saddles:
            if saddle.reason is not None and saddle.move_mm is not None:
                yield Text(f"Note: saddle of {_saddle_name(saddle)}: {saddle.reason}")
        for warning in report.warnings:
            yield Text(f"Note: {warning}")
        for each in report.rejected:
            yield Text(f"Left out: {each.file}: {each.reason}")
        if any(saddle.move_mm for saddle in report.saddles):
            yield Text(CAUTION, style="italic")
        yield Text(report.verdict(), style="bold")


def _strings(report: Report, width: int) -> Iterator[RenderableType]:
    if width < WIDE_COLUMNS:
        for each in report.strings:
            yield from _block(each)
        return
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    table.add_column("String")
    for heading in ("Open\nHz", "12th fret\nHz", "Error\ncents", "Drift\ncents"):
        table.add_column(heading, justify="right")
    moves = any(each.saddle_move_mm is not None for each in report.strings)
    table.add_column("Saddle needs\nmm" if moves else "Finding")
    for each in report.strings:
        table.add_row(*_row(each))
    yield table


def _row(each: StringResult) -> tuple[str, ...]:
    name = f"{each.string} {each.note}"
    if each.error_cents is None:
        return name, _hz(each.open_hz), _hz(each.fretted_hz), "-", "-", each.reason or "-"
    return (
        name,
        _hz(each.open_hz),
        _hz(each.fretted_hz),
        f"{each.error_cents:+.1f} ± {each.error_uncertainty_cents:.1f}",
        _signed(each.sustain_drift_cents),
        _move(each),
    )


def _block(each: StringResult) -> Iterator[RenderableType]:
    yield Text(f"String {each.string} {each.note}", style="bold")
    if each.error_cents is None:
        yield Text(f"  no result: {each.reason}")
        return
    yield Text(f"  error {each.error_cents:+.1f} ± {each.error_uncertainty_cents:.1f} cents")
    yield Text(f"  open {_hz(each.open_hz)} Hz, 12th fret {_hz(each.fretted_hz)} Hz")
    yield Text(f"  sustain drift {_signed(each.sustain_drift_cents)} cents")
    unit = "" if each.saddle_move_mm is None else "saddle, mm: "
    yield Text(f"  {unit}{_move(each)}")


def _saddles(report: Report, width: int) -> Iterator[RenderableType]:
    if width < WIDE_COLUMNS:
        for saddle in report.saddles:
            *advice, after = _advice(saddle)
            words = ", ".join([*advice, f"error then {after}" if advice else after])
            yield Text(f"{_saddle_name(saddle)}: {words}")
        return
    if not report.saddles:
        return
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for heading in ("Saddle of", "Screw, facing its head", "Saddle", "Error then\ncents"):
        table.add_column(heading)
    for saddle in report.saddles:
        cells = _advice(saddle)
        table.add_row(_saddle_name(saddle), *(("-",) * (3 - len(cells))), *cells)
    yield table


def _saddle_name(saddle: SaddleResult) -> str:
    many = "s" if len(saddle.strings) > 1 else ""
    return f"string{many} {' and '.join(map(str, saddle.strings))}"


def _advice(saddle: SaddleResult) -> list[str]:
    """Screw (where it is known), saddle, error afterwards."""
    if saddle.move_mm is None or saddle.residual_cents is None:
        return [f"no advice: {saddle.reason}"]
    after = ", ".join(f"{cents:+.1f}" for cents in saddle.residual_cents.values())
    if saddle.move_mm == 0:
        return ["leave it", after]
    words = [f"{abs(saddle.move_mm):.2f} mm {_way(saddle.move_mm)}", after]
    if saddle.turns is not None:
        words.insert(
            0, f"{saddle.turns:g} turn{'' if saddle.turns <= 1 else 's'} {saddle.direction}"
        )
    return words


def _move(each: StringResult) -> str:
    if each.saddle_move_mm is None:
        return f"fretted note is {'sharp' if (each.error_cents or 0) > 0 else 'flat'}"
    size = f"{abs(each.saddle_move_mm):.2f} ± {each.saddle_move_uncertainty_mm:.2f}"
    return f"{size} {_way(each.saddle_move_mm)}"


def _way(move_mm: float) -> str:
    return "away from nut" if move_mm > 0 else "toward nut"


def _hz(value: float | None) -> str:
    return "-" if value is None else f"{value:.3f}"


def _signed(value: float | None) -> str:
    return "-" if value is None else f"{value:+.1f}"
