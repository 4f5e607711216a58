"""Stores that are a stranger's, damaged, or where nothing can be written; serials that steer."""

from __future__ import annotations

import csv
import io
import json
import os
import shutil
import sqlite3
import subprocess
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from forked import forked
from made_outcomes import METHOD, change, outcome_of, session_of, three_instruments
from made_rounds import write_rounds
from schema_checks import faults, validator

from analyzer.lot.store import open_store

HOSTILE = [
    "\x1b[2J\x1b]0;title\x07",
    "a\nb\rc",
    "[bold red]A[/bold red]",
    "\u202egnp.exe",
    "=cmd|' /C calc'!A0",
    "<script>alert(1)</script>",
    "☃" * 3000,
    "-x",
]
HISTORY = validator("history")


def strange(path: Path, text: str) -> Path:
    """A store with this text wherever text may stand, its rows as SQLite lets anyone write them."""
    session = session_of(text, station=text, operator=text, place=text, recorded_at=text)
    later = session_of(text, recorded_s=2e9)
    with open_store(path, create=True) as store:
        store.add(store.begin(text), outcome_of(session, 1.0))
        store.add(store.begin(METHOD), outcome_of(later, 5.0))
    change(path, "UPDATE analyses SET instrument = ? WHERE id = 1", values=(text,))
    change(path, "UPDATE strings SET note = ?", values=(text,))
    change(
        path, "UPDATE strings SET reason = ?, error_cents = NULL WHERE string = 2", values=(text,)
    )
    return path


@pytest.mark.parametrize("columns", ["40", "200"])
@pytest.mark.parametrize("text", HOSTILE)
def test_no_text_steers_a_terminal(tmp_path, called, monkeypatch, text, columns) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    path = strange(tmp_path / "lot.sqlite", text)
    for words in (["--", text], ["--since", "2001-01-01"]):
        done = called("history", "--store", path, *words)
        assert (done.code, done.err) == (0, "")
        assert "\x1b" not in done.out
        assert all(line.isprintable() for line in done.out.split("\n"))
        assert "No analysis" not in done.out
    if "bold" in text:
        assert text in done.out  # as it is: no markup


@pytest.mark.parametrize("text", HOSTILE)
def test_no_text_is_more_than_text_in_tables_and_json(tmp_path, called, text) -> None:
    path = strange(tmp_path / "lot.sqlite", text)
    body = json.loads(called("history", "--store", path, "--json", "-", "--", text).out)
    assert faults(HISTORY, body) == []
    assert body["serial"] == body["analyses"][0]["station"] == text
    table = called("history", "--store", path, "--csv", "-", "--", text).out
    cells = {row["serial"] for row in csv.DictReader(io.StringIO(table))}
    assert len(cells) == 1
    assert not cells.pop().startswith(("=", "-", "\x1b"))
    page = tmp_path / "page.html"
    assert called("history", "--store", path, "--html", page, "-q", "--", text).code == 0
    assert "<script>alert" not in page.read_text(encoding="utf-8")


def test_an_unknown_serial_number_is_told_in_one_line(tmp_path, called) -> None:
    path = strange(tmp_path / "lot.sqlite", "A\x1b[31m-1")
    for serial in ("A\x1b[31m-2\n", "x" * 100_000, "\ud800", ""):
        done = called("history", "--store", path, "--", serial)
        assert (done.code, done.out, done.err.count("\n")) == (2, "", 1)
        assert done.err[:-1].isprintable()
        assert "has no serial number" in done.err
        assert len(done.err) < 2000


WRONG = [
    "UPDATE analyses SET recorded_s = 9e999 WHERE id = 2",
    "UPDATE analyses SET analyzed_s = 9e999 WHERE id = 2",
    "UPDATE decisions SET verdict = 'excellent' WHERE analysis = 2",
    "UPDATE decisions SET conformity_probability = -9e999 WHERE analysis = 2",
    "UPDATE strings SET error_cents = 9e999 WHERE analysis = 2 AND string = 3",
    "UPDATE strings SET error_uncertainty_cents = -9e999 WHERE analysis = 2 AND string = 3",
]


