"""Streams that are closed, full or narrow; places that must not be written to."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from conftest import ROOT, SAMPLE_AUDIO
from forked import forked

from analyzer.errors import UnusableInputError
from analyzer.report.files import check_place, write_text

INSTRUMENT = '[instrument]\nname = "one"\nscale_length_mm = 650\ntuning = ["E2"]\n'
FULL = Path("/dev/full")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """One string of the demo: little to measure, and complete."""
    path = tmp_path_factory.mktemp("one_string")
    for fret in ("open", "f12"):
        shutil.copy(SAMPLE_AUDIO / "own_saddles" / f"s6_{fret}_1.wav", path / f"s1_{fret}_1.wav")
    (path / "instrument.toml").write_text(INSTRUMENT, encoding="utf-8")
    return path


def is_refusal(done, *words: str) -> None:
    """One line on standard error, code 2."""
    assert done.returncode == 2, done.stderr
    assert done.stderr.startswith("pluckcheck: ")
    assert done.stderr.count("\n") == 1
    for each in words:
        assert each in done.stderr


@pytest.fixture
def call(request):
    """``started`` or ``run``, as named: where Python's own end counts, and else."""
    return request.getfixturevalue(request.param)


def outputs_of(folder):
    return sorted(path.name for path in folder.iterdir())


# Streams


def test_ascii_terminal(folder, started) -> None:
    done = started("analyze", folder, env={**os.environ, "PYTHONIOENCODING": "ascii"})
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.isascii()
    assert " +/- " in done.stdout


def test_json_is_utf8_whatever_the_terminal_is(folder, tmp_path, run) -> None:
    for path in folder.iterdir():
        shutil.copy(path, tmp_path)
    named = INSTRUMENT.replace('"one"', '"Größe ♯"')
    (tmp_path / "instrument.toml").write_text(named, encoding="utf-8")
    environment = {**os.environ, "PYTHONIOENCODING": "ascii"}
    done = run("analyze", tmp_path, "--json", "-", env=environment, text=False)
    assert json.loads(done.stdout.decode("utf-8"))["instrument"]["name"] == "Größe ♯"


@pytest.mark.skipif(not FULL.exists(), reason="no /dev/full on this system")
@pytest.mark.parametrize(
    ("call", "words"),
    [
        ("started", ["schema"]),
        ("run", ["analyze"]),
        ("run", ["analyze", "--json", "-"]),
        ("run", ["analyze", "--csv", "-"]),
    ],
    indirect=["call"],
)
def test_full_standard_output(folder, call, words) -> None:
    place = [folder] if "analyze" in words else []
    with FULL.open("w") as full:
        done = call(*words, *place, stdout=full.fileno())
    is_refusal(done, "standard output: cannot be")


@pytest.mark.skipif(not FULL.exists(), reason="no /dev/full on this system")
@pytest.mark.parametrize("words", [["--help"], ["--version"], ["analyze", "--help"]])
def test_full_standard_output_for_help(started, words) -> None:
    with FULL.open("w") as full:
        done = started(*words, stdout=full)
    is_refusal(done, "standard output: cannot be written (No space left")


def test_standard_output_that_a_shell_has_closed() -> None:
    shell = ["sh", "-c", 'exec "$0" "$@" >&-', sys.executable, "-m", "cli", "schema"]
    done = subprocess.run(shell, cwd=ROOT, text=True, capture_output=True, check=False)
    is_refusal(done, "standard output: cannot be")


def test_closed_standard_output(folder, tmp_path) -> None:
    def close() -> None:
        os.close(1)
        sys.stdout = None  # as Python begins where it finds 1 closed

    done = forked("analyze", folder, prepare=close)
    assert (done.code, done.err.count("\n")) == (2, 1)
    assert done.err.startswith("pluckcheck: standard output: cannot be")
    report = tmp_path / "report.json"
    done = forked("analyze", folder, "--quiet", "--json", report, prepare=close)
    assert (done.code, done.err) == (0, "")
    assert json.loads(report.read_text(encoding="utf-8"))["strings"]


@pytest.mark.parametrize(
    ("call", "words"),
    [
        ("started", ["schema"]),
        ("started", ["--help"]),
        ("run", ["analyze"]),
        ("run", ["analyze", "--json", "-"]),
    ],
    indirect=["call"],
)
def test_reader_that_has_gone(folder, call, words) -> None:
    reading, writing = os.pipe()
    os.close(reading)
    place = [folder] if "analyze" in words else []
    try:
        done = call(*words, *place, stdout=writing)
    finally:
        os.close(writing)
    assert (done.returncode, done.stderr) == (141, "")


