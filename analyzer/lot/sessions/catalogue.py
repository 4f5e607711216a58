"""The sessions of a lot while they are looked for: on disk, so that no lot is too long.

A private database of SQLite without a name, which goes when it is closed. Names of files are those
within the lot's folder.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from analyzer.errors import UnusableInputError
from analyzer.lot.records import Fault
from analyzer.lot.sessions.clock import Moment

_SCHEMA = """
CREATE TABLE sessions (
    number INTEGER PRIMARY KEY,
    identity TEXT UNIQUE,
    serial TEXT, folded TEXT, station TEXT, operator TEXT, repeat INTEGER,
    named TEXT, place TEXT, instrument_file TEXT,
    recorded_at TEXT, recorded_s REAL, modified_s REAL,
    fault_where TEXT, fault TEXT, faults INTEGER DEFAULT 0, told INTEGER DEFAULT 1
);
CREATE INDEX by_folded ON sessions (folded);
CREATE TABLE bad_rows (
    folded TEXT PRIMARY KEY, fault_where TEXT, fault TEXT, faults INTEGER DEFAULT 1
);
CREATE TABLE files (
    session INTEGER, line INTEGER, file TEXT, string INTEGER, fret TEXT,
    PRIMARY KEY (session, line)
) WITHOUT ROWID;
CREATE TABLE faults (number INTEGER PRIMARY KEY, fault_where TEXT, fault TEXT);
"""


_SESSIONS = """
SELECT number, serial, place, instrument_file, station, operator, repeat,
    recorded_at, recorded_s, modified_s
