"""Where output goes: data to standard output or a file, progress to standard error."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from types import TracebackType
from typing import Self

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, TextColumn
from rich.progress import Progress as Bar

from analyzer.report.files import STANDARD_OUTPUT, write_text
from analyzer.report.model import Report
from analyzer.report.terminal import TerminalReport


class Progress:
    """A bar on standard error, which shows only where somebody watches."""

    def __init__(self, *, quiet: bool) -> None:
        console = Console(stderr=True)
        self._bar = Bar(
            TextColumn("measuring"),
            BarColumn(),
            MofNCompleteColumn(),
            TextColumn("recordings"),
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


def deliver(path: Path, text: str) -> bool:
    """Write a text to a file, or to standard output for ``-``; True where it was printed."""
    if str(path) == STANDARD_OUTPUT:
        sys.stdout.write(text)
        return True
    write_text(path, text)
    return False


def show_report(report: Report, piped_columns: int) -> None:
    """Print the tables; a pipe gets plain text, wide enough that nothing wraps early."""
    console = Console(highlight=False)
    if not console.is_terminal and not os.environ.get("COLUMNS"):
        console = Console(highlight=False, width=piped_columns)
    console.print(TerminalReport(report))
