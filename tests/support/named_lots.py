"""Folders of lots with recordings that nobody reads: what is looked for in them is their names."""

from __future__ import annotations

import os
from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path

NOW_S = datetime(2031, 6, 1, tzinfo=UTC).timestamp()
AT_S = datetime(2031, 5, 17, 12, 30, tzinfo=UTC).timestamp()  # of every file, unless it is given


def put(folder: Path, files: Iterable[str], at_s: float = AT_S) -> Path:
    """Write files of one byte, all changed at the same time."""
    for each in files:
        path = folder / each
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(b"x")
        os.utime(path, (at_s, at_s))
    return folder


def put_table(folder: Path, text: str, name: str = "lot.csv") -> Path:
    """Write a table as UTF-8."""
    folder.mkdir(exist_ok=True)
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path