FROM sessions WHERE fault IS NULL
ORDER BY CASE WHEN ? THEN station END, CASE WHEN ? THEN serial END, number
"""


@dataclass(frozen=True)
class Found:
    """A session as it was found. ``named``: its folder, or its first row, for a message."""

    serial: str
    folded: str
    station: str
    operator: str
    repeat: int
    named: str


@dataclass(frozen=True)
class FoundFile:
    """A recording of a session; ``line`` is its place there, or its row in a table."""

    line: int
    file: str
    string: int | None = None
    fret: str | None = None


class Catalogue:
    """What was found of a lot, to be read again in order."""

    def __init__(self) -> None:
        # A pool of workers takes sessions from another thread, one at a time.
        self._db = sqlite3.connect("", isolation_level=None, check_same_thread=False)
        self._db.create_function("name_of", 1, _name_of, deterministic=True)
        self._db.executescript(f"PRAGMA journal_mode = OFF; {_SCHEMA}; BEGIN")

    def close(self) -> None:
        """Let go of it; nothing can be read any more."""
        self._db.close()

    def session(self, identity: Sequence[object], found: Found) -> int:
        """The number of a session, which is added where it is new."""
        key = json.dumps(identity)
        row = self._one("SELECT number FROM sessions WHERE identity = ?", key)
        if row is not None:
            return int(row[0])
        cursor = self._db.execute(
            "INSERT INTO sessions (identity, serial, folded, station, operator, repeat, named)"
            " VALUES (?, ?, ?, ?, ?, ?, ?)",
            (
                *(key, found.serial, found.folded, found.station, found.operator),
                *(found.repeat, found.named),
            ),
        )
        return int(cursor.lastrowid or 0)

    def put(self, number: int, place: str, instrument_file: str | None) -> None:
        """Where a session's recordings are, and its instrument file."""
        self._db.execute(
            "UPDATE sessions SET place = ?, instrument_file = ? WHERE number = ?",
            (place, instrument_file, number),
        )

    def add_files(self, number: int, files: Iterable[FoundFile]) -> None:
        """Add recordings to a session."""
        self._db.executemany(
            "INSERT INTO files VALUES (?, ?, ?, ?, ?)",
            ((number, each.line, each.file, each.string, each.fret) for each in files),
        )

    def date(self, number: int, moment: Moment | None, modified_s: float | None) -> None:
        """When a recording was made and its file changed: the newest of each is the session's."""
        self._db.execute(
            "UPDATE sessions SET"
            " recorded_at = CASE WHEN coalesce(recorded_s >= ?3, ?3 IS NULL)"
            " THEN recorded_at ELSE ?2 END,"
            " recorded_s = CASE WHEN coalesce(recorded_s >= ?3, ?3 IS NULL)"
            " THEN recorded_s ELSE ?3 END,"
            " modified_s = max(coalesce(modified_s, ?4), coalesce(?4, modified_s))"
            " WHERE number = ?1",
            (number, moment and moment.at, moment and moment.seconds, modified_s),
        )

    def fault(self, fault: Fault) -> None:
        """Something that became no session."""
        self._db.execute(
            "INSERT INTO faults (fault_where, fault) VALUES (?, ?)", (fault.where, fault.reason)
        )

    def spoil(self, number: int, fault: Fault) -> None:
        """A fault that costs a session; the first is told, and how many there were."""
        self._db.execute(
            "UPDATE sessions SET faults = faults + 1, fault_where = coalesce(fault_where, ?2),"
            " fault = coalesce(fault, ?3) WHERE number = ?1",
            (number, fault.where, fault.reason),
        )

    def spoil_serial(self, folded: str, fault: Fault) -> None:
        """A fault that costs every session of a serial number that there is by now."""
        self.fault(fault)
        self._db.execute(
            "UPDATE sessions SET fault = ?, told = 0 WHERE folded = ? AND fault IS NULL",
            (fault.reason, folded),
        )

    def bad_row(self, folded: str, fault: Fault) -> None:
        """A row of which only the serial number is known: see ``spoil_bad_rows``."""
        self._db.execute(
            "INSERT INTO bad_rows (folded, fault_where, fault) VALUES (?, ?, ?)"
            " ON CONFLICT DO UPDATE SET faults = faults + 1",
            (folded, fault.where, fault.reason),
        )

    def spoil_bad_rows(self) -> None:
        """What a bad row costs, once every row is known."""
        found = self.rows("SELECT folded, fault_where, fault, faults FROM bad_rows ORDER BY rowid")
        for folded, where, reason, faults in found:
            self.spoil_serial(folded, Fault(where, reason + _more(faults)))

    def rows(self, query: str, *values: object) -> Iterator[tuple[Any, ...]]:
        """What a query gives, row by row."""
        # The cursor is not closed by hand: that fails once the database is closed.
        yield from map(tuple, self._db.execute(query, values))

    def count(self) -> int:
        """Sessions without a fault."""
        row = self._one("SELECT count(*) FROM sessions WHERE fault IS NULL")
        return int(row[0]) if row else 0

    def count_untimed(self) -> int:
        """Those of them that nobody gave a time for."""
        query = "SELECT count(*) FROM sessions WHERE fault IS NULL AND recorded_s IS NULL"
        row = self._one(query)
        return int(row[0]) if row else 0

    def stations(self) -> list[str]:
        """Those of the sessions without a fault, in order of appearance, the empty one left out."""
        found = self.rows(
            "SELECT station FROM sessions WHERE fault IS NULL AND station <> ''"
            " GROUP BY station ORDER BY min(number)"
        )
        return [str(each) for (each,) in found]

    def faults(self) -> Iterator[Fault]:
        """Every fault: those of no session first."""
        for where, reason in self.rows("SELECT fault_where, fault FROM faults ORDER BY number"):
            yield Fault(where, reason)
        spoiled = self.rows(
            "SELECT fault_where, fault, faults FROM sessions WHERE fault IS NOT NULL AND told"
            " ORDER BY number"
        )
        for where, reason, faults in spoiled:
            yield Fault(where, reason + _more(faults))

    def sessions(self, *, by_name: bool) -> Iterator[tuple[Any, ...]]:
        """Every session without a fault, by station and serial number or as they were found.

        Number, serial number, place, instrument file, station, operator, repeat, the time that
        was given, that in seconds, and the time of the last change.
        """
        return self.rows(_SESSIONS, by_name, by_name)

    def files(self, number: int) -> list[FoundFile]:
        """The recordings of a session, in order."""
        found = self.rows(
            "SELECT line, file, string, fret FROM files WHERE session = ? ORDER BY line", number
        )
        return [FoundFile(*each) for each in found]

    def _one(self, query: str, *values: object) -> tuple[Any, ...] | None:
        found: tuple[Any, ...] | None = self._db.execute(query, values).fetchone()
        return found


def _name_of(file: str) -> str:
    return file.rpartition("/")[2]


def _more(faults: int) -> str:
    return f" And {faults - 1} more of its rows have faults." if faults > 1 else ""


@contextmanager
def room_for_it(place: str) -> Iterator[None]:
    """UnusableInputError where the folder for temporary files is full."""
    try:
        yield
    except sqlite3.OperationalError as error:
        raise UnusableInputError(
            place,
            f"cannot be listed: the folder for temporary files gives no room ({error})",
            "Free some room there, or set TMPDIR to another folder",
        ) from error
