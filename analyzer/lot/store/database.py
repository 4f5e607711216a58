"""A file of SQLite, opened with care: its errors in one line, its writes whole or not at all.

Write-ahead log, synchronous FULL: a killed process or a power cut leaves all that was committed and
nothing of what was not. (NORMAL would be as consistent, but may lose the last commits when
the power goes, and with them a minute of measuring; FULL costs some ms a commit, of which there is
one an instrument.) The file may be a stranger's: it is held to this program's own tables.
"""

from __future__ import annotations

import sqlite3
import stat
import time
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from analyzer.errors import UnusableInputError
from analyzer.lot.store import faults
from analyzer.lot.store.schema import (
    APPLICATION_ID,
    LEAST_SQLITE,
    MIGRATIONS,
    expected_parts,
    migrate,
    parts_of,
    version_of,
)

BUSY_TIMEOUT_S = 30.0  # another process's transaction takes some ms; a copy of the file, longer
_RETRY_S = 0.05
_FIRST_BYTES = b"SQLite format 3\x00"  # https://www.sqlite.org/fileformat2.html, 1.3
_TEXT = partial(str, encoding="utf-8", errors="replace")  # a stranger's text may be none

Migrations = tuple[tuple[str, ...], ...]


class Database:
    """An open file. Every method raises UnusableInputError, one line, where SQLite fails."""

    def __init__(
        self, path: Path, connection: sqlite3.Connection, busy_timeout_s: float = BUSY_TIMEOUT_S
    ) -> None:
        self.path = path
        self._connection = connection
        self._busy_timeout_s = busy_timeout_s

    @contextmanager
    def _told(self) -> Iterator[None]:
        """Errors of SQLite in one line."""
        try:
            yield
        except sqlite3.Error as error:
            raise faults.of_error(self.path, error, self._busy_timeout_s) from error

    def rows(self, sql: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        """All rows of a query."""
        with self._told():
            return self._connection.execute(sql, values).fetchall()

    def each(self, sql: str, values: Sequence[Any] = ()) -> Iterator[tuple[Any, ...]]:
        """The rows of a query one by one, however many there are."""
        with self._told():
            yield from self._connection.execute(sql, values)

    def first(self, sql: str, values: Sequence[Any] = ()) -> tuple[Any, ...] | None:
        """The first row of a query; None where there is none."""
        with self._told():
            row: tuple[Any, ...] | None = self._connection.execute(sql, values).fetchone()
        return row

    def number(self, sql: str, values: Sequence[Any] = ()) -> int:
        """The one number of a query that always has a row."""
        with self._told():
            return int(self._connection.execute(sql, values).fetchone()[0])

    def write(self, sql: str, values: Sequence[Any] = ()) -> None:
        """One statement within a transaction."""
        with self._told():
            self._connection.execute(sql, values)

    def write_each(self, sql: str, rows: Iterable[Sequence[Any]]) -> None:
        """One statement for each row, within a transaction."""
        with self._told():
            self._connection.executemany(sql, rows)

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """All that is written within is kept at its end, or nothing of it."""
        with self._told():
            # At once for writing: a transaction that began with reading could not wait its turn.
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                yield
                self._connection.execute("COMMIT")
            except BaseException:
                if self._connection.in_transaction:  # SQLite itself may have taken it back
                    self._connection.execute("ROLLBACK")
                raise

    def close(self) -> None:
        self._connection.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()


def open_database(
    path: Path,
    *,
    create: bool,
    read_only: bool = False,
    busy_timeout_s: float = BUSY_TIMEOUT_S,
    migrations: Migrations = MIGRATIONS,
) -> Database:
    """Open a store's file, make it where ``create`` allows, and bring it up to date.

    Raises UnusableInputError: no such file, none of this program's, from a newer version, damaged,
    locked by another process for longer than ``busy_timeout_s``, or no permission.
    """
    if sqlite3.sqlite_version_info < LEAST_SQLITE:
        raise faults.old_library(LEAST_SQLITE)
    _check_place(path, create=create)
    connection = None
    try:
        connection = _connected(path, create=create, read_only=read_only, timeout_s=busy_timeout_s)
        _check_kind(path, connection, create=create, newest=len(migrations))
        if not read_only:
            _set_up_writing(connection, busy_timeout_s)
            migrate(connection, migrations)
        _check_parts(path, connection, migrations)
    except sqlite3.Error as error:
        if connection is not None:
            connection.close()
        raise faults.of_error(path, error, busy_timeout_s) from error
    except UnusableInputError:
        if connection is not None:
            connection.close()
        raise
    return Database(path, connection, busy_timeout_s)


def _check_place(path: Path, *, create: bool) -> None:
    try:
        if create:
            path.parent.mkdir(parents=True, exist_ok=True)
        found = path.stat()
    except FileNotFoundError:
        if not create:
            raise faults.no_file(path) from None
    except OSError as error:
        raise faults.no_place(path, error) from error
    else:
        if not stat.S_ISREG(found.st_mode):
            raise faults.no_regular_file(path)
        _check_first_bytes(path, found.st_size)


def _check_first_bytes(path: Path, size_bytes: int) -> None:
    """SQLite takes a file of a few bytes for an empty one, and would write over it."""
    try:
        with path.open("rb") as file:
            first = file.read(len(_FIRST_BYTES))
    except OSError as error:
        raise faults.no_place(path, error) from error
    if size_bytes and first != _FIRST_BYTES:
        raise faults.no_database(path)


def _connected(
    path: Path, *, create: bool, read_only: bool, timeout_s: float
) -> sqlite3.Connection:
    if not read_only:
        return _connect(path, "mode=rwc" if create else "mode=rw", timeout_s)
    try:
        return _connect(path, "mode=ro", timeout_s)
    except sqlite3.OperationalError:
        # Reading a write-ahead log takes a file beside it, which a read-only place does not allow.
        # Without a log there is nothing but the file itself.
        log = path.with_name(f"{path.name}-wal")
        if log.exists() and log.stat().st_size:
            raise
        return _connect(path, "immutable=1", timeout_s)


def _connect(path: Path, mode: str, timeout_s: float) -> sqlite3.Connection:
    uri = f"{path.absolute().as_uri()}?{mode}"
    connection = sqlite3.connect(uri, uri=True, timeout=timeout_s, isolation_level=None)
    try:
        connection.text_factory = _TEXT
        connection.execute("PRAGMA trusted_schema = OFF")
        connection.execute("PRAGMA cell_size_check = ON")
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()  # reads the file
    except BaseException:
        connection.close()
        raise
    return connection


def _check_kind(path: Path, connection: sqlite3.Connection, *, create: bool, newest: int) -> None:
    """Whose database it is, and of which version."""
    number = int(connection.execute("PRAGMA application_id").fetchone()[0])
    version = version_of(connection)
    if number == 0 and version == 0 and not parts_of(connection):
        if not create:
            raise faults.empty(path)
        return
    if number != APPLICATION_ID:
        raise faults.other_program(path)
    if version > newest:
        raise faults.newer(path, version, newest)


def _set_up_writing(connection: sqlite3.Connection, timeout_s: float) -> None:
    give_up = time.monotonic() + timeout_s
    while True:
        try:
            mode = connection.execute("PRAGMA journal_mode = WAL").fetchone()[0]
            break
        except sqlite3.OperationalError as error:
            # SQLite does not wait here for another process that opens the same new file.
            if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY or time.monotonic() > give_up:
                raise
            time.sleep(_RETRY_S)
    if mode != "wal":
        raise sqlite3.OperationalError("no write-ahead log can be kept there")
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("PRAGMA journal_size_limit = 67108864")


def _check_parts(path: Path, connection: sqlite3.Connection, migrations: Migrations) -> None:
    """The tables must be this program's own, and no trigger may change what is written."""
    if version_of(connection) < len(migrations):
        raise faults.older(path)
    found, expected = parts_of(connection), expected_parts(migrations)
    for (kind, name), sql in expected.items():
        if found.get((kind, name)) != sql:
            raise faults.changed(path, f"the {kind} {name} is not as it was made")
    for kind, name in found:
        if kind == "trigger":
            raise faults.changed(path, f"it has a trigger {name}")
