"""A watched folder: each instrument is measured once, when it is complete, and not before."""

from __future__ import annotations

import os
import shutil
import signal
import sys
import threading
from functools import partial
from pathlib import Path

import pytest
from forked import begin
from made_lots import made_lot

from analyzer.errors import UnusableInputError
from analyzer.lot import watch as looking
from analyzer.lot.analysis import Asked, lot_run, specification_of
from analyzer.lot.running.run import Done, LotRun
from analyzer.lot.store import FILE_NAME, open_store
from analyzer.lot.watch import (
    SETTLED_S,
    TOLD_AFTER_S,
    Waiting,
    Watch,
    event_in_words,
    watch,
)
from cli.watch import stopped_by_signals

ONE = Asked(jobs=1)


@pytest.fixture(scope="module")
def made(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("made") / "lot"
    made_lot(folder, 2, tuning=("E2", "A2"), rate_hz=11_025)
    return folder


class Clock:
    now_s = 1000.0

    def __call__(self) -> float:
        return self.now_s


@pytest.fixture
def folder(made, tmp_path) -> Path:
    """The lot's files, and no instrument yet."""
    place = tmp_path / "station"
    place.mkdir()
    for name in ("lot.toml", "instrument.toml"):
        shutil.copy(made / name, place)
    return place


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def watched(folder, tmp_path, clock) -> Watch:
    return Watch(str(folder), tmp_path / "out", ONE, clock)


@pytest.fixture
def run(folder, tmp_path):
    with (
        open_store(tmp_path / "out" / FILE_NAME, create=True) as store,
        lot_run("station", store, specification_of(str(folder), None), ONE) as found,
    ):
        yield found


def looks(watched: Watch, run: LotRun, clock: Clock, after_s: float) -> list:
    clock.now_s += after_s
    return list(watched.look(run))


def test_nothing_is_there_yet(watched, run, clock):
    assert looks(watched, run, clock, 0) == []
    assert looks(watched, run, clock, 2 * TOLD_AFTER_S) == []


def test_an_instrument_is_measured_once_when_it_is_complete(made, folder, watched, run, clock):
    files = sorted((made / "P00001").iterdir())
    (folder / "P00001").mkdir()
    for path in files[:-1]:
        shutil.copy(path, folder / "P00001")
        assert looks(watched, run, clock, SETTLED_S + 1) == []
    assert looks(watched, run, clock, SETTLED_S + 1) == []  # settled, but one note is missing
    shutil.copy(files[-1], folder / "P00001")
    assert looks(watched, run, clock, SETTLED_S + 1) == []  # complete, but it has just changed
    (done,) = looks(watched, run, clock, SETTLED_S + 1)
    assert (done.session.serial, done.measured) == ("P00001", 4)
    assert event_in_words(done).startswith(f"P00001: {done.decision.verdict}. ")
    assert looks(watched, run, clock, SETTLED_S + 1) == []


@pytest.mark.fault("a recording that is still being written")
def test_a_recording_that_still_grows_is_waited_for(made, folder, watched, run, clock):
    shutil.copytree(made / "P00001", folder / "P00001")
    growing = folder / "P00001" / "s1_open_1.wav"
    whole = growing.read_bytes()
    for part in range(1, 5):
        growing.write_bytes(whole[: part * len(whole) // 4])
        assert looks(watched, run, clock, SETTLED_S - 1) == []
    (done,) = looks(watched, run, clock, SETTLED_S)
    assert done.fault is None


def test_what_is_missing_is_said_once_after_a_while(made, folder, watched, run, clock):
    shutil.copytree(made / "P00001", folder / "P00001")
    (folder / "P00001" / "s2_f12_1.wav").unlink()
    assert looks(watched, run, clock, 0) == []
    (waiting,) = looks(watched, run, clock, TOLD_AFTER_S)
    assert isinstance(waiting, Waiting)
    assert event_in_words(waiting) == "P00001: waits for s2_f12."
    assert looks(watched, run, clock, TOLD_AFTER_S) == []
    assert watched.waiting() == 1


def test_a_new_take_is_measured_and_decided_again(made, folder, watched, run, clock):
    shutil.copytree(made / "P00001", folder / "P00001")
    looks(watched, run, clock, 0)
    (first,) = looks(watched, run, clock, SETTLED_S)
    shutil.copy(made / "P00002" / "s2_open_1.wav", folder / "P00001" / "s2_open_2.wav")
    looks(watched, run, clock, 1)
    (second,) = looks(watched, run, clock, SETTLED_S)
    assert (first.measured, second.measured) == (4, 1)


def test_a_table_beside_makes_it_complete(made, folder, watched, run, clock):
    (folder / "P00001").mkdir()
    shutil.copy(made / "P00001" / "s2_open_1.wav", folder / "P00001" / "a.wav")
    table = "file,start_s,end_s,string,fret\na.wav,,,2,open\n"
    (folder / "P00001" / "takes.csv").write_text(table)
    looks(watched, run, clock, 0)
    (done,) = looks(watched, run, clock, SETTLED_S)
    assert isinstance(done, Done)
    assert done.decision.verdict == "not decided"


def test_a_folder_that_stays_empty_is_told_of_once(folder, watched, run, clock):
    (folder / "P00009").mkdir()
    assert looks(watched, run, clock, 0) == []
    (fault,) = looks(watched, run, clock, TOLD_AFTER_S)
    assert "holds no recording" in event_in_words(fault)
    assert looks(watched, run, clock, TOLD_AFTER_S) == []


class StopAfter(threading.Event):
    """Set after so long by the clock, which only waiting moves."""

    def __init__(self, clock: Clock, after_s: float) -> None:
        super().__init__()
        self._clock, self._end_s = clock, clock.now_s + after_s

    def wait(self, timeout: float | None = None) -> bool:
        self._clock.now_s += timeout or 0.0
        if self._clock.now_s >= self._end_s:
            self.set()
        return self.is_set()


def test_what_is_known_is_counted_and_not_measured_again(
    made, folder, tmp_path, clock, monkeypatch
):
    monkeypatch.setattr("analyzer.lot.watch.Watch", partial(Watch, now_s=clock))
    shutil.copytree(made / "P00001", folder / "P00001")
    for known in (0, 1):
        told: list[object] = []
        stop = StopAfter(clock, 3 * SETTLED_S)
        tally = watch(str(folder), tmp_path / "out", ONE, stop, told.append)
        assert len(told) == 1 - known
        assert tally.known == known
        assert tally.complete


@pytest.mark.fault("a folder to watch that is not there")
def test_a_folder_that_is_not_there_is_one_line(tmp_path):
    with pytest.raises(UnusableInputError, match=r"nowhere: is not there\. Give the folder"):
        watch(str(tmp_path / "nowhere"), tmp_path / "out", ONE, threading.Event(), print)


@pytest.mark.parametrize(("number", "strict"), [(signal.SIGTERM, True), (signal.SIGINT, False)])
@pytest.mark.fault("a signal while a folder is watched")
def test_the_command_ends_cleanly_on_a_signal(made, folder, tmp_path, number, strict):
    shutil.copytree(made / "P00001", folder / "P00001")
    (folder / "lot.toml").write_text("[error]\nlower_cents = 40.0\ntarget_cents = 50.0\n")

    def hurry() -> None:
        looking.SETTLED_S, looking.LOOK_EVERY_S = 0.0, 0.05

    reading, writing = os.pipe()
    words = ("watch", folder, "--out", tmp_path / "out", "--jobs", 1)
    more = ["--strict"] if strict else []
    running = begin(*words, *more, stdout=writing, prepare=hurry)
    os.close(writing)
    with os.fdopen(reading, encoding="utf-8") as told:
        line = told.readline()
        os.kill(running.pid, number)
        rest = told.read()
    done = running.wait()
    assert "P00001: not conform." in line
    assert rest.startswith("Stopped. 1 measured: 0 conform, 1 not conform, 0 not decided;")
    assert done.err == f"watching {folder}, 0 analyses known; Ctrl-C ends\n"
    assert done.code == (1 if strict else 0)


TOLD, NO_SUCH_LINE = 0, 2


def told_in_line(number: int) -> int:
    """How a fork ends that is told to stop while it is in this line of waiting for just that."""
    pid = os.fork()
    if pid:
        return os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])
    lines = 0

    def trace(_frame: object, event: str, _found: object) -> object:
        nonlocal lines
        lines += event == "line"
        if event == "line" and lines == number:
            signal.raise_signal(signal.SIGINT)
        return trace

    told = False
    try:
        signal.alarm(60)  # the end of one that waits for itself
        stop = stopped_by_signals()
        sys.settrace(trace)
        stop.wait(0.02)
        sys.settrace(None)
        told = lines >= number and stop.wait(50.0)
    finally:
        os._exit(TOLD if told else NO_SUCH_LINE if lines < number else 1)


@pytest.mark.filterwarnings("ignore::DeprecationWarning")  # of forks beside threads
@pytest.mark.fault("a signal while a watch waits for one, in any line of it")
def test_a_signal_is_never_waited_for_by_itself():
    ends = [told_in_line(1)]
    while ends[-1] == TOLD:
        ends.append(told_in_line(len(ends) + 1))
    assert ends[-1] == NO_SUCH_LINE
    assert len(ends) > 15  # what Python's own wait is made of
