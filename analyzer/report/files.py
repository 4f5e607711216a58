"""The report as JSON (schema_version 1); tables as CSV; and how files are written."""

from __future__ import annotations

import errno
import os
import shutil
import stat
from pathlib import Path
from typing import Any

from analyzer.errors import UnusableInputError, printable
from analyzer.report.json_text import head, json_text
from analyzer.report.model import SCHEMA_VERSION, Report

_REPLACED = (None, stat.S_IFREG)  # what is written beside and put in place when it is whole
# A cell that starts so is read as a formula by some spreadsheet: OWASP, "CSV Injection", with the
# full-width forms of its later editions (recalled). A quote before it makes it text.
_FORMULA_STARTS = (*"=+-@\t\r\n", *"＝＋－＠")
LONGEST_CELL = 32_000  # characters; a cell of XLSX holds 32,767 (recalled)


def as_json(report: Report) -> str:
    """The report as JSON text, as ``report.schema.json`` describes it.

    Numbers are unrounded; what could not be had is null.
    """
    return json_text(report_body(report))


def report_body(report: Report) -> dict[str, Any]:
    """The JSON of a report as a dictionary, in which parts of the report stand as they are."""
    return {
        **head(SCHEMA_VERSION),
        "instrument": {
            "name": report.instrument,
            "name_given": report.name_given,
            "tuning": report.tuning,
            "scale_lengths_mm": report.scale_lengths_mm,
            "layout": report.layout,
        },
        "a4_hz": report.a4_hz,
        "strings": report.strings,
        "saddles": report.saddles,
        "adjusters": report.adjusters,
        "steps": report.steps,
        "response": report.response,
        "previous": report.previous,
        "moves_told": report.moves_told,
        "errors_before": report.errors_before,
        "outcome": report.outcome,
        "recordings": report.recordings,
        "frets": report.frets,
        "findings": report.findings,
        "warnings": report.warnings,
    }


def harmless_cell(value: Any) -> Any:
    """A cell of a table for spreadsheets: text on one line and no formula; the rest as it is."""
    return defused(printable(value, LONGEST_CELL)) if isinstance(value, str) else value


def defused(text: str) -> str:
    """Text that a spreadsheet will not take for a formula.

    >>> defused("=1+1"), defused("-2.wav"), defused("s6_open_1.wav")
    ("'=1+1", "'-2.wav", 's6_open_1.wav')
    """
    return f"'{text}" if text.startswith(_FORMULA_STARTS) else text


def check_place(path: Path) -> None:
    """Look, before the work is done, whether a report can be written to this path.

    Raises UnusableInputError for a folder, for a place in no folder, and without permission.
    """
    try:
        kind = _kind(path)
        if kind == stat.S_IFDIR:
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
        needed = [path] if kind is not None else []
        if kind in _REPLACED:
            needed.append(_target(path).parent)
        for place in needed:
            place.stat()
            if not os.access(place, os.W_OK):
                raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
    except OSError as error:
        raise _not_written(path, error) from error


def write_text(path: Path, text: str) -> None:
    """Write text in UTF-8: see ``write_bytes``."""
    write_bytes(path, text.encode("utf-8"))


def write_bytes(path: Path, content: bytes) -> None:
    """Write a whole file or none; a link stays, and a device or pipe is written to as it is.

    Raises UnusableInputError where it cannot be written.
    """
    try:
        if _kind(path) in _REPLACED:
            _replace(_target(path), content)
        else:
            with path.open("wb") as file:
                file.write(content)
    except OSError as error:
        raise _not_written(path, error) from error


def _kind(path: Path) -> int | None:
    """The type of what is there, links followed, as in ``stat.S_IFREG``; None for nothing yet."""
    try:
        return stat.S_IFMT(path.stat().st_mode)
    except FileNotFoundError:
        return None


def _target(path: Path) -> Path:
    return Path(os.path.realpath(path))


def _replace(target: Path, content: bytes) -> None:
    partial = target.with_name(
        f".{os.getpid()}.partial"
    )  # short: the name may be as long as can be
    try:
        partial.write_bytes(content)
        if target.exists():
            shutil.copymode(target, partial)
        partial.replace(target)
    finally:
        partial.unlink(missing_ok=True)


def _not_written(path: Path, error: OSError) -> UnusableInputError:
    return UnusableInputError(
        str(path),
        f"cannot be written ({error.strerror})",
        "Give the name of a file, in a folder that exists and can be written to",
    )
