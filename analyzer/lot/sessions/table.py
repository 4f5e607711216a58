"""lot.csv or lot.parquet: which file belongs to which instrument, and what is known of it.

    serial,file,string,fret,station,operator,time,repeat
    A1,A1/s6_open_1.wav,6,open,line 1,night,2031-05-17T14:30:00+02:00,1

Only serial and file are needed. Files are those in and below the table's folder. A measuring of an
instrument has one serial number, station, operator and repeat. A row that cannot be used costs the
measuring that it belongs to, since that would lack a recording.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from functools import lru_cache, partial
from pathlib import Path

from analyzer.errors import UnusableInputError
from analyzer.instrument.tables import shown
from analyzer.lot.records import Fault
from analyzer.lot.sessions.catalogue import Catalogue, Found, FoundFile
from analyzer.lot.sessions.cells import (
    cell_fault,
    file_cell,
    label_cells,
    moment_cell,
    name_cell,
    whole_cell,
)
from analyzer.lot.sessions.clock import Clocks, Moment
from analyzer.lot.sessions.folders import EmptyLotError
from analyzer.lot.sessions.names import folded
from analyzer.lot.sessions.place import entries, is_url, joined
from analyzer.lot.sessions.rows import Row, rows_of
from analyzer.lot.sessions.whole_table import WholeTable
from analyzer.recording.labels import spellings
from analyzer.recording.limits import ReadingRules

FILE_NAMES = ("lot.csv", "lot.tsv", "lot.parquet")
_MOST_REPEATS = 1000  # a choice
_FOLDERS_KNOWN = 64  # listings of a URL that are kept


@dataclass(frozen=True)
class _Recording:
    """A row that holds."""

    file: str
    string: int | None
    fret: str | None
    moment: Moment | None
    modified_s: float | None


class TableSearch:
    """One reading of a table. ``folder`` is where its files are, ``table`` a local copy of it."""

    def __init__(
        self, folder: str, table: Path, rules: ReadingRules, catalogue: Catalogue, clocks: Clocks
    ) -> None:
        self._folder = folder
        self._table = table
        self._rules = rules
        self._catalogue = catalogue
        self._clocks = clocks
        self._modified = _Remote(folder).modified_s if is_url(folder) else self._local_modified_s

    def run(self) -> list[str]:
        """Add every session and every fault to the catalogue; warnings about the table.

        Raises UnusableInputError where it is no table, or an empty one.
        """
        rows = rows_of(self._table)
        some = False
        for row in rows.rows:
            some = True
            try:
                self._add(row)
            except UnusableInputError as error:
                self._catalogue.fault(Fault(error.where, error.reason))
        if not some:
            raise EmptyLotError(
                self._table.name, "has no row below its head", "Give a row for each recording"
            )
        WholeTable(self._folder, self._table.name, self._rules, self._catalogue).check()
        return self._warnings(rows.unknown)

    def _warnings(self, unknown: tuple[str, ...]) -> list[str]:
        found = []
        if unknown:
            columns = ", ".join(unknown)
            found.append(f"{self._table.name}: not read: {columns}. Mend a misspelt column.")
        untimed = self._catalogue.count_untimed()
        if untimed:
            found.append(
                f"{self._table.name} gives no time for {untimed} measurings: when their files "
                "were last changed counts. Add the column time."
            )
        return found

    def _add(self, row: Row) -> None:
        serial = name_cell(row, "serial", needed=True)
        key = folded(serial)
        named = Row(row.line, f"{row.where}, serial {serial}", row.cells, row.extra)
        try:
            found = self._session(named, serial, key)
        except UnusableInputError as error:
            # Whose recording it is nobody knows, so all sessions of the serial number may lack it.
            self._catalogue.bad_row(key, Fault(error.where, error.reason))
            return
        identity = (serial, found.station, found.operator, found.repeat)
        number = self._catalogue.session(identity, found)
        try:
            recording = self._recording(named)
        except UnusableInputError as error:
            self._catalogue.spoil(number, Fault(error.where, error.reason))
            return
        self._put(number, row, found.station, recording)

    def _put(self, number: int, row: Row, station: str, recording: _Recording) -> None:
        file = FoundFile(row.line, recording.file, recording.string, recording.fret)
        self._catalogue.add_files(number, [file])
        moment = recording.moment
        self._catalogue.date(number, moment, recording.modified_s)
        if moment is not None:
            self._clocks.followed(row.where, station, moment)

    def _session(self, row: Row, serial: str, key: str) -> Found:
        if row.extra:
            found = "has more cells than the head has columns"
            raise cell_fault(row, found, "Put a cell that holds the delimiter in quotes")
        station, operator = (name_cell(row, each) for each in ("station", "operator"))
        repeat = whole_cell(row, "repeat", _MOST_REPEATS, "Count an instrument's measurings from 1")
        return Found(serial, key, station, operator, repeat or 1, row.where)

    def _recording(self, row: Row) -> _Recording:
        file, modified_s = self._found(row, file_cell(row))
        string, fret = label_cells(row)
        return _Recording(file, string, fret, moment_cell(row), modified_s)

    def _found(self, row: Row, file: str) -> tuple[str, float | None]:
        """The file as its folder spells it, and when it was last changed."""
        for spelling in spellings(file):
            modified_s, is_there = self._modified(row, spelling)
            if is_there:
                return spelling, modified_s
        raise cell_fault(
            row,
            f"names file {shown(file)}, and there is none",
            "Give the name as it stands in the folder of the table, with its ending",
        )

    def _local_modified_s(self, row: Row, file: str) -> tuple[float | None, bool]:
        path = joined(self._folder, file)
        try:
            status = os.stat(path)  # noqa: PTH116 - pathlib is slow for every row of a long table
        except FileNotFoundError:
            return None, False
        except (OSError, ValueError) as error:
            raise cell_fault(
                row,
                f"names file {shown(file)}, which cannot be looked at "
                f"({getattr(error, 'strerror', None) or error})",
                "Check its name and its permissions",
            ) from error
        if self._rules.untrusted:
            self._check_link(row, path, file)
        return status.st_mtime, True

    def _check_link(self, row: Row, path: str, file: str) -> None:
        if not Path(os.path.realpath(path)).is_relative_to(os.path.realpath(self._folder)):
            raise cell_fault(
                row,
                f"names file {shown(file)}, which a link takes out of the table's folder",
                "Put the recording itself in its place",
            )


class _Remote:
    """What the folders below a URL hold; the last few are kept."""

    def __init__(self, folder: str) -> None:
        self._list = lru_cache(_FOLDERS_KNOWN)(partial(_listing, folder))

    def modified_s(self, _row: Row, file: str) -> tuple[float | None, bool]:
        inner, _, name = file.rpartition("/")
        found = self._list(inner)
        return found.get(name), name in found


def _listing(folder: str, inner: str) -> dict[str, float | None]:
    try:
        return {each.name: each.modified_s() for each in entries(joined(folder, inner))}
    except UnusableInputError as error:
        if isinstance(error.__cause__, FileNotFoundError):
            return {}
        raise
