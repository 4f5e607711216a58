"""What can be wrong with a store's file, in one line each."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from pathlib import Path

from analyzer.errors import UnusableInputError

_NO_DATABASE = "is no database of this program"
_WRITERS = "pluckcheck lot --out or analyze --store"
_OTHER_PLACE = "give another place for the results"
_FREE = "Free some space and run again: what was finished is kept"
_RESTORE = "Put a copy of it in its place, or move it away and analyze the recordings again"
_RIGHTS = f"Make it writable, or {_OTHER_PLACE}"


def of_error(path: Path, error: sqlite3.Error, busy_timeout_s: float) -> UnusableInputError:
    """An error of SQLite; its code says more than its class."""
    code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_ERROR) & 0xFF
    found, remedy = {
        sqlite3.SQLITE_NOTADB: (_NO_DATABASE, _move_away()),
        sqlite3.SQLITE_CORRUPT: ("is damaged", _RESTORE),
        sqlite3.SQLITE_BUSY: _locked(busy_timeout_s),
        sqlite3.SQLITE_LOCKED: _locked(busy_timeout_s),
        sqlite3.SQLITE_FULL: ("cannot grow: the disk is full", _FREE),
        sqlite3.SQLITE_READONLY: ("cannot be written", _RIGHTS),
        sqlite3.SQLITE_PERM: ("cannot be opened: no permission", _RIGHTS),
        sqlite3.SQLITE_CANTOPEN: ("cannot be opened", _RIGHTS),
        sqlite3.SQLITE_IOERR: (
            f"could not be read or written ({error})",
            "Look at the disk and its free space, then run again: what was finished is kept",
        ),
    }.get(code, (f"is not as this program made it ({error})", _RESTORE))
    return UnusableInputError(str(path), found, remedy)


def _move_away() -> str:
    return f"Move it away, or {_OTHER_PLACE}"


def _locked(busy_timeout_s: float) -> tuple[str, str]:
    return (
        f"has been locked by another process for {busy_timeout_s:g} s",
        "Wait until that has ended, or end it, and run again",
    )


def old_library(least: tuple[int, int, int]) -> UnusableInputError:
    """Python was built with an SQLite that has not all that is needed."""
    return UnusableInputError(
        "SQLite",
        f"is version {sqlite3.sqlite_version}",
        f"Use a Python with SQLite {'.'.join(map(str, least))} or later",
    )


def no_file(path: Path) -> UnusableInputError:
    return UnusableInputError(
        str(path), "does not exist", f"Give the folder or file that {_WRITERS} wrote to"
    )


def no_place(path: Path, error: OSError) -> UnusableInputError:
    return UnusableInputError(
        str(path),
        f"cannot be opened ({error.strerror})",
        "Give a folder that exists or can be made, and can be written to",
    )


def no_database(path: Path) -> UnusableInputError:
    return UnusableInputError(str(path), _NO_DATABASE, _move_away())


def no_regular_file(path: Path) -> UnusableInputError:
    return UnusableInputError(str(path), "is no file", _move_away())


def empty(path: Path) -> UnusableInputError:
    return UnusableInputError(str(path), "is empty", f"Give a file that {_WRITERS} wrote to")


def other_program(path: Path) -> UnusableInputError:
    return UnusableInputError(str(path), "is the database of another program", _move_away())


def newer(path: Path, version: int, newest: int) -> UnusableInputError:
    return UnusableInputError(
        str(path),
        f"was written by a later pluckcheck (version {version} of its tables; this one knows up "
        f"to {newest})",
        f"Update pluckcheck, or {_OTHER_PLACE}",
    )


def older(path: Path) -> UnusableInputError:
    return UnusableInputError(
        str(path),
        "was written by an earlier pluckcheck and can only be read here",
        "Copy it to where it can be written, and read it there",
    )


def changed(path: Path, how: str) -> UnusableInputError:
    return UnusableInputError(str(path), f"is not as this program made it: {how}", _RESTORE)


def corrupt_row(path: Path, serial: str, what: str) -> UnusableInputError:
    """A row that cannot be read, while the rest can."""
    return UnusableInputError(
        str(path),
        f"holds a damaged {what} of serial number {serial}",
        "Analyze its recordings again",
    )


def no_analysis(path: Path, analysis: int) -> UnusableInputError:
    return UnusableInputError(
        str(path), f"holds no analysis {analysis}", "Run pluckcheck lot over those recordings again"
    )


def no_run(path: Path, lot: str) -> UnusableInputError:
    return UnusableInputError(
        str(path), f"holds no run over {lot}", "Run pluckcheck lot over that folder or table first"
    )


def no_serial(
    path: Path, serial: str, known: int, nearest: Sequence[str] = ()
) -> UnusableInputError:
    remedy = "Look at the spelling: letters count, large and small ones are alike"
    if nearest:
        remedy = f"Look at the spelling; near to it {_are(len(nearest))} {', '.join(nearest)}"
    return UnusableInputError(
        str(path), f"has no serial number {serial} among its {known:,}", remedy
    )


def _are(count: int) -> str:
    return "is" if count == 1 else "are"
