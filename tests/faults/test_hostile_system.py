"""Signals in mid-run, clocks set back, missing libraries, broken caches, two runs at once."""

from __future__ import annotations

import itertools
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from contextlib import closing
from pathlib import Path

import psutil
import pytest
from conftest import ROOT
from forked import begin, forked, is_refusal
from made_lots import made_lot, stored
from rights import lay_down_for_good
from two_rounds import BEFORE, write_round

from analyzer import analysis
from analyzer.lot.running import work
from analyzer.lot.store import FILE_NAME, open_store

SERIALS = ("P00001", "P00002", "P00003")
CODES = {signal.SIGINT: 130, signal.SIGTERM: 143}  # as shells count them


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    return write_round(tmp_path_factory.mktemp("made") / "round", BEFORE)


@pytest.fixture(scope="module")
def lot(tmp_path_factory) -> Path:
    place = tmp_path_factory.mktemp("made") / "lot"
    return made_lot(place, len(SERIALS), tuning=("A2",), rate_hz=11_025).folder


def analyses(out: Path, serials=SERIALS) -> list[int]:
    with open_store(out / FILE_NAME, create=False, read_only=True) as store:
        return [len(store.history_of(each)) for each in serials]


# Signals


def stuck(module, started: Path, at: str):
    """In a fork: the measurement of a file under ``at`` begins, says so, and never ends."""
    real = module.measure_file

    def measure_file(path: Path, *words: object, **options: object) -> object:
        if at not in str(path):
            return real(path, *words, **options)
        started.touch()
        return time.sleep(3600)

    return lambda: setattr(module, "measure_file", measure_file)


def sent(running, number: int, started: Path):
    while not started.exists():
        time.sleep(0.01)
    os.kill(running.pid, number)
    return running.wait()


@pytest.mark.parametrize("number", CODES)
def test_a_signal_while_recordings_are_measured(folder, tmp_path, number) -> None:
    """The report from before stays, and nothing else is there."""
    report, started = tmp_path / "r.json", tmp_path / "started"
    report.write_text("from before", encoding="utf-8")
    words = ("analyze", folder, "--jobs", 1, "--json", report, "--html", tmp_path / "page.html")
    running = begin(*words, prepare=stuck(analysis, started, "s1_open_2"))
    done = sent(running, number, started)
    assert (done.code, done.out, done.err) == (CODES[number], "", "pluckcheck: stopped.\n")
    assert report.read_text(encoding="utf-8") == "from before"
    assert {each.name for each in tmp_path.iterdir()} == {"r.json", "started"}


@pytest.mark.parametrize("number", CODES)
def test_a_signal_while_a_lot_is_measured(lot, tmp_path, number) -> None:
    """What was finished is kept, what was begun is not there, and the next run goes on."""
    started, out = tmp_path / "started", tmp_path / "out"
    words = ("lot", lot, "--out", out, "--jobs", 1)
    running = begin(*words, prepare=stuck(work, started, "P00002"))
    done = sent(running, number, started)
    assert (done.code, done.out, done.err) == (
        CODES[number],
        "",
        "pluckcheck: stopped. Give it again to go on.\n",
    )
    assert analyses(out, ("P00001",)) == [1]
    again = forked(*words)
    assert (again.code, again.err) == (0, "")
    assert "2 measured and 1 known before" in again.out
    assert analyses(out) == [1, 1, 1]


def test_a_terminated_run_leaves_no_process_behind(folder, tmp_path) -> None:
    """Ctrl-C goes to all processes of a terminal; TERM goes to one, which has to end the others."""
    started = tmp_path / "started"
    prepare = stuck(analysis, started, "open")
    running = begin("analyze", folder, "--jobs", 2, prepare=prepare)
    done = sent(running, signal.SIGTERM, started)
    is_refusal(done, "stopped.", code=143)
    while True:  # the last of them may take a moment; that it ends is what is asked
        try:
            os.killpg(running.pid, 0)
        except ProcessLookupError:
            break
        time.sleep(0.05)


@pytest.mark.parametrize("number", CODES)
def test_a_signal_while_a_report_is_written(folder, tmp_path, number) -> None:
    """Just before the finished file takes its place."""
    report = tmp_path / "r.json"
    report.write_text("from before", encoding="utf-8")

    def prepare() -> None:
        def replace(*_: object) -> None:
            os.kill(os.getpid(), number)

        Path.replace = replace  # type: ignore[method-assign,assignment]

    done = forked("analyze", folder, "--jobs", 1, "--json", report, prepare=prepare)
    is_refusal(done, "stopped.", code=CODES[number])
    assert [each.name for each in tmp_path.iterdir()] == ["r.json"]
    assert report.read_text(encoding="utf-8") == "from before"


# Clocks


