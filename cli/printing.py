"""What a person sees: the report's tables, and how far the work is."""

from __future__ import annotations

import os
from types import TracebackType
from typing import Self

from rich.console import Console, RenderableType
from rich.progress import (
    BarColumn,
    MofNCompleteColumn,
    ProgressColumn,
    Task,
    TextColumn,
    TimeRemainingColumn,
)
from rich.progress import Progress as Bar
from rich.text import Text

from cli.streams import print_text

PIPED_COLUMNS = 120
TEXT_COLUMNS = 80
_BAR_COLUMNS = 16  # what stands beside it then fits into 80


class _Rate(ProgressColumn):
    """How many are done in a second; nothing until that is known."""

    def render(self, task: Task) -> Text:
        return Text("" if task.speed is None else f"{task.speed:.1f} a second")


class Progress:
    """A bar on standard error, which shows only where somebody watches."""

    def __init__(self, *, quiet: bool, of: str = "recordings") -> None:
        console = Console(stderr=True)
        self._bar = Bar(
            TextColumn("measuring"),
            BarColumn(bar_width=_BAR_COLUMNS),
            MofNCompleteColumn(),
            TextColumn(of),
            _Rate(),
            TimeRemainingColumn(),
            console=console,
            transient=True,
            disable=quiet or not console.is_terminal,
        )
        self._task = self._bar.add_task("measuring", total=None)

    def __enter__(self) -> Self:
        self._bar.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        value: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._bar.stop()

    def update(self, done: int, total: int) -> None:
        self._bar.update(self._task, completed=done, total=total)


def show(tables: RenderableType) -> None:
    """Print the tables; a pipe gets plain text, wide enough that nothing wraps early."""
    console = _console(PIPED_COLUMNS)
    with console.capture() as captured:  # printed by rich itself, a closed pipe would end all
        console.print(tables)
    print_text(captured.get())


def text_columns() -> int:
    """How wide running text may be: as the terminal, and no wider than reads well."""
    return min(_console(TEXT_COLUMNS).width, TEXT_COLUMNS)


def _console(piped_columns: int) -> Console:
    console = Console(highlight=False)
    if not console.is_terminal and "COLUMNS" not in os.environ:
        return Console(highlight=False, width=piped_columns)
    return console
