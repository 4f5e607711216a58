"""What the cells of a lot's table may hold, each checked with one line for what is wrong."""

from __future__ import annotations

import os
import re

from analyzer.errors import UnusableInputError
from analyzer.instrument.file import MOST_STRINGS
from analyzer.instrument.tables import shown
from analyzer.lot.sessions.clock import TIMES, Moment, read_moment
from analyzer.lot.sessions.names import tidy, unfit
from analyzer.lot.sessions.place import is_url
from analyzer.lot.sessions.rows import Row
from analyzer.recording.table import FRETS, read_fret

_WHOLE = re.compile(r"(\d{1,6})(?:[.,]0*)?", re.ASCII)  # 6, and 6.0 or 6,0 from a spreadsheet
_DRIVE = re.compile(r"[A-Za-z]:")
_SEPARATORS = re.compile(r"[/\\]")
_STRING = "String 1 is the thinnest"


def cell_fault(row: Row, found: str, remedy: str) -> UnusableInputError:
    """The error for a cell of a row."""
    return UnusableInputError(row.where, found, remedy)


def name_cell(row: Row, column: str, *, needed: bool = False) -> str:
    """A serial number, or the name of a station or operator, which may be empty."""
    text = row.cells.get(column, "")
    if not text and not needed:
        return ""
    why = unfit(text)
    if why is not None:
        raise cell_fault(row, f"has a {column} that {why}", f"Give the {column} in plain text")
    return tidy(text)


def file_cell(row: Row) -> str:
    """A file in or below the table's folder, with ``/`` between folders."""
    text = row.cells.get("file", "")
    parts = [each for each in _SEPARATORS.split(text) if each not in ("", os.curdir)]
    if not parts:
        raise cell_fault(row, f"has file {shown(text)}", "Give the name of a recording")
    rooted = text[0] in "/\\" or _DRIVE.match(text) is not None or is_url(text)
    if rooted or os.pardir in parts:
        raise cell_fault(
            row,
            f"names file {shown(text)}, which is not given from the table's folder down",
            "Put the table above its recordings, and give the way from there",
        )
    return "/".join(parts)


def label_cells(row: Row) -> tuple[int | None, str | None]:
    """String and fret; both None where the name of the file shall say them."""
    text = row.cells.get("fret", "")
    string = whole_cell(row, "string", MOST_STRINGS, _STRING)
    if string is None and not text:
        return None, None
    if string is None or not text:
        given, lacking = ("fret", "string") if text else ("string", "fret")
        raise cell_fault(
            row,
            f"gives {given} {shown(text or str(string))} and no {lacking}",
            "Give both, or neither where the name of the file says them",
        )
    whole = _WHOLE.fullmatch(text)
    fret = read_fret(whole[1] if whole else text)
    if fret is None:
        raise cell_fault(row, f"has fret {shown(text)}", FRETS)
    return string, fret


def whole_cell(row: Row, column: str, most: int, hint: str) -> int | None:
    """A whole number from 1 on; None where the cell is empty."""
    text = row.cells.get(column, "")
    if not text:
        return None
    match = _WHOLE.fullmatch(text)
    if match is None or not 1 <= int(match[1]) <= most:
        raise cell_fault(row, f"has {column} {shown(text)}", f"Give 1 to {most}. {hint}")
    return int(match[1])


def moment_cell(row: Row) -> Moment | None:
    """A time; None where the cell is empty."""
    text = row.cells.get("time", "")
    moment = read_moment(text) if text else None
    if text and moment is None:
        raise cell_fault(row, f"has time {shown(text)}", TIMES)
    return moment
