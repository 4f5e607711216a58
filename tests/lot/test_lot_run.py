"""A run over a lot: nothing lost, nothing measured twice, one content however it was reached."""

from __future__ import annotations

import os
import shutil
import signal
import time
from pathlib import Path
from typing import Any

import pytest
from forked import begin
from made_lots import MadeLot, made_lot, stored

from analyzer.errors import UnusableInputError
from analyzer.lot.analysis import Asked, LotResult, analyze_lot
from analyzer.lot.records import Outcome, Session, Task
from analyzer.lot.running import pool, work
from analyzer.lot.running.pool import Workers, workers
from analyzer.lot.store import FILE_NAME, open_store

ONE = Asked(jobs=1)


@pytest.fixture(scope="module")
def lot(tmp_path_factory) -> MadeLot:
    """Four instruments of two strings whose errors are known: few recordings are quick."""
    folder = tmp_path_factory.mktemp("made") / "lot"
    return made_lot(folder, 4, tuning=("E2", "A2"), rate_hz=11_025)


@pytest.fixture
def own_lot(lot, tmp_path) -> MadeLot:
    """The same, to change."""
    folder = tmp_path / "lot"
    shutil.copytree(lot.folder, folder)
    return MadeLot(folder, lot.serials, lot.errors_cents)


def over(lot: MadeLot, out: Path, asked: Asked = ONE) -> LotResult:
    return analyze_lot(str(lot.folder), out, asked)


def dumped(out: Path) -> list:
    with open_store(out / FILE_NAME, create=False, read_only=True) as store:
        return list(store.dump())


def test_values_are_the_truth(lot, tmp_path):
    result = over(lot, tmp_path)
    values = result.values.set_index(["serial", "string"])["value_cents"]
    for serial, errors in zip(lot.serials, lot.errors_cents, strict=True):
        for string, error in zip((2, 1), errors, strict=True):
            assert values[serial, string] == pytest.approx(error, abs=0.05)
    assert (result.measured, result.kept) == (4, 0)
    assert result.complete


def test_the_verdicts_are_those_of_the_truth_where_they_are_sure(lot, tmp_path):
    (lot.folder / "lot.toml").write_text("[error]\nplus_minus_cents = 3.0\n")
    sessions = over(lot, tmp_path).sessions.set_index("serial")
    for serial, errors in zip(lot.serials, lot.errors_cents, strict=True):
        keeps = max(abs(errors)) <= 3.0
        assert sessions.loc[serial, "verdict"] in {
            "conform" if keeps else "not conform",
            "not decided",
        }


def test_two_processes_write_what_one_does(lot, tmp_path):
    over(lot, tmp_path / "one")
    over(lot, tmp_path / "two", Asked(jobs=2))
    assert dumped(tmp_path / "one") == dumped(tmp_path / "two")


def test_the_second_time_nothing_is_measured(lot, tmp_path, monkeypatch):
    over(lot, tmp_path)
    before = dumped(tmp_path)
    monkeypatch.setattr(work, "measure_file", None)  # whoever calls it fails
    result = over(lot, tmp_path)
    assert (result.measured, result.kept) == (0, 4)
    assert not result.summary.faults
    assert dumped(tmp_path) == before


def test_one_new_take_is_all_that_is_measured(own_lot, tmp_path, monkeypatch):
    out = tmp_path / "out"
    over(own_lot, out)
    folder = own_lot.folder / "P00002"
    shutil.copy(own_lot.folder / "P00003" / "s2_open_1.wav", folder / "s2_open_2.wav")
    seen = counted_measurements(monkeypatch)
    result = over(own_lot, out)
    assert seen == ["s2_open_2.wav"]
    assert (result.measured, result.kept) == (1, 3)


def counted_measurements(monkeypatch) -> list[str]:
    seen: list[str] = []
    real = work.measure_file

    def measure_file(path: Path, *rest: Any) -> Any:
        seen.append(path.name)
        return real(path, *rest)

    monkeypatch.setattr(work, "measure_file", measure_file)
    return seen


def test_a_lot_that_was_moved_is_known_by_its_content(own_lot, tmp_path, monkeypatch):
    out = tmp_path / "out"
    over(own_lot, out)
    moved = MadeLot(tmp_path / "elsewhere", own_lot.serials, own_lot.errors_cents)
    shutil.copytree(own_lot.folder, moved.folder, copy_function=shutil.copyfile)  # new times
    seen = counted_measurements(monkeypatch)
    result = over(moved, out)
    assert seen == []
    assert (result.measured, result.kept) == (0, 4)


def test_a_changed_recording_is_measured_even_if_it_looks_the_same(own_lot, tmp_path, monkeypatch):
    out = tmp_path / "out"
    over(own_lot, out)
    target = own_lot.folder / "P00001" / "s1_open_1.wav"
    source = own_lot.folder / "P00004" / "s1_open_1.wav"
    times = target.stat()
    target.write_bytes(source.read_bytes())  # of the same length
    os.utime(target, ns=(times.st_atime_ns, times.st_mtime_ns))
    seen = counted_measurements(monkeypatch)
    over(own_lot, out)
    assert seen == []  # size and time say that it is the same: what --read-again is for
    result = over(own_lot, out, Asked(jobs=1, read_again=True))
    assert seen == ["s1_open_1.wav"]
    assert (result.measured, result.kept) == (1, 3)


