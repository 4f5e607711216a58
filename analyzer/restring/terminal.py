"""A restringing plan as text for a terminal."""

from __future__ import annotations

from collections.abc import Iterator

from rich.console import Console, ConsoleOptions, RenderResult
from rich.table import Table

from analyzer.report.layout import bare_table, line, sign_for, with_interval
from analyzer.report.model import SaddleResult
from analyzer.report.words import turned, way
from analyzer.restring.plan import RestringPlan
from analyzer.restring.predict import StringChange

CAUTION = (
    "Change one string at a time, so that the neck keeps its tension. Slacken a string before its "
    "saddle is moved, keep eyes clear of strings under tension, cover the finish. If a screw binds "
    "or a part is loose, cracked or lifting, stop and ask a qualified repairer."
)
_CHANGE, _ERROR_THEN = "Change\ncents", "Error then\ncents"
_SETBACK, _MOVE = "Best setback\nmm", "Saddle, mm\n+ from nut"


class TerminalPlan:
    """A rich renderable of a plan."""

    def __init__(self, plan: RestringPlan) -> None:
        self._plan = plan

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        plan = self._plan
        sign = sign_for(options)
        yield line(f"{plan.instrument}: what the next strings change", style="bold")
        yield _table(plan, sign)
        if plan.report is not None:
            yield line(f"Starting from the errors in {plan.report}; nothing moved since.")
        for each in (*_saddle_lines(plan), *_notes(plan), plan.limits.replace("±", sign)):
            yield line(each)
        yield line(CAUTION, style="italic")


def _table(plan: RestringPlan, sign: str) -> Table:
    table = bare_table()
    table.add_column("String")
    cells = [_cells(each, sign, alone=not plan.saddles) for each in plan.strings]
    with_errors = plan.report is not None
    for heading in cells[0]:
        if heading != _ERROR_THEN or with_errors:
            table.add_column(heading)
    for each, row in zip(plan.strings, cells, strict=True):
        shown = [cell for heading, cell in row.items() if heading != _ERROR_THEN or with_errors]
        table.add_row(f"{each.string} {each.note}", *shown)
    return table


def _cells(each: StringChange, sign: str, *, alone: bool) -> dict[str, str]:
    """What stands under each heading; ``alone`` where no bridge says what hangs together."""
    if each.error_change_cents is None:
        return {_CHANGE: "-", _ERROR_THEN: "-", _SETBACK: "-", _MOVE: "no prediction"}
    move_mm, half_mm = each.saddle_move_mm, each.saddle_move_uncertainty_mm
    if move_mm is None or half_mm is None:
        move = "-"
    elif alone and abs(move_mm) <= half_mm:
        move = "leave it"
    else:
        move = f"{move_mm:+.2f} {sign} {half_mm:.2f}"
    return {
        _CHANGE: with_interval(each.error_change_cents, each.error_change_uncertainty_cents, sign),
        _ERROR_THEN: with_interval(each.error_next_cents, each.error_next_uncertainty_cents, sign),
        _SETBACK: f"{each.setback_now_mm:.1f} -> {each.setback_next_mm:.1f}",
        _MOVE: move,
    }


def _saddle_lines(plan: RestringPlan) -> Iterator[str]:
    for preset in plan.saddles:
        name = " and ".join(map(str, preset.strings))
        yield f"Saddle of {name}: {_advice(preset, measured=plan.report is not None)}"


def _advice(preset: SaddleResult, *, measured: bool) -> str:
    if preset.move_mm is None or preset.residual_cents is None:
        return f"no advice: {preset.reason}"
    left = ", ".join(f"{cents:+.1f}" for cents in preset.residual_cents.values())
    words = f"{abs(preset.move_mm):.2f} mm {way(preset.move_mm)}"
    if preset.turns:
        words = f"{turned(preset.turns, preset.direction)}, {words}"
    if preset.move_mm == 0:
        words = "leave it"
    short = "" if preset.reason is None else f". {preset.reason}"
    against = "" if measured else " against now"
    return f"{words}, then {left} cents{against}{short}"


def _notes(plan: RestringPlan) -> Iterator[str]:
    for each in plan.strings:
        if each.reason is not None:
            yield f"Note: string {each.string}: {each.reason}"
    for warning in plan.warnings:
        yield f"Note: {warning}"
