"""A restringing plan as text for a terminal."""

from __future__ import annotations

from collections.abc import Iterator

from rich import box
from rich.console import Console, ConsoleOptions, RenderResult
from rich.table import Table
from rich.text import Text

from analyzer.errors import printable
from analyzer.report.model import SaddleResult
from analyzer.restring.plan import LIMITS, RestringPlan
from analyzer.restring.predict import StringChange

CAUTION = (
    "Change one string at a time, so that the neck keeps its tension. Slacken a string before its "
    "saddle is moved, keep eyes clear of strings under tension, cover the finish. If a screw binds "
    "or a part is loose, cracked or lifting, stop and ask a qualified repairer."
)


class TerminalPlan:
    """A rich renderable of a plan."""

    def __init__(self, plan: RestringPlan) -> None:
        self._plan = plan

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        plan = self._plan
        sign = "+/-" if options.ascii_only else "±"
        title = f"{plan.instrument}: what the next strings change"
        yield Text(printable(title), style="bold")
        yield _table(plan, sign)
        for line in (*_saddle_lines(plan), *_notes(plan)):
            yield Text(printable(line))
        yield Text(LIMITS.replace("±", sign))
        yield Text(CAUTION, style="italic")


def _table(plan: RestringPlan, sign: str) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, collapse_padding=True)
    table.add_column("String")
    for heading in ("12th fret\ncents", "Best setback\nmm", "Saddle, mm\n+ from nut"):
        table.add_column(heading)
    for each in plan.strings:
        table.add_row(f"{each.string} {each.note}", *_cells(each, sign))
    return table


def _cells(each: StringChange, sign: str) -> tuple[str, str, str]:
    if each.error_change_cents is None or each.saddle_move_mm is None:
        return "-", "-", "no prediction"
    return (
        f"{each.error_change_cents:+.1f} {sign} {each.error_change_uncertainty_cents:.1f}",
        f"{each.setback_now_mm:.1f} -> {each.setback_next_mm:.1f}",
        f"{each.saddle_move_mm:+.2f} {sign} {each.saddle_move_uncertainty_mm:.2f}",
    )


def _saddle_lines(plan: RestringPlan) -> Iterator[str]:
    for preset in plan.saddles:
        name = " and ".join(map(str, preset.strings))
        yield f"Saddle of {name}: {_advice(preset)}"


def _advice(preset: SaddleResult) -> str:
    if preset.move_mm is None or preset.residual_cents is None:
        return f"no advice: {preset.reason}"
    left = ", ".join(f"{cents:+.1f}" for cents in preset.residual_cents.values())
    words = f"{abs(preset.move_mm):.2f} mm {_way(preset.move_mm)}"
    if preset.turns:
        plural = "" if preset.turns <= 1 else "s"
        words = f"{preset.turns:g} turn{plural} {preset.direction}, {words}"
    if preset.move_mm == 0:
        words = "leave it"
    short = "" if preset.reason is None else f". {preset.reason}"
    return f"{words}, then {left} cents against now{short}"


def _notes(plan: RestringPlan) -> Iterator[str]:
    for each in plan.strings:
        if each.reason is not None:
            yield f"Note: string {each.string}: {each.reason}"
    for warning in plan.warnings:
        yield f"Note: {warning}"


def _way(move_mm: float) -> str:
    return "away from nut" if move_mm > 0 else "toward nut"
