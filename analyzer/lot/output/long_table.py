"""A table of any length, each row one line, for a terminal and for a pipe.

Rich's own looks at every cell many times: ten thousand rows take it most of a minute.
"""

from __future__ import annotations

from collections.abc import Sequence

from rich.cells import cell_len, set_cell_size
from rich.console import Console, ConsoleOptions, RenderResult
from rich.segment import Segment
from rich.style import Style

from analyzer.errors import printable

_LONGEST_CELL = 60  # characters; a choice
_GAP = 2


class LongTable:
    """A rich renderable; the text of its cells may be a stranger's.

    ``right``: which columns stand to the right. ``gap``: between columns, in characters.
    """

    def __init__(
        self,
        headings: Sequence[str],
        rows: Sequence[Sequence[str]],
        right: Sequence[int] = (),
        gap: int = _GAP,
    ) -> None:
        self._headings, *self._rows = [
            [printable(cell, _LONGEST_CELL) for cell in row] for row in (headings, *rows)
        ]
        self._right, self._gap = frozenset(right), gap
        columns = zip(self._headings, *self._rows, strict=True)
        self._widths = [max(map(cell_len, column)) for column in columns]

    @property
    def width(self) -> int:
        """In columns of the terminal."""
        return sum(self._widths) + self._gap * (len(self._widths) - 1)

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        yield Segment(f"{self._line(self._headings)}\n", Style(bold=True))
        yield Segment(f"{('-' if options.ascii_only else '─') * self.width}\n")
        for row in self._rows:
            yield Segment(f"{self._line(row)}\n")

    def _line(self, cells: Sequence[str]) -> str:
        placed = (
            " " * (width - cell_len(cell)) + cell
            if number in self._right
            else set_cell_size(cell, width)
            for number, (cell, width) in enumerate(zip(cells, self._widths, strict=True))
        )
        return (" " * self._gap).join(placed).rstrip()