def test_a_clock_that_runs_backwards_while_a_lot_runs(lot, called, tmp_path, monkeypatch) -> None:
    """Every look at it shows a minute less: all is measured, once, and no time is below nought."""
    backwards = itertools.count(time.time(), -60)
    monkeypatch.setattr(time, "time", lambda: next(backwards))
    done = called("lot", lot, "--out", tmp_path, "--jobs", 1)
    assert (done.code, done.err) == (0, "")
    assert "3 measured and 0 known before, in -" not in done.out
    assert analyses(tmp_path) == [1, 1, 1]


def test_a_clock_set_back_between_two_runs_of_a_lot(lot, called, tmp_path, monkeypatch) -> None:
    now_s = time.time()
    shutil.copytree(lot, tmp_path / "lot")
    shutil.rmtree(tmp_path / "lot" / "P00003")
    words = ("lot", tmp_path / "lot", "--out", tmp_path / "out", "--jobs", 1)
    monkeypatch.setattr(time, "time", lambda: now_s + 7200)
    assert called(*words).code == 0
    shutil.copytree(lot / "P00003", tmp_path / "lot" / "P00003")
    monkeypatch.setattr(time, "time", lambda: now_s)
    done = called(*words)
    assert (done.code, done.err) == (0, "")
    said = " ".join(done.out.split())
    assert "1 measured and 2 known before" in said
    assert "clock" in said
    assert analyses(tmp_path / "out") == [1, 1, 1]


# Libraries that are not installed


def missing(*names: str):
    def hide() -> None:
        for name in names:
            for each in [each for each in sys.modules if each.startswith(f"{name}.")]:
                del sys.modules[each]
            sys.modules[name] = None  # type: ignore[assignment]

    return hide


MISSING = {
    "pyarrow": (["analyze", "{folder}", "--csv", "{tmp}/t.parquet"], "parquet", 2),
    "matplotlib": (["analyze", "{folder}", "--plots", "{tmp}/p"], "plots", 2),
    "distributed": (["lot", "{lot}", "--out", "{tmp}/o", "--scheduler", "tcp://x:1"], "cluster", 2),
    "fsspec": (["lot", "file://{lot}", "--out", "{tmp}/o"], "cluster", 2),
    "av": (["analyze", "{tmp}/phone"], "phone", 1),
}


@pytest.mark.parametrize("name", MISSING)
def test_a_library_that_is_not_installed(folder, lot, tmp_path, name) -> None:
    """One line that says what to install."""
    words, extra, code = MISSING[name]
    (tmp_path / "phone").mkdir()
    mp4 = b"\0\0\0\x18ftypM4A \0\0\0\0M4A mp42isom"  # as ISO 14496-12 has its first box
    (tmp_path / "phone" / "s6_open_1.m4a").write_bytes(mp4 + bytes(5000))
    given = [each.format(folder=folder, lot=lot, tmp=tmp_path) for each in words]
    done = forked(*given, prepare=missing(name))
    said = " ".join((done.err if code == 2 else done.out).split())
    assert f"not installed. Install it with: pip install 'pluckcheck[{extra}]'" in said or (
        f"Install the extra: pip install 'pluckcheck[{extra}]'" in said
    )
    assert done.code == code
    assert done.err.count("\n") == (code == 2)


def test_a_table_of_a_lot_in_parquet_without_its_library(tmp_path) -> None:
    table = tmp_path / "lot.parquet"
    table.write_bytes(b"PAR1")
    done = forked("lot", table, "--out", tmp_path / "o", prepare=missing("pyarrow"))
    is_refusal(done, "lot.parquet", "not installed", "pip install 'pluckcheck[parquet]'")


# Caches, home, temporary files, stores


