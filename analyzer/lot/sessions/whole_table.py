"""What can be judged of a lot's table, and said of its sessions, only when every row is known."""

from __future__ import annotations

import posixpath
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from analyzer.errors import UnusableInputError
from analyzer.instrument.file import FILE_NAME as INSTRUMENT_NAME
from analyzer.instrument.tables import shown
from analyzer.lot.records import Fault
from analyzer.lot.sessions.catalogue import Catalogue
from analyzer.lot.sessions.place import exists, is_url, joined
from analyzer.lot.sessions.rows import where_in
from analyzer.recording.door import check_beside
from analyzer.recording.limits import ReadingRules, check_count

_NAMED = 3  # serial numbers or lines in one line
_FOLDERS_KNOWN = 64  # in which an instrument file was looked for


@dataclass(frozen=True)
class WholeTable:
    """The rows of a table that hold each for itself; ``table`` is its name, for messages."""

    folder: str
    table: str
    rules: ReadingRules
    catalogue: Catalogue

    def check(self) -> None:
        """Spoil the sessions that cannot be told apart, or ask for too much; place the others.

        Raises UnusableInputError where the instrument file beside the table may not be read.
        """
        self.catalogue.spoil_bad_rows()
        self._check_spelling()
        self._check_counts()
        self._check_files()
        self._check_names()
        self._place()

    def _fault(self, lines: Sequence[int], found: str, remedy: str) -> Fault:
        first, *others = lines[:_NAMED]
        where = " and ".join((where_in(self.table, first), *map(str, others)))
        error = UnusableInputError(where, found, remedy)
        return Fault(error.where, error.reason)

    def _check_spelling(self) -> None:
        several = (
            "SELECT folded FROM sessions GROUP BY folded HAVING count(DISTINCT serial) > 1"
            " ORDER BY min(number)"
        )
        for (key,) in list(self.catalogue.rows(several)):
            spelled = self.catalogue.rows(
                "SELECT serial, min(line) FROM sessions JOIN files ON session = number"
                " WHERE folded = ? GROUP BY serial ORDER BY min(line)",
                key,
            )
            serials, lines = zip(*spelled, strict=True)
            found = f"spell one serial number in ways of their own: {', '.join(serials[:_NAMED])}"
            self.catalogue.spoil_serial(key, self._fault(lines, found, "Spell it alike"))

    def _check_counts(self) -> None:
        counts = "SELECT session, count(*), min(line) FROM files GROUP BY session"
        most = self.rules.limits.files
        for number, count, _ in list(self.catalogue.rows(f"{counts} HAVING count(*) > ?", most)):
            serial = self._serial(number)
            try:
                check_count(f"{self.table}, serial {serial}", count, self.rules.limits)
            except UnusableInputError as error:
                self.catalogue.spoil(number, Fault(error.where, error.reason))

    def _check_files(self) -> None:
        """A recording belongs to one session, and counts once in it."""
        twice = "SELECT file FROM files GROUP BY file HAVING count(*) > 1 ORDER BY min(line)"
        for (file,) in list(self.catalogue.rows(twice)):
            rows = list(
                self.catalogue.rows(
                    "SELECT session, min(line), serial FROM files JOIN sessions ON session = number"
                    " WHERE file = ? GROUP BY session, line ORDER BY line",
                    file,
                )
            )
            fault = self._file_twice(file, rows)
            for number in dict.fromkeys(session for session, _, _ in rows):
                self.catalogue.spoil(number, fault)

    def _file_twice(self, file: str, rows: Sequence[tuple[int, int, str]]) -> Fault:
        lines = [line for _, line, _ in rows]
        if len({session for session, _, _ in rows}) == 1:
            found = f"list file {shown(file)} twice for serial {rows[0][2]}"
            return self._fault(lines, found, "A recording counts once; delete a line")
        serials = list(dict.fromkeys(serial for _, _, serial in rows))[:_NAMED]
        of = " and ".join(serials)
        found = f"list file {shown(file)} in several measurings, of serial {of}"
        return self._fault(lines, found, "Give each measuring recordings of its own")

    def _check_names(self) -> None:
        """Recordings are told apart by their names from here on."""
        alike = (
            "SELECT session, min(line), max(line), name_of(file) FROM files"
            " GROUP BY session, name_of(file) HAVING count(DISTINCT file) > 1"
        )
        for number, first, last, name in list(self.catalogue.rows(alike)):
            found = f"list two files called {shown(name)} for serial {self._serial(number)}"
            remedy = "Give each recording of an instrument a name of its own"
            self.catalogue.spoil(number, self._fault([first, last], found, remedy))

    def _serial(self, number: int) -> str:
        return str(next(self.catalogue.rows(_SERIAL, number))[0])

    def _place(self) -> None:
        """The folder of each session's recordings, and the nearest instrument file from there up.

        One beside the table that may not be read would spoil all, so it ends the search.
        """
        self._instrument_in("")
        known = lru_cache(_FOLDERS_KNOWN)(self._instrument_in)
        for number, place in self._folders():
            parts = place.split("/") if place else []
            way_up = ("/".join(parts[:count]) for count in range(len(parts), -1, -1))
            try:
                nearest = next((file for file in map(known, way_up) if file is not None), None)
                self.catalogue.put(number, place, nearest)
            except UnusableInputError as error:
                self.catalogue.spoil(number, Fault(error.where, error.reason))

    def _instrument_in(self, inner: str) -> str | None:
        name = f"{inner}/{INSTRUMENT_NAME}" if inner else INSTRUMENT_NAME
        place = joined(self.folder, name)
        if not exists(place):
            return None
        if not is_url(place):
            check_beside(Path(place), self.rules)
        return name

    def _folders(self) -> Iterator[tuple[int, str]]:
        """Every session that is left, with the folder that all its recordings are in or below."""
        last = next(self.catalogue.rows("SELECT coalesce(max(number), 0) FROM sessions"))[0]
        for number in range(1, last + 1):
            folders = {posixpath.dirname(each.file) for each in self.catalogue.files(number)}
            if folders:
                yield number, posixpath.commonpath(sorted(folders))


_SERIAL = "SELECT serial FROM sessions WHERE number = ?"