def test_another_instrument_file_makes_all_figures_old(own_lot, tmp_path):
    out = tmp_path / "out"
    over(own_lot, out)
    path = own_lot.folder / "instrument.toml"
    path.write_text(path.read_text().replace("647.7", "628.0"))
    assert over(own_lot, out).measured == 4


def test_other_limits_decide_again_and_measure_nothing(own_lot, tmp_path, monkeypatch):
    out = tmp_path / "out"
    first = over(own_lot, out)
    assert first.summary.not_conform < 4
    monkeypatch.setattr(work, "measure_file", None)
    (own_lot.folder / "lot.toml").write_text(
        "[error]\nlower_cents = 20.0\nupper_cents = 30.0\ntarget_cents = 25.0\n"
    )
    second = over(own_lot, out)
    assert second.summary.not_conform == 4
    assert list(second.named()) == ["Do not conform: P00001, P00002, P00003, P00004."]
    assert second.measured == 0
    assert not over(own_lot, out, Asked(jobs=1, strict=True)).complete


def test_what_left_the_lot_is_no_part_of_it_but_stays_in_the_store(own_lot, tmp_path):
    out = tmp_path / "out"
    over(own_lot, out)
    shutil.rmtree(own_lot.folder / "P00004")
    assert over(own_lot, out).summary.counts.instruments == 3
    with open_store(out / FILE_NAME, create=False) as store:
        assert [each.serial for each in store.history_of("P00004")] == ["P00004"]


@pytest.mark.fault("one spoiled instrument of a lot")
def test_one_spoiled_instrument_costs_no_other(own_lot, tmp_path):
    (own_lot.folder / "P00002" / "instrument.toml").write_text("[instrument]\nname = 3\n")
    for path in (own_lot.folder / "P00003").glob("*.wav"):
        path.write_bytes(b"RIFF")
    result = over(own_lot, tmp_path / "out")
    (fault,) = result.summary.faults
    assert fault.where == "P00002"
    assert "instrument.toml" in fault.reason
    assert result.summary.counts.instruments == 3
    assert result.summary.counts.left_out == 4
    assert not result.complete


def test_a_lot_without_limits_says_what_to_write(own_lot, tmp_path):
    (own_lot.folder / "lot.toml").unlink()
    with pytest.raises(UnusableInputError, match=r"has no lot\.toml.*plus_minus_cents = 3\.0"):
        over(own_lot, tmp_path / "out")


@pytest.mark.fault("recordings that change while they are read")
def test_recordings_that_change_while_they_are_read_are_not_kept(own_lot, monkeypatch):
    real = work.measure_file

    def measure_file(path: Path, *rest: Any) -> Any:
        path.touch()
        return real(path, *rest)

    monkeypatch.setattr(work, "measure_file", measure_file)
    session = Session("P00001", str(own_lot.folder / "P00001"), ("s1_open_1.wav",))
    outcome = work.measure_session(Task(session), work.Settings(work.method_version()))
    assert outcome.report is None
    assert "changed while they were read" in (outcome.reason or "")


@pytest.mark.fault("a worker of another version")
def test_a_worker_of_another_version_is_refused(own_lot):
    session = Session("P00001", str(own_lot.folder / "P00001"), ("s1_open_1.wav",))
    with pytest.raises(UnusableInputError, match=r"has a worker of another version: .*, not older"):
        work.measure_session(Task(session), work.Settings("older"))


@pytest.mark.fault("a run that is killed (KILL)")
def test_a_run_that_is_killed_goes_on_where_it_was(lot, tmp_path):
    over(lot, tmp_path / "whole")
    out = tmp_path / "killed"
    running = begin("lot", lot.folder, "--out", out, "-q", "--jobs", 1)
    while not stored(out) and not running.ended():
        time.sleep(0.01)
    os.killpg(running.pid, signal.SIGKILL)
    running.wait()
    before = stored(out)
    result = over(lot, out)
    assert result.kept >= before
    assert result.kept + result.measured == 4
    assert dumped(out) == dumped(tmp_path / "whole")


@pytest.mark.fault("an instrument that ends the process that measures it")
def test_an_instrument_that_ends_its_process_is_a_fault_and_costs_no_other():

    def ends_its_process(task: Task) -> Outcome:  # in here, so that workers need not load all above
        if task.session.serial == "A3":
            os.kill(os.getpid(), signal.SIGKILL)
        return Outcome(task.session, None, "done")

    tasks = [Task(Session(f"A{number}", "", ())) for number in range(6)]
    outcomes = list(Workers(2, here=True).done(ends_its_process, tasks))
    reasons = {each.session.serial: each.reason for each in outcomes}
    assert sorted(reasons) == [f"A{number}" for number in range(6)]
    assert "ended the process that measured it" in (reasons.pop("A3") or "")
    assert set(reasons.values()) == {"done"}


@pytest.mark.fault("a scheduler that does not answer")
def test_no_scheduler_is_one_line(monkeypatch):
    monkeypatch.setattr(pool, "_SECONDS_TO_CONNECT", 1.0)
    with (
        pytest.raises(
            UnusableInputError, match=r"--scheduler: tcp://127\.0\.0\.1:9 does not answer"
        ),
        workers(scheduler="tcp://127.0.0.1:9"),
    ):
        pass
