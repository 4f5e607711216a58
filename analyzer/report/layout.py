"""How text and tables look in a terminal, in a pipe, and where it is narrow."""

from __future__ import annotations

from rich import box
from rich.console import Console, ConsoleOptions
from rich.table import Table
from rich.text import Text

from analyzer.errors import printable

LONGEST_LINE = 1000  # characters
_ANY_WIDTH = 10_000


def line(text: str, style: str = "") -> Text:
    """One paragraph. Names of files and instruments stand in it, and must not steer a terminal."""
    return Text(printable(text, LONGEST_LINE), style=style)


def bare_table() -> Table:
    """Narrow enough that both tables of six strings fit into 80 columns."""
    return Table(box=box.SIMPLE_HEAD, pad_edge=False, collapse_padding=True)


def fits(table: Table, console: Console, options: ConsoleOptions) -> bool:
    """Whether a table can be as wide as its contents, with nothing wrapped."""
    return console.measure(table, options=options.update(width=_ANY_WIDTH)).maximum <= (
        options.max_width
    )


def signed(value: float | None) -> str:
    """Cents with a sign and one decimal; what rounds to nothing has no sign."""
    if value is None:
        return "-"
    return "0.0" if round(value, 1) == 0 else f"{value:+.1f}"


def with_interval(value: float | None, half_width: float | None, sign: str) -> str:
    """Cents with the half-width of their interval."""
    if value is None or half_width is None:
        return "-"
    return f"{signed(value)} {sign} {half_width:.1f}"


def sign_for(options: ConsoleOptions) -> str:
    """Plus or minus, as the terminal can show it."""
    return "+/-" if options.ascii_only else "±"
