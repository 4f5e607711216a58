"""A comparison of two reports as text for a terminal."""

from __future__ import annotations

from collections.abc import Iterator

from rich.console import Console, ConsoleOptions, RenderableType, RenderResult
from rich.table import Table

from analyzer.report.comparison import Comparison, StringComparison
from analyzer.report.layout import bare_table, fits, line, sign_for, with_interval


class TerminalComparison:
    """A rich renderable of a comparison."""

    def __init__(self, comparison: Comparison) -> None:
        self._comparison = comparison

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        found, sign = self._comparison, sign_for(options)
        yield line(f"{found.instrument}: {found.before}, then {found.after}", style="bold")
        table = _table(found, sign)
        yield from [table] if fits(table, console, options) else _blocks(found, sign)
        yield line(found.in_words(), style="bold")


def _table(found: Comparison, sign: str) -> Table:
    table = bare_table()
    table.add_column("String")
    for heading in ("Before\ncents", "After\ncents", "Change\ncents"):
        table.add_column(heading, justify="right")
    table.add_column("Finding")
    for each in found.strings:
        table.add_row(f"{each.string} {each.note}", *_figures(each, sign), _finding(each))
    return table


def _blocks(found: Comparison, sign: str) -> Iterator[RenderableType]:
    for each in found.strings:
        before, after, change = _figures(each, sign)
        yield line(f"String {each.string} {each.note}: {_finding(each)}", style="bold")
        yield line(f"  {before}, then {after} cents")
        yield line(f"  change {change}")


def _figures(each: StringComparison, sign: str) -> tuple[str, str, str]:
    return (
        with_interval(each.before_cents, each.before_uncertainty_cents, sign),
        with_interval(each.after_cents, each.after_uncertainty_cents, sign),
        with_interval(each.change_cents, each.change_uncertainty_cents, sign),
    )


def _finding(each: StringComparison) -> str:
    return each.verdict or each.reason or ""