@pytest.mark.parametrize("sql", WRONG)
def test_a_row_that_cannot_be(tmp_path, called, sql) -> None:
    path = three_instruments(tmp_path)
    change(path, sql)
    for output in ([], ["--json", "-"], ["--csv", "-"]):
        done = called("history", "A-2", "--store", path, *output)
        assert (done.code, done.out, done.err.count("\n")) == (2, "", 1)
        assert "holds a damaged row of serial number A-2. Analyze its recordings again." in done.err
    assert called("history", "A-1", "--store", path).code == 0


def test_rows_of_other_types(tmp_path, called) -> None:
    """STRICT holds a writer to its types, and nobody who writes another schema first."""
    path = three_instruments(tmp_path)
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        (sql,) = connection.execute(
            "SELECT sql FROM sqlite_schema WHERE name = 'analyses'"
        ).fetchone()
        loose = sql.removesuffix(" STRICT")
        rewrite = "UPDATE sqlite_schema SET sql = ? WHERE name = 'analyses'"
        connection.execute("PRAGMA writable_schema = ON")
        connection.execute(rewrite, (loose,))
        connection.execute("PRAGMA writable_schema = RESET")
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("UPDATE analyses SET repeat = 'x', place = X'ff' WHERE id = 2")
        connection.execute("PRAGMA writable_schema = ON")
        connection.execute(rewrite, (sql,))
    done = called("history", "A-2", "--store", path)
    assert (done.code, done.out, done.err.count("\n")) == (2, "", 1)
    assert "holds a damaged row of serial number A-2" in done.err


def test_times_that_no_calendar_has(tmp_path, called) -> None:
    path = three_instruments(tmp_path)
    change(
        path,
        "UPDATE analyses SET recorded_at = 'yesterday', recorded_s = -9e300 WHERE id = 1",
        "UPDATE analyses SET analyzed_s = 9e300 WHERE id = 2",
        "UPDATE analyses SET recorded_at = NULL, recorded_s = NULL WHERE id = 3",
    )
    for serial in ("A-1", "A-2", "A-3"):
        assert called("history", serial, "--store", path).code == 0
        done = called("history", serial, "--store", path, "--json", "-")
        assert faults(HISTORY, json.loads(done.out)) == []
    listed = called("history", "--since", "1970-01-01", "--store", path)
    assert [line.split()[0] for line in listed.out.splitlines()[2:-1]] == ["A-1", "A-3", "A-2"]
    by_recording = called("history", "--since", "1970-01-01", "--by", "recorded", "--store", path)
    assert [line.split()[0] for line in by_recording.out.splitlines()[2:-1]] == ["A-2"]


def test_a_damaged_report_costs_its_own_outputs_only(tmp_path, called) -> None:
    path = three_instruments(tmp_path)
    change(path, "UPDATE reports SET body = X'00' WHERE analysis = 2")
    table = tmp_path / "a.csv"
    words = ("history", "A-2", "--store", path)
    for option in ("--report", "--html"):
        done = called(*words, option, tmp_path / "out", "--csv", table)
        assert (done.code, done.err.count("\n")) == (2, 1)
        assert "holds a damaged report of serial number A-2" in done.err
        assert done.out.splitlines()[-1].startswith("1 analysis of A-2")
        assert table.exists()
        assert not (tmp_path / "out").exists()
        table.unlink()


def test_a_file_that_is_damaged(tmp_path, called) -> None:
    path = three_instruments(tmp_path)
    content = bytearray(path.read_bytes())
    for start in range(4096, len(content), 4096):
        content[start : start + 4096] = np.random.default_rng(start).bytes(4096)
    path.write_bytes(content)
    for words in (["A-2"], ["--since", "2001-01-01"], ["nobody"]):
        done = called("history", *words, "--store", path)
        assert (done.code, done.out, done.err.count("\n")) == (2, "", 1)
    path.write_bytes(content[:1000])
    assert called("history", "A-2", "--store", path).code == 2