def test_no_home_and_no_cache_that_can_be_written(folder, tmp_path) -> None:
    """Everything that compiles, or keeps fonts, does so once more and says nothing.

    What lists the fonts of the system complains of a cache that it cannot write, as here.
    """
    closed = tmp_path / "closed"
    closed.mkdir(mode=0o555)
    lister = tmp_path / "bin" / "fc-list"
    lister.parent.mkdir()
    lister.write_text(
        "#!/bin/sh\necho 'write cache: No space left on device' >&2\n", encoding="ascii"
    )
    lister.chmod(0o755)
    names = ("NUMBA_CACHE_DIR", "MPLCONFIGDIR", "XDG_CACHE_HOME", "XDG_CONFIG_HOME", "TMPDIR")
    environment = {**os.environ, **dict.fromkeys(names, str(closed)), "HOME": "/nonexistent"}
    environment["PATH"] = os.pathsep.join((str(lister.parent), os.environ["PATH"]))
    words = ["analyze", str(folder), "--jobs", "1", "-q", "--plots", str(tmp_path / "figures")]
    done = subprocess.run(
        [sys.executable, "-m", "cli", *words],
        preexec_fn=lay_down_for_good,
        env=environment,
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
    assert list(closed.iterdir()) == []
    assert len(list((tmp_path / "figures").iterdir())) > 2


@pytest.fixture
def no_room(monkeypatch) -> None:
    monkeypatch.setattr(tempfile, "tempdir", None)
    monkeypatch.setattr(tempfile, "_candidate_tempdir_list", lambda: ["/nonexistent"])


@pytest.mark.usefixtures("no_room")
def test_nowhere_for_temporary_files(folder, called, tmp_path) -> None:
    """Trusted sound is read where it lies; a stranger's needs room, and the line says so."""
    book = ("--xlsx", tmp_path / "r.xlsx", "--html", tmp_path / "r.html")
    done = called("analyze", folder, "--jobs", 1, "-q", *book)
    assert (done.code, done.err) == (0, "")
    done = called("analyze", folder, "--jobs", 1, "--untrusted")
    assert (done.code, done.err) == (1, "")
    said = " ".join(done.out.split())
    assert "s1_open_1.wav: has no temporary file to be decoded into (" in said
    assert "set TMPDIR to a folder that has it." in said
    assert "bug report" not in said


@pytest.mark.usefixtures("no_room")
def test_nowhere_for_what_lies_behind_a_url(lot, called, tmp_path) -> None:
    done = called("lot", f"file://{lot}", "--out", tmp_path, "--jobs", 1)
    is_refusal(done, "TMPDIR")


@pytest.mark.parametrize("command", ["lot", "analyze", "history", "station", "watch"])
def test_a_store_that_is_broken(folder, lot, tmp_path, command) -> None:
    """It is named, and stays as it is for whoever can mend it."""
    path = tmp_path / FILE_NAME
    content = b"SQLite format 3\x00" + bytes(range(256)) * 40
    path.write_bytes(content)
    words = {
        "lot": (lot, "--out", tmp_path),
        "analyze": (folder, "--store", tmp_path, "--serial", "D-7"),
        "history": ("P00001", "--store", tmp_path),
        "station": (lot / "P00001", "--store", tmp_path, "--station", "1"),
        "watch": (lot, "--out", tmp_path),
    }[command]
    is_refusal(forked(command, *words), str(path), "Move it away, or give another place")
    assert path.read_bytes() == content


# Two runs at once


def test_two_runs_of_one_lot_and_one_of_another_into_one_folder(lot, tmp_path) -> None:
    """Each ends well, every output is whole, and the store is as after one run after another."""
    other, out = tmp_path / "other", tmp_path / "out"
    shutil.copytree(lot, other)
    for serial in SERIALS:
        (other / serial).rename(other / f"Q{serial}")
    places = (lot, lot, other)
    running = [
        begin("lot", place, "--out", out, "--jobs", 1, "--json", out / f"{n}.json", "-q")
        for n, place in enumerate(places)
    ]
    for each in running:
        each.wait()
        assert (each.code, each.err) == (0, "")
    assert analyses(out, [*SERIALS, *(f"Q{each}" for each in SERIALS)]) == [1] * 6
    names = {each.name for each in out.iterdir()} - {f"{FILE_NAME}-wal", f"{FILE_NAME}-shm"}
    assert names == {FILE_NAME, "lot.html", "0.json", "1.json", "2.json"}
    assert forked("lot", lot, "--out", tmp_path / "alone", "--jobs", 1, "-q").code == 0
    frames = []
    for place in (out, tmp_path / "alone"):
        with closing(open_store(place / FILE_NAME, create=False, read_only=True)) as store:
            frames.append(store.values_frame(str(lot))["value_cents"].to_list())
    assert frames[0] == frames[1]
    assert len(frames[0]) > 0


def test_two_reports_into_one_file_at_once(folder, tmp_path) -> None:
    """One of the two stands there, whole."""
    page = tmp_path / "page.html"
    running = [begin("analyze", folder, "--jobs", 1, "-q", "--html", page) for _ in range(2)]
    assert [each.wait().code for each in running] == [0, 0]
    assert page.read_text(encoding="utf-8").rstrip().endswith("</html>")
    assert [each.name for each in tmp_path.iterdir()] == ["page.html"]


@pytest.mark.skipif(os.name == "nt", reason="no SIGKILL")
def test_workers_end_with_a_run_that_was_killed(lot, tmp_path) -> None:
    """Nothing can be said or tidied up by a run that is killed; its processes see it gone."""
    running = begin("lot", lot, "--out", tmp_path, "--jobs", 2, "-q")
    own: list[psutil.Process] = []
    while not stored(tmp_path) and not running.ended():
        own = psutil.Process(running.pid).children(recursive=True)
        time.sleep(0.05)
    os.kill(running.pid, signal.SIGKILL)
    assert len(own) >= 2
    _, left = psutil.wait_procs(own, timeout=60)
    assert left == []
    assert running.wait().code == -signal.SIGKILL
