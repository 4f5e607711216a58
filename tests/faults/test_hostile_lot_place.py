"""Files that are no store, and a store in trouble: locked, full, read-only, of another version."""

from __future__ import annotations

import errno
import os
import shutil
import sqlite3
import subprocess
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
from made_outcomes import (
    LOT,
    add_one,
    change,
    refused,
    three_instruments,
)

from analyzer.errors import UnusableInputError
from analyzer.lot.store import open_store
from analyzer.lot.store.schema import APPLICATION_ID, MIGRATIONS


@pytest.fixture
def path(tmp_path) -> Path:
    return three_instruments(tmp_path)


@pytest.mark.parametrize(
    "content",
    [
        b"serial,file\nA-1,s6_open_1.wav\n",
        np.random.default_rng(7).bytes(20_000),  # as an encrypted file looks
        b"SQLite format 3\x00" + np.random.default_rng(8).bytes(20_000),
        b"\x00" * 5000,
        b"x",
    ],
)
def test_a_file_that_is_no_database(tmp_path, content) -> None:
    path = tmp_path / "lot.sqlite"
    path.write_bytes(content)
    for create in (True, False):
        line = refused(path, create=create)
        assert "is no database of this program. Move it away" in line or "is damaged" in line
    assert path.read_bytes() == content


def test_a_database_of_another_program(tmp_path) -> None:
    path = tmp_path / "lot.sqlite"
    change(path, "CREATE TABLE songs (title TEXT)")
    assert "is the database of another program. Move it away" in refused(path)
    change(path, "PRAGMA application_id = 1234")
    assert "is the database of another program" in refused(path, create=False)
    change(path, "DROP TABLE songs")
    assert "is the database of another program" in refused(path)


def test_a_file_from_a_newer_version(path) -> None:
    change(path, "PRAGMA user_version = 99")
    known = len(MIGRATIONS)
    for options in ({}, {"create": False}, {"create": False, "read_only": True}):
        line = refused(path, **options)
        assert f"version 99 of its tables; this one knows up to {known}" in line
        assert "Update pluckcheck, or give another place for the results." in line


def test_an_older_file_that_cannot_be_brought_up_to_date(tmp_path) -> None:
    path = tmp_path / "lot.sqlite"
    change(path, f"PRAGMA application_id = {APPLICATION_ID}", "CREATE TABLE early (x TEXT)")
    line = refused(path, create=False, read_only=True)
    assert "by an earlier pluckcheck and can only be read here" in line


def test_there_is_nothing_to_read(tmp_path) -> None:
    path = tmp_path / "lot.sqlite"
    assert "does not exist" in refused(path, create=False)
    assert not path.exists()
    path.touch()
    assert "is empty" in refused(path, create=False)
    open_store(path, create=True).close()  # which fills an empty file


def test_places_that_are_none(tmp_path) -> None:
    (tmp_path / "file").touch()
    assert "Give a folder that exists or can be made" in refused(tmp_path / "file" / "lot.sqlite")
    assert "is no file" in refused(tmp_path)
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe")
        assert "is no file" in refused(tmp_path / "pipe")  # and nobody waits for it


def test_a_file_that_may_not_be_read(path, monkeypatch) -> None:
    """Whoever runs the tests may read everything, perhaps: the system's answer is made up."""

    def denied(*_: object, **__: object) -> None:
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))

    monkeypatch.setattr(Path, "open", denied)
    assert "cannot be opened (Permission denied)" in refused(path, create=False)


def test_names_that_an_address_would_read_otherwise(tmp_path) -> None:
    for name in ("50 % ?mode=memory#x.sqlite", "häuf.sqlite"):
        with open_store(tmp_path / name, create=True) as store:
            add_one(store)
        assert (tmp_path / name).stat().st_size > 0


def test_locked_for_too_long(path) -> None:
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with open_store(path, create=False, busy_timeout_s=0.05) as store:
            assert len(store.sessions_frame(LOT)) == 3  # reading goes on meanwhile
            with pytest.raises(UnusableInputError, match=r"locked by another process for 0\.05 s"):
                add_one(store, "A-4")
        other.execute("ROLLBACK")
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("PRAGMA locking_mode = EXCLUSIVE")
        other.execute("PRAGMA journal_mode = DELETE")
        other.execute("BEGIN EXCLUSIVE")
        assert "locked by another process" in refused(path, create=False, busy_timeout_s=0.05)


def filled(store) -> tuple[list[tuple], str]:
    """Add until no more can be: what was there before the last try, and how that failed."""
    for number in range(1000):
        before = list(store.dump())
        try:
            add_one(store, f"B-{number}")
        except UnusableInputError as error:
            return before, str(error)
    raise AssertionError("never full")


def full_then_free(store, free) -> None:
    """Fill it: nothing half-written; then free some, and go on."""
    before, line = filled(store)
    assert line == (
        f"{store.path}: cannot grow: the disk is full. Free some space and run again: what was "
        "finished is kept."
    )
    # The run was begun, perhaps; of the instrument there is nothing.
    assert list(store.dump()) == before
    free()
    analysis, outcome = add_one(store, "C-1")
    assert store.stored_report(analysis) == outcome.report


def test_a_full_disk_as_sqlite_tells_it(path) -> None:
    with open_store(path, create=False) as store:
        connection = store._database._connection
        (pages,) = connection.execute("PRAGMA page_count").fetchone()
        connection.execute(f"PRAGMA max_page_count = {pages + 40}")
        full_then_free(store, lambda: connection.execute("PRAGMA max_page_count = 100000"))


@pytest.fixture
def small_disk(tmp_path):
    """A file system of 1 MB, where this may be made."""
    place = tmp_path / "disk"
    place.mkdir()
    mount, umount = shutil.which("mount"), shutil.which("umount")
    if mount is None or umount is None:
        pytest.skip("no mount here")
    made = [mount, "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(place)]
    if subprocess.run(made, capture_output=True, check=False).returncode != 0:
        pytest.skip("no file system may be mounted here")
    yield place
    subprocess.run([umount, "--lazy", str(place)], check=True)


def test_a_full_disk(small_disk) -> None:
    other = small_disk / "other"
    other.write_bytes(b"x" * 400_000)
    with open_store(small_disk / "lot.sqlite", create=True) as store:
        full_then_free(store, other.unlink)
    with open_store(small_disk / "lot.sqlite", create=False) as store:
        assert store.history_of("C-1")


def test_a_full_disk_has_no_room_for_a_new_store(small_disk) -> None:
    (small_disk / "other").write_bytes(b"x" * (2**20 - 4096))
    assert "disk" in refused(small_disk / "lot.sqlite")


def test_a_read_only_place(small_disk) -> None:
    path = small_disk / "lot.sqlite"
    with open_store(path, create=True) as store:
        analysis, outcome = add_one(store)
    again = [shutil.which("mount"), "-o", "remount,ro", str(small_disk)]
    if subprocess.run(again, capture_output=True, check=False).returncode != 0:
        pytest.skip("no file system may be made read-only here")
    line = refused(path)
    assert "cannot be written" in line or "cannot be opened" in line
    assert "Make it writable, or give another place for the results." in line
    with open_store(path, create=False, read_only=True) as store:
        assert store.stored_report(analysis) == outcome.report
        with pytest.raises(UnusableInputError, match="cannot be written"):
            add_one(store, "A-2")
    assert "cannot be opened (Read-only file system)" in refused(small_disk / "new" / "lot.sqlite")
