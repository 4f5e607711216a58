"""The tables of a store, and how an older file is brought up to date.

Each table has a natural key, so that two runs at once, or one after a power cut, write the same
content: numbers (``id``) only stand for it within one file. Digests are kept as their 32 bytes.
Times are seconds since 1970, UTC. NULL is what is not known, and infinity in
``scatter_freedom``.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from functools import cache

APPLICATION_ID = 0x706C6C74  # "pllt" in ASCII; tells this program's files from other databases
LEAST_SQLITE = (3, 37, 0)  # has STRICT tables

_SESSION = """
    serial TEXT NOT NULL,
    station TEXT NOT NULL,
    operator TEXT NOT NULL,
    repeat INTEGER NOT NULL,
"""
_FIRST = (
    "CREATE TABLE methods (id INTEGER PRIMARY KEY, method TEXT NOT NULL UNIQUE) STRICT",
    """CREATE TABLE specifications (
    id INTEGER PRIMARY KEY,
    digest TEXT NOT NULL UNIQUE,
    body TEXT NOT NULL -- the specification as JSON, to look it up; nothing is decided from it
) STRICT""",
    f"""CREATE TABLE analyses (
    id INTEGER PRIMARY KEY,{_SESSION}    inputs BLOB NOT NULL,
    folded_serial TEXT NOT NULL,
    place TEXT NOT NULL,
    instrument TEXT NOT NULL,
    recorded_at TEXT,
    recorded_s REAL,
    analyzed_s REAL NOT NULL,
    seconds REAL NOT NULL,
    method INTEGER NOT NULL REFERENCES methods,
    complete INTEGER NOT NULL,
    recordings INTEGER NOT NULL,
    left_out INTEGER NOT NULL,
    strings INTEGER NOT NULL,
    strings_measured INTEGER NOT NULL,
    specification INTEGER REFERENCES specifications, -- by which it was decided last
    UNIQUE (serial, station, operator, repeat, inputs)
) STRICT""",
    "CREATE INDEX analyses_by_folded_serial ON analyses (folded_serial)",
    "CREATE INDEX analyses_by_analyzed ON analyses (analyzed_s)",
    "CREATE INDEX analyses_by_recorded ON analyses (recorded_s)",
    # Apart from the rows that are searched, which stay short.
    """CREATE TABLE reports (
    analysis INTEGER PRIMARY KEY REFERENCES analyses,
    body BLOB NOT NULL -- the JSON report, zlib
) STRICT""",
    """CREATE TABLE strings (
    analysis INTEGER NOT NULL REFERENCES analyses,
    string INTEGER NOT NULL,
    note TEXT NOT NULL,
    reason TEXT,
    open_hz REAL,
    fretted_hz REAL,
    error_cents REAL,
    error_uncertainty_cents REAL,
    open_drift_cents REAL,
    fretted_drift_cents REAL,
    sustain_drift_cents REAL,
    saddle_move_mm REAL,
    saddle_move_uncertainty_mm REAL,
    PRIMARY KEY (analysis, string)
) STRICT, WITHOUT ROWID""",
    """CREATE TABLE left_out (
    analysis INTEGER NOT NULL REFERENCES analyses,
    position INTEGER NOT NULL, -- among the recordings of the report
    file TEXT NOT NULL,
    string INTEGER,
    fret TEXT,
    reason TEXT NOT NULL,
    PRIMARY KEY (analysis, position)
) STRICT, WITHOUT ROWID""",
    """CREATE TABLE decisions (
    analysis INTEGER NOT NULL REFERENCES analyses,
    specification INTEGER NOT NULL REFERENCES specifications,
    verdict TEXT NOT NULL,
    reason TEXT NOT NULL,
    conformity_probability REAL,
    more_takes INTEGER,
    PRIMARY KEY (analysis, specification)
) STRICT, WITHOUT ROWID""",
    """CREATE TABLE value_decisions (
    analysis INTEGER NOT NULL,
    specification INTEGER NOT NULL,
    characteristic TEXT NOT NULL,
    string INTEGER NOT NULL,
    value_cents REAL,
    standard_uncertainty_cents REAL,
    scatter_cents REAL,
    scatter_freedom REAL,
    known_cents REAL,
    lower_cents REAL,
    upper_cents REAL,
    target_cents REAL NOT NULL,
    conformity_probability REAL,
    verdict TEXT NOT NULL,
    more_takes INTEGER,
    reason TEXT NOT NULL,
    PRIMARY KEY (analysis, specification, characteristic, string),
    FOREIGN KEY (analysis, specification) REFERENCES decisions
) STRICT, WITHOUT ROWID""",
    """CREATE TABLE file_states (
    place TEXT NOT NULL,
    file TEXT NOT NULL,
    token TEXT NOT NULL,
    sha256 BLOB NOT NULL,
    PRIMARY KEY (place, file)
) STRICT, WITHOUT ROWID""",
    """CREATE TABLE recordings (
    id INTEGER PRIMARY KEY,
    key BLOB NOT NULL UNIQUE,
    kept_s REAL NOT NULL,
    measured BLOB NOT NULL -- what was measured, as msgpack, zlib
) STRICT""",
    "CREATE TABLE lots (id INTEGER PRIMARY KEY, lot TEXT NOT NULL UNIQUE) STRICT",
    """CREATE TABLE runs (
    id INTEGER PRIMARY KEY,
    lot INTEGER NOT NULL REFERENCES lots,
    specification INTEGER REFERENCES specifications,
    method INTEGER NOT NULL REFERENCES methods,
    started_s REAL NOT NULL,
    finished_s REAL
) STRICT""",
    "CREATE INDEX runs_by_lot ON runs (lot)",
    f"""CREATE TABLE members (
    lot INTEGER NOT NULL REFERENCES lots,{_SESSION}    run INTEGER NOT NULL REFERENCES runs,
    analysis INTEGER REFERENCES analyses, -- NULL where nothing came of the session
    reason TEXT, -- why
    PRIMARY KEY (lot, serial, station, operator, repeat)
) STRICT, WITHOUT ROWID""",
    """CREATE TABLE station_checks (
    id INTEGER PRIMARY KEY,
    station TEXT NOT NULL,
    reference TEXT NOT NULL,
    characteristic TEXT NOT NULL,
    sha256 BLOB NOT NULL, -- of the recording
    file TEXT NOT NULL,
    checked_at TEXT,
    checked_s REAL,
    value REAL, -- in the unit that the characteristic's name ends with
    standard_uncertainty REAL,
    lower_limit REAL,
    upper_limit REAL,
    verdict TEXT NOT NULL,
    remark TEXT NOT NULL,
    UNIQUE (station, reference, characteristic, sha256)
) STRICT""",
)

# What leads from each version to the next, in order: a statement each. What was released stays as
# it is; a change is added at the end, with a test from a file of the version before.
MIGRATIONS: tuple[tuple[str, ...], ...] = (_FIRST,)


def migrate(connection: sqlite3.Connection, migrations: tuple[tuple[str, ...], ...]) -> None:
    """Bring an open file up to date, each step in a transaction; version 0 is an empty file.

    Another process may do the same at the same time: one of them waits, and finds it done.
    """
    for number, statements in enumerate(migrations, 1):
        if version_of(connection) >= number:
            continue
        connection.execute("BEGIN IMMEDIATE")
        try:
            if version_of(connection) < number:
                _run(connection, statements)
                connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
                connection.execute(f"PRAGMA user_version = {number}")
            connection.execute("COMMIT")
        except BaseException:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise


def _run(connection: sqlite3.Connection, statements: Iterable[str]) -> None:
    for each in statements:
        connection.execute(each)


def version_of(connection: sqlite3.Connection) -> int:
    """The version of the tables in a file."""
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def parts_of(connection: sqlite3.Connection) -> dict[tuple[str, str], str]:
    """Everything that a file's schema holds, by kind and name, as SQL."""
    rows = connection.execute(
        "SELECT type, name, sql FROM sqlite_schema WHERE name NOT LIKE 'sqlite\\_%' ESCAPE '\\'"
    )
    return {(kind, name): sql for kind, name, sql in rows}


@cache
def expected_parts(migrations: tuple[tuple[str, ...], ...]) -> dict[tuple[str, str], str]:
    """What a file that is up to date must hold."""
    connection = sqlite3.connect(":memory:", isolation_level=None)
    try:
        migrate(connection, migrations)
        return parts_of(connection)
    finally:
        connection.close()