@pytest.mark.parametrize("columns", ["0", "000", "many", ""])
def test_columns_that_are_no_width(folder, run, columns) -> None:
    done = run("analyze", folder, env={**os.environ, "COLUMNS": columns})
    assert (done.returncode, done.stderr) == (0, "")
    assert max(map(len, done.stdout.splitlines())) <= 120
    assert "1 of 1 strings have a result; 2 recordings used, 0 left out." in done.stdout


# Places


@pytest.mark.parametrize("place", [".", "/", ""])
@pytest.mark.parametrize("option", ["--json", "--csv"])
def test_folder_is_no_place_for_a_report(folder, run, place, option) -> None:
    is_refusal(run("analyze", folder, option, place), "cannot be written (Is a directory)")


def test_inputs_are_never_written_over(folder, tmp_path, run) -> None:
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    link = tmp_path / "link.json"
    link.symlink_to(folder / "s1_open_1.wav")
    for place in (folder / "s1_f12_1.wav", folder / "instrument.toml", link):
        is_refusal(run("analyze", folder, "--json", place), "--json: would write over ")
    other = tmp_path / "other.toml"
    other.write_text(INSTRUMENT, encoding="utf-8")
    words = ("--instrument", other, "--csv", other)
    is_refusal(run("analyze", folder, *words), f"--csv: would write over {other}, which is read")
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before
    assert other.read_text(encoding="utf-8") == INSTRUMENT


@pytest.mark.parametrize("places", [("-", "-"), ("one", "one"), ("one", "./x/../one")])
def test_two_outputs_in_one_place(folder, tmp_path, run, places) -> None:
    (tmp_path / "x").mkdir()
    first, second = (place if place == "-" else f"{tmp_path}/{place}" for place in places)
    done = run("analyze", folder, "--json", first, "--csv", second)
    is_refusal(done, "and --json goes there too. Give each its own file")
    assert done.stdout == ""
    assert outputs_of(tmp_path) == ["x"]


def test_place_is_looked_at_before_the_work(run, tmp_path) -> None:
    (tmp_path / "s6_open_1.wav").write_bytes(b"RIFF")
    (tmp_path / "instrument.toml").write_text("not read yet", encoding="utf-8")
    for place in ("gone/report.json", "x" * 300, "instrument.toml/report.json"):
        done = run("analyze", tmp_path, "--json", tmp_path / place)
        is_refusal(done, "cannot be written (")


def test_link_stays_and_its_target_is_written(tmp_path) -> None:
    target, link, dangling = tmp_path / "deep" / "t", tmp_path / "link", tmp_path / "dangling"
    target.parent.mkdir()
    target.write_text("old", encoding="utf-8")
    target.chmod(0o640)
    link.symlink_to(target)
    dangling.symlink_to("deep/new")
    for path in (link, dangling):
        check_place(path)
        write_text(path, "new")
        assert path.is_symlink()
        assert path.resolve().read_text(encoding="utf-8") == "new"
    assert target.stat().st_mode & 0o777 == 0o640
    assert outputs_of(tmp_path / "deep") == ["new", "t"]


def test_pipe_is_written_to_and_stays(tmp_path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    got: list[str] = []
    reader = threading.Thread(target=lambda: got.append(pipe.read_text(encoding="utf-8")))
    reader.start()
    check_place(pipe)
    write_text(pipe, "report")
    reader.join()
    assert got == ["report"]
    assert pipe.is_fifo()


@pytest.mark.skipif(not FULL.exists(), reason="no /dev/full on this system")
def test_full_device_is_said_and_the_table_is_not_lost(folder, tmp_path, run) -> None:
    done = run("analyze", folder, "--json", FULL, "--csv", tmp_path / "report.csv")
    is_refusal(done, "/dev/full: cannot be written (No space left on device)")
    assert "1 of 1 strings have a result" in done.stdout
    assert outputs_of(tmp_path) == ["report.csv"]


def test_nothing_partial_is_left(tmp_path, monkeypatch) -> None:
    path = tmp_path / "report.json"
    path.write_text("old", encoding="utf-8")

    def fail(_partial, _target) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", fail)
    with pytest.raises(UnusableInputError, match=r"cannot be written \(No space left on device\)"):
        write_text(path, "new")
    assert path.read_text(encoding="utf-8") == "old"
    assert outputs_of(tmp_path) == ["report.json"]


@pytest.mark.parametrize("length", [200, 255])
def test_long_names_can_be_written(tmp_path, length) -> None:
    path = tmp_path / ("x" * length)
    check_place(path)
    write_text(path, "text")
    assert path.read_text(encoding="utf-8") == "text"


def test_dev_stdout_is_standard_output(folder, run) -> None:
    if not Path("/dev/stdout").exists():
        pytest.skip("no /dev/stdout on this system")
    done = run("analyze", folder, "--json", "/dev/stdout")
    assert done.returncode == 0
    assert json.loads(done.stdout)["strings"]
    is_refusal(run("analyze", folder, "--json", "-", "--csv", "/dev/stdout"), "goes there too")
