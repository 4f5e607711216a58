"""A restringing plan as text for a terminal."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from rich.console import Console, ConsoleOptions, RenderableType, RenderResult
from rich.table import Table

from analyzer.instrument.model import strings_named
from analyzer.report.layout import bare_table, fits, line, sign_for, signed, with_interval
from analyzer.report.model import SaddleResult
from analyzer.report.words import turned, way
from analyzer.restring.plan import RestringPlan
from analyzer.restring.predict import StringChange

CAUTION = (
    "Change one string at a time, so that the neck keeps its tension. Slacken a string before its "
    "saddle is moved, keep eyes clear of strings under tension, cover the finish. If a screw binds "
    "or a part is loose, cracked or lifting, stop and ask a qualified repairer."
)
_CHANGE, _ERROR_NEXT = "Change\ncents", "Error next\ncents"
_SETBACK, _MOVE = "Best setback\nmm", "Saddle, mm\n+ from nut"


class TerminalPlan:
    """A rich renderable of a plan."""

    def __init__(self, plan: RestringPlan) -> None:
        self._plan = plan

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        plan = self._plan
        sign = sign_for(options)
        yield line(f"{plan.instrument}: what the next strings change", style="bold")
        table = _table(plan, sign)
        yield from [table] if fits(table, console, options) else _blocks(plan, sign)
        if plan.report is not None:
            yield line(f"Starting from the errors in {plan.report}; nothing moved since.")
        for each in (*_saddle_lines(plan), *_notes(plan), plan.limits.replace("±", sign)):
            yield line(each)
        yield line(CAUTION, style="italic")


def _rows(plan: RestringPlan, sign: str) -> Iterator[tuple[str, Mapping[str, str]]]:
    """Each string's name, and what is said under each heading; the error only if one was given."""
    for each in plan.strings:
        cells = _cells(each, sign, alone=not plan.saddles)
        if plan.report is None:
            cells.pop(_ERROR_NEXT)
        yield f"{each.string} {each.note}", cells


def _table(plan: RestringPlan, sign: str) -> Table:
    table = bare_table()
    table.add_column("String")
    for name, cells in _rows(plan, sign):
        if not table.rows:
            for heading in cells:
                table.add_column(heading)
        table.add_row(name, *cells.values())
    return table


def _blocks(plan: RestringPlan, sign: str) -> Iterator[RenderableType]:
    for name, cells in _rows(plan, sign):
        yield line(f"String {name}", style="bold")
        for heading, cell in cells.items():
            words = ", ".join(heading.split("\n"))
            yield line(f"  {words[0].lower()}{words[1:]}: {cell}")


def _cells(each: StringChange, sign: str, *, alone: bool) -> dict[str, str]:
    """What stands under each heading; ``alone`` where no bridge says what hangs together."""
    if each.error_change_cents is None:
        return {_CHANGE: "-", _ERROR_NEXT: "-", _SETBACK: "-", _MOVE: "no prediction"}
    move_mm, half_mm = each.saddle_move_mm, each.saddle_move_uncertainty_mm
    if move_mm is None or half_mm is None:
        move = "-"
    elif alone and abs(move_mm) <= half_mm:
        move = "leave it"
    else:
        shown = f"{move_mm:+.2f}"
        move = f"{shown if float(shown) else shown[1:]} {sign} {half_mm:.2f}"
    return {
        _CHANGE: with_interval(each.error_change_cents, each.error_change_uncertainty_cents, sign),
        _ERROR_NEXT: with_interval(each.error_next_cents, each.error_next_uncertainty_cents, sign),
        _SETBACK: f"{each.setback_now_mm:.1f} -> {each.setback_next_mm:.1f}",
        _MOVE: move,
    }


def _saddle_lines(plan: RestringPlan) -> Iterator[str]:
    for preset in plan.saddles:
        advice = _advice(preset, measured=plan.report is not None)
        yield f"Saddle of {strings_named(preset.strings)}: {advice}"


def _advice(preset: SaddleResult, *, measured: bool) -> str:
    if preset.move_mm is None or preset.residual_cents is None:
        return f"no advice: {preset.reason}"
    left = ", ".join(map(signed, preset.residual_cents.values()))
    words = f"{abs(preset.move_mm):.2f} mm {way(preset.move_mm)}"
    if preset.turns:
        words = f"{turned(preset.turns, preset.direction)}, {words}"
    if preset.move_mm == 0:
        words = "leave it"
    short = "" if preset.reason is None else f". {preset.reason}"
    against = "" if measured else " against now"
    return f"{words}, residual {left} cents{against}{short}"


def _notes(plan: RestringPlan) -> Iterator[str]:
    for each in plan.strings:
        if each.reason is not None:
            yield f"Note: string {each.string}: {each.reason}"
    for warning in plan.warnings:
        yield f"Note: {warning}"
