"""Options that are misused, figures that round to nothing, names that steer terminals, Ctrl-C."""

from __future__ import annotations

import io
import os
import signal
import time
from pathlib import Path

import pytest
from conftest import SAMPLE_AUDIO
from forked import begin
from rich.console import Console

from analyzer import analysis
from analyzer.analysis import analyze_folder
from analyzer.report.model import (
    AdjusterResult,
    RecordingResult,
    Report,
    SaddleResult,
    StringResult,
)
from analyzer.report.terminal import TerminalReport


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["analyze", "x", "--a4", "abc"], ["--a4", "'abc'", "See pluckcheck analyze --help."]),
        (["analyze", "x", "--jobs", "1.5"], ["--jobs", "'1.5'", "See pluckcheck analyze --help."]),
        (["analyze", "x", "--jobs", "9" * 5000], ["--jobs"]),
        (["analyze", "x", "--jso", "y"], ["--jso", "See pluckcheck analyze --help."]),
        (["analyze", "x", "y\x1b[31m\n"], [r"y\x1b[31m"]),
        (["analyze"], ["Missing argument", "See pluckcheck analyze --help."]),
        (["analyse"], ["analyse", "See pluckcheck --help."]),
        (["analyze", "x" * 5000], ["cannot be listed (File name too long)"]),
        (["analyze", "no\x1b[31m\nsuch"], [r"no\x1b[31m\nsuch: does not exist"]),
        (["analyze", "x", "--jobs", "-3"], ["x: does not exist"]),
        (["analyze", "sample_audio/own_saddles", "--jobs", "-3"], ["--jobs: is -3. Give 1 or"]),
    ],
)
def test_misuse_is_one_line(run, words, said) -> None:
    done = run(*words)
    assert done.returncode == 2
    assert done.stderr.startswith("pluckcheck: ")
    assert done.stderr.count("\n") == 1
    assert all(each in done.stderr for each in said), done.stderr
    assert len(done.stderr) < 2100
    assert done.stderr.strip().isprintable()
    assert done.stdout == ""


def test_no_words_at_all_gives_the_help(run) -> None:
    done = run()
    assert "Usage: pluckcheck" in done.stdout + done.stderr
    assert done.returncode in (0, 2)  # click changed it


@pytest.mark.parametrize(("files", "jobs"), [(1, 1), (30, 2)])
def test_interrupt_is_one_line(tmp_path, files, jobs) -> None:
    for take in range(files):
        (tmp_path / f"s6_open_{take}.wav").write_bytes(b"RIFF")

    def slow(path: Path, *_: object, **__: object) -> None:
        path.with_suffix(".started").touch()
        time.sleep(3600)

    words = ("analyze", tmp_path, "--jobs", jobs)
    running = begin(*words, prepare=lambda: setattr(analysis, "measure_file", slow))
    while len(list(tmp_path.glob("*.started"))) < jobs and not running.ended():
        time.sleep(0.02)
    os.killpg(running.pid, signal.SIGINT)  # a terminal sends it to a whole group; so does this
    done = running.wait()
    assert (done.code, done.out, done.err) == (130, "", "pluckcheck: stopped.\n")


def shown(report: Report, width: int) -> str:
    """The report as a pipe of that width gets it."""
    console = Console(file=io.StringIO(), width=width, highlight=False)
    with console.capture() as captured:
        console.print(TerminalReport(report))
    return captured.get()


def string(number: int, error: float, move: float | None = None) -> StringResult:
    return StringResult(
        number,
        "E2",
        open_hz=82.0,
        fretted_hz=164.0,
        error_cents=error,
        error_uncertainty_cents=0.5,
        sustain_drift_cents=-0.04,
        saddle_move_mm=move,
        saddle_move_uncertainty_mm=None if move is None else 0.2,
    )


def report(strings, saddles=(), **others: object) -> Report:
    values = {"instrument": "x", "recordings": (), "warnings": (), **others}
    return Report(tuning=("E2",), a4_hz=440, strings=strings, saddles=saddles, **values)


@pytest.mark.parametrize("width", [40, 120])
def test_what_rounds_to_nothing_has_no_sign_and_no_way(width) -> None:
    text = shown(report((string(2, -0.01, -0.001), string(1, 0.04, 0.001))), width)
    assert "-0.0" not in text
    assert "+0.0" not in text
    assert text.count("0.0 ± 0.5") == 2
    assert text.count("0.00 ± 0.20") == 2
    assert "toward nut" not in text
    assert "away from nut" not in text
    in_cents = shown(report((string(3, -0.01), string(2, -0.3), string(1, 0.3))), width)
    for word in ("in tune", "flat", "sharp"):
        assert in_cents.count(f"fretted note is {word}") == 1


@pytest.mark.parametrize(
    ("strings", "name"),
    [((6,), "saddle 6"), ((6, 5), "saddle 6-5"), ((6, 5, 4), "saddle 6-5-4")],
)
def test_name_of_a_saddle(strings, name) -> None:
    saddle = SaddleResult(strings, None, 0.5, None, None, dict.fromkeys(strings, -0.01))
    share = dict.fromkeys(strings, 1.0)
    adjuster = AdjusterResult(name, strings, "slide", share, 1.0, 0.2, None, 0.0, move_mm=0.5)
    found = report((string(1, 1.0),), (saddle,), adjusters=(adjuster,))
    lines = shown(found, 120).splitlines()
    row = next(line for line in lines if line.strip().startswith("saddle") and "0.50 mm" in line)
    assert row.strip().startswith(f"{name} ")
    assert "-0.0" not in row


def test_string_without_result_says_why_below_the_table() -> None:
    reason = "No usable 12th-fret recording. Record s2_f12_1.wav."
    text = shown(report((StringResult(2, "A2", reason), string(1, 1.0))), 80)
    assert "no result" in next(line for line in text.splitlines() if "2 A2" in line)
    assert f"Note: string 2: {reason}" in text.splitlines()


def test_names_do_not_steer_the_terminal() -> None:
    rejected = RecordingResult("a\x1b[2J\r\n\udcffb.wav", 1, "open", 1, "rejected", "c\x07d")
    given = report(
        (string(1, 1.0),), instrument="\x1b]0;x\x07", recordings=(rejected,), warnings=("w\x9bv",)
    )
    text = shown(given, 120)
    assert all(line.isprintable() for line in text.splitlines())
    assert r"Left out: a\x1b[2J\r\n\udcffb.wav: c\x07d" in text
    assert r"Note: w\x9bv" in text
    assert r"\x1b]0;x\x07  (E2)" in text


@pytest.fixture(scope="module")
def paired() -> Report:
    return analyze_folder(SAMPLE_AUDIO / "paired_saddles", jobs=1)


@pytest.mark.parametrize("width", range(60, 84))
def test_tables_do_not_wrap(paired, width) -> None:
    lines = shown(paired, width).splitlines()
    assert max(map(len, lines)) <= width
    rows = [line for line in lines if line.strip().startswith(("6 E2", "1 E4"))]
    blocks = [line for line in lines if line.startswith(("String 6 E2", "String 1 E4"))]
    assert sorted((len(rows), len(blocks))) == [0, 2]
    for row in rows:  # what stands last in a row stands beside what stands first
        assert "nut" in row
        assert " ± " in row
    if width >= 80:
        assert len(rows) == 2
        assert sum("nut" in line and "turn" in line for line in lines) == 2
        assert sum("saddle 4-3" in line and "leave it" in line for line in lines) == 1
