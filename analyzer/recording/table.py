"""takes.csv: which file, which seconds, which string, which fret; it overrides the names of files.

    file,start_s,end_s,string,fret
    IMG_0412.wav,,,,
    phone.wav,1.5,5.0,6,open
    phone.wav,6.0,9.5,6,f12

A file without string and fret holds many plucks, which are found and named by their pitch. Empty
seconds stand for the beginning and the end of the file. What a file's name says counts only where
the table does not list it.
"""

from __future__ import annotations

import csv
import io
import math
import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath, PureWindowsPath

from analyzer.errors import UnusableInputError
from analyzer.instrument.model import Instrument
from analyzer.instrument.tables import shown, text_of
from analyzer.music import semitones_from_a4
from analyzer.recording.labels import HARMONIC, HIGHEST_FRET, OPEN, Label, spellings

FILE_NAME = "takes.csv"
COLUMNS = ("file", "start_s", "end_s", "string", "fret")
MOST_ROWS = 2000  # a choice; a production run has a folder for each instrument
FRETS = f"Give open, f12, h12 or another fret up to {HIGHEST_FRET}"  # the remedy for a wrong one
LATEST_S = 36_000.0  # ten hours; a choice
_RIGHT_FILE = f"Give a table with the columns {', '.join(COLUMNS)}"
_FRET = re.compile(
    r"(?P<open>open)|(?P<harmonic>h12)|f?(?P<number>\d{1,3})", re.IGNORECASE | re.ASCII
)
_NUMBER = re.compile(r"\d{1,6}(\.\d{0,9})?", re.ASCII)


@dataclass(frozen=True)
class Listed:
    """A row: a part of a file in seconds, and its label; without one it holds many plucks.

    ``where`` is the place of the row, for a message.
    """

    file: str
    where: str
    start_s: float = 0.0
    end_s: float = math.inf
    label: Label | None = None


def read_table(
    path: Path, instrument: Instrument, recordings: Sequence[Path]
) -> dict[str, list[Listed]]:
    """The rows of a table by the name of their file, which must be among ``recordings``.

    Raises
    ------
    UnusableInputError
        One line: the table, the line, what stands there, and what may.
    """
    reader = csv.DictReader(
        io.StringIO(text_of(path, _RIGHT_FILE)), skipinitialspace=True, strict=True
    )
    found: dict[str, list[Listed]] = {}
    try:
        columns = [(each or "").strip().lower() for each in reader.fieldnames or ()]
        if sorted(columns) != sorted(COLUMNS):
            has = f"has the columns {', '.join(columns) or 'of an empty file'}"
            raise UnusableInputError(path.name, has, _RIGHT_FILE)
        reader.fieldnames = columns
        for number, row in enumerate(reader, 1):
            where = f"{path.name}, line {reader.line_num}"
            if number > MOST_ROWS:
                raise UnusableInputError(
                    where, f"is row {number}", f"Keep to {MOST_ROWS} rows; give each its folder"
                )
            listed = _Row(where, row).listed(instrument, recordings)
            found.setdefault(listed.file, []).append(_next_take(listed, found))
    except csv.Error as error:
        raise UnusableInputError(path.name, f"is no CSV ({error})", _RIGHT_FILE) from error
    return found


def _next_take(listed: Listed, found: Mapping[str, Sequence[Listed]]) -> Listed:
    """The rows of one string and fret are its takes, in their order."""
    if listed.label is None:
        return listed
    string, fret = listed.label.string, listed.label.fret
    labels = [row.label for rows in found.values() for row in rows if row.label is not None]
    take = 1 + sum((each.string, each.fret) == (string, fret) for each in labels)
    return Listed(
        listed.file, listed.where, listed.start_s, listed.end_s, Label(string, fret, take)
    )


class _Row:
    """One row of the table, with the place that its faults name."""

    def __init__(self, where: str, row: Mapping[str | None, str | list[str] | None]) -> None:
        self._where = where
        if None in row:
            raise self._fault("has more cells than the head has columns", _RIGHT_FILE)
        self._row = {key: value.strip() for key, value in row.items() if isinstance(value, str)}

    def _text(self, column: str) -> str:
        return self._row.get(column, "")

    def _fault(self, found: str, remedy: str) -> UnusableInputError:
        return UnusableInputError(self._where, found, remedy)

    def listed(self, instrument: Instrument, recordings: Sequence[Path]) -> Listed:
        file = self._file(recordings)
        start_s, end_s = self._seconds("start_s", 0.0), self._seconds("end_s", math.inf)
        if end_s <= start_s:
            raise self._fault(
                f"has end_s {end_s:g}, which is not after start_s {start_s:g}",
                "Give the seconds in the file at which the note begins and ends",
            )
        return Listed(file, self._where, start_s, end_s, self._label(instrument))

    def _file(self, recordings: Sequence[Path]) -> str:
        name = self._text("file")
        there = {path.name for path in recordings}
        for spelling in spellings(name):
            if spelling in there:
                return spelling
        parts = max(PurePosixPath(name).parts, PureWindowsPath(name).parts, key=len)
        if len(parts) > 1 or name in (os.curdir, os.pardir):
            raise self._fault(
                f"names file {shown(name)}, which is not in the table's own folder",
                "Give the name of a recording beside the table, without a folder",
            )
        raise self._fault(
            f"names file {shown(name)}, and there is no such recording beside the table",
            "Give the name of a recording as it stands in the folder, with its ending",
        )

    def _seconds(self, column: str, empty_s: float) -> float:
        text = self._text(column)
        if not text:
            return empty_s
        value = float(text) if _NUMBER.fullmatch(text) else math.nan
        if not 0 <= value <= LATEST_S:
            raise self._fault(
                f"has {column} {shown(text)}",
                f"Give seconds from 0 to {LATEST_S:g}, such as 12.5, or leave it empty",
            )
        return value

    def _label(self, instrument: Instrument) -> Label | None:
        string, fret = self._text("string"), self._text("fret")
        if not string and not fret:
            return None
        if not string or not fret:
            given, lacking = ("fret", "string") if fret else ("string", "fret")
            raise self._fault(
                f"gives {given} {shown(string or fret)} and no {lacking}",
                "Give both, or neither where the file holds many plucks",
            )
        return Label(self._string(string, instrument), self._fret(fret))

    def _string(self, text: str, instrument: Instrument) -> int:
        count = len(instrument.tuning)
        if text.isascii() and text.isdigit() and 1 <= int(text[:6]) <= count:
            return int(text)
        same = [each for each in instrument.strings if _is_note(text, instrument.note(each))]
        if len(same) == 1:
            return same[0]
        raise self._fault(
            f"names string {shown(text)}",
            f"This instrument has strings {count} to 1, string 1 the thinnest",
        )

    def _fret(self, text: str) -> str:
        fret = read_fret(text)
        if fret is None:
            raise self._fault(f"has fret {shown(text)}", FRETS)
        return fret


def read_fret(text: str) -> str | None:
    """The fret of a label from a cell of a table; None where the text is none.

    >>> read_fret("Open"), read_fret("12"), read_fret("F0"), read_fret("h12"), read_fret("f99")
    ('open', 'f12', 'open', 'h12', None)
    """
    match = _FRET.fullmatch(text)
    if match is None:
        return None
    if match["open"]:
        return OPEN
    if match["harmonic"]:
        return HARMONIC
    number = int(match["number"])
    if number > HIGHEST_FRET:
        return None
    return f"f{number}" if number else OPEN


def _is_note(text: str, note: str) -> bool:
    try:
        return semitones_from_a4(text) == semitones_from_a4(note)
    except ValueError:
        return False
