"""Each command in a process of its own: it starts, finds its modules in its own order, and ends.

The other tests run the command in a fork that has loaded everything already. ``analyze``, ``lot``,
``history`` and ``schema`` are started where their streams and their current folder are tested.
"""

from __future__ import annotations

import signal
import subprocess
import sys
from pathlib import Path

import pytest
from conftest import ROOT, SAMPLE_AUDIO
from made_checks import tone, written
from string_sets import NEXT, NOW

DEMO = SAMPLE_AUDIO / "own_saddles"


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """Instrument files and a tone; a second is enough."""
    (tmp_path / "now.toml").write_text(NOW, encoding="utf-8")
    (tmp_path / "next.toml").write_text(NEXT, encoding="utf-8")
    written(tmp_path / "tone.wav", tone(length_s=4.0))
    return tmp_path


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("compare {place}/before.json {place}/before.json", "0 better, 0 worse, 2 no sure change"),
        ("inspect {demo}/s6_open_1.wav", "Settled pitch 82.264"),
        ("restring {place}/now.toml {place}/next.toml", "Saddle of string 6: 0.5 turn clockwise"),
        ("sheet {demo}", "How to record: Demo One, a saddle for each string"),
        ("station {place}/tone.wav --store {place}/kept --station A --tone 440", "440.000"),
    ],
    ids=lambda each: each.partition(" ")[0] if "{" in each else "",
)
@pytest.mark.usefixtures("before")
def test_a_command_starts(started, place, words, said) -> None:
    done = started(*(each.format(place=place, demo=DEMO) for each in words.split()))
    assert (done.returncode, done.stderr) == (0, "")
    assert said in " ".join(done.stdout.split())


def test_a_watch_starts_and_is_stopped(tmp_path) -> None:
    (tmp_path / "lot.toml").write_text("[error]\nplus_minus_cents = 3.0\n", encoding="utf-8")
    words = ["watch", str(tmp_path), "--out", str(tmp_path / "out"), "--jobs", "1"]
    with subprocess.Popen(
        [sys.executable, "-m", "cli", *words],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as running:
        assert running.stderr.readline().startswith(f"watching {tmp_path}, 0 analyses known")
        running.send_signal(signal.SIGTERM)
        out, err = running.communicate()
    assert (running.returncode, err) == (0, "")
    assert out.startswith("Stopped. 0 measured")