@pytest.fixture
def read_only_place(tmp_path) -> Iterator[Path]:
    """A folder with a store in which nothing can be written, not by root either."""
    place = tmp_path / "archive"
    place.mkdir()
    if os.geteuid() != 0:
        shutil.copy(checkpointed(tmp_path), place / "lot.sqlite")
        place.chmod(0o555)
        yield place
        place.chmod(0o755)
        return
    mount, umount = shutil.which("mount"), shutil.which("umount")
    made = [str(mount), "-t", "tmpfs", "-o", "size=4m", "tmpfs", str(place)]
    if mount is None or umount is None or subprocess.run(made, check=False).returncode:
        pytest.skip("no file system may be mounted here")
    try:
        shutil.copy(checkpointed(tmp_path), place / "lot.sqlite")
        if subprocess.run([mount, "-o", "remount,ro", str(place)], check=False).returncode:
            pytest.skip("no file system may be made read-only here")
        yield place
    finally:
        subprocess.run([umount, "--lazy", str(place)], check=True)


def checkpointed(folder: Path) -> Path:
    path = three_instruments(folder)
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return path


def test_a_place_where_nothing_can_be_written(read_only_place, run) -> None:
    done = run("history", "A-2", "--store", read_only_place)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.splitlines()[-1].startswith("1 analysis of A-2")
    assert [each.name for each in read_only_place.iterdir()] == ["lot.sqlite"]
    for name in ("", "new.sqlite", "new/place"):
        kept = run("analyze", "sample_audio/own_saddles", "--store", read_only_place / name)
        assert (kept.returncode, kept.stdout, kept.stderr.count("\n")) == (2, "", 1), name
        assert str(read_only_place) in kept.stderr


def test_a_store_that_is_being_written_is_read(tmp_path, called) -> None:
    path = three_instruments(tmp_path)
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        other.execute("DELETE FROM decisions")
        done = called("history", "A-2", "--store", path)
        other.execute("ROLLBACK")
    assert done.code == 0
    assert done.out.splitlines()[-1].startswith("1 analysis of A-2")


def test_names_of_folders_that_are_no_serial_numbers(tmp_path, run) -> None:
    (folder,) = write_rounds(tmp_path / "r")[:1]
    for name in (b"a\x1b[31mb", b"caf\xe9"):
        strange_folder = tmp_path / os.fsdecode(name)
        try:
            shutil.copytree(folder, strange_folder)
        except OSError:
            continue  # a file system that has only text
        words = ("analyze", strange_folder, "--store", tmp_path / "s", "--jobs", 1)
        done = run(*words)
        assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)
        assert done.stderr.strip().isprintable()
        assert "is no serial number" in done.stderr
        assert "Give one with --serial" in done.stderr
        assert run(*words, "--serial", "A-1").returncode == 0
        shutil.rmtree(strange_folder)
    # The same recordings, wherever they lay, are one analysis.
    assert "1 analysis of A-1" in run("history", "A-1", "--store", tmp_path / "s").stdout


def test_recordings_that_are_none_are_kept_as_left_out(tmp_path, called) -> None:
    """A pipe is not waited for, and what cannot be read is looked at again the next time."""
    (folder,) = write_rounds(tmp_path / "r")[:1]
    os.mkfifo(folder / "s2_open_7.wav")
    (folder / "s2_open_8.wav").mkdir()
    (folder / "s2_open_9.wav").symlink_to("nowhere")
    for _ in range(2):
        done = called("analyze", folder, "--store", tmp_path / "s", "--jobs", 1)
        assert (done.code, done.err) == (1, "")
    shown = called("history", folder.name, "--store", tmp_path / "s")
    assert "1: 3 of 11 recordings were left out." in shown.out


def no_room_for_a_page() -> None:
    """SQLite's own limit stands for the disk's: a store may not grow by another page."""
    real = sqlite3.connect

    def small(*words: Any, **options: Any) -> sqlite3.Connection:
        connection = real(*words, **options)
        pages = connection.execute("PRAGMA page_count").fetchone()[0]
        if pages:
            connection.execute(f"PRAGMA max_page_count = {pages}")
        return connection

    sqlite3.connect = small


def test_a_full_disk_costs_no_result(tmp_path) -> None:
    (folder,) = write_rounds(tmp_path / "r")[:1]
    words = ("analyze", folder, "--store", tmp_path / "s.sqlite", "--jobs", 1)
    done = forked(*words, prepare=no_room_for_a_page)
    assert done.code == 2
    assert done.out.splitlines()[-1].startswith("2 of 2 strings have a result")
    assert "the disk is full" in done.err
    assert done.err.count("\n") == 1
    again = forked(*words)
    assert (again.code, again.err) == (0, "")
