"""Decoding in a process of its own: the same figures, and no harm by what is in the file."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import pytest
import soundfile
from conftest import SAMPLE_AUDIO
from refused import RATE_HZ, TONE, reason

from analyzer.recording import apart
from analyzer.recording.limits import ReadingRules
from analyzer.recording.reading import open_recording


@pytest.fixture
def wav(tmp_path):
    path = tmp_path / "s6_open_1.wav"
    soundfile.write(path, TONE, RATE_HZ)
    return path


def test_same_figures_when_decoded_apart(tmp_path, called) -> None:
    for name in ("s6_open_1.wav", "s6_f12_1.wav"):
        shutil.copy(SAMPLE_AUDIO / "own_saddles" / name, tmp_path)
    trusted, apart_too = (
        json.loads(called("analyze", tmp_path, "--json", "-", *words).out)["strings"][0]
        for words in ((), ("--untrusted",))
    )
    assert apart_too["error_cents"] == pytest.approx(trusted["error_cents"], abs=1e-4)


@pytest.mark.parametrize(
    ("start", "words"),
    [
        ("import os; os.abort()", "made its decoder crash, which cost this file only"),
        ("import ctypes; ctypes.string_at(0)", "made its decoder crash"),
        ("while True: pass", "took more than 1 s to decode"),
        ("import sys; sys.exit(1)", "made its decoder crash"),
        ("print('no sound')", "cannot be read as sound"),
        ("import sys; sys.stderr.write('{]')", "cannot be read as sound"),
        ("import sys; sys.stderr.write('[1]')", "cannot be read as sound"),
    ],
)
@pytest.mark.fault("a decoder that crashes or hangs")
def test_decoder_that_crashes_or_hangs(wav, monkeypatch, start, words) -> None:
    """Its place is taken by a program that does as a decoder might that was taken over."""
    monkeypatch.setattr(apart, "_START", start)
    monkeypatch.setattr(apart, "_STARTING_S", 0.0)
    seconds = 1.0 if "while" in start else 60.0
    assert words in reason(wav, untrusted=True, decoding_s=seconds)


@pytest.mark.fault("a decoder that waits for ever")
def test_decoder_that_hangs_in_silence_is_stopped_by_the_clock(wav, monkeypatch) -> None:
    """Sleeping takes no time of the processor, which the system's own limit counts."""
    monkeypatch.setattr(apart, "_START", "import time; time.sleep(3600)")
    monkeypatch.setattr(apart, "_STARTING_S", 0.0)
    began_s = time.monotonic()
    assert "took more than 1 s" in reason(wav, untrusted=True, decoding_s=1.0)
    assert time.monotonic() - began_s < 600


@pytest.mark.skipif(os.name != "posix", reason="the limits of processes are POSIX's")
@pytest.mark.parametrize(
    "attempt",
    [
        "open('/etc/passwd')",
        "open('{tmp}/new', 'w')",
        "__import__('socket').socket()",
        "__import__('subprocess').run(['true'])",
        "bytearray(3_000_000_000)",
    ],
)
def test_what_a_decoder_may_no_longer_do(tmp_path, wav, monkeypatch, attempt) -> None:
    """Whatever runs in its place after it shut itself in fails, and the recording with it."""
    start = (
        "import sys, json, os; sys.path[:] = json.loads(sys.argv[1]); import socket, subprocess\n"
        "from analyzer.recording import decoder\n"
        "from analyzer.recording.limits import Limits\n"
        "decoder._shut_in(Limits())\n"
        f"try:\n    {attempt.format(tmp=tmp_path)}\n"
        'except (OSError, MemoryError):\n    os.write(2, b\'{"found": "shut", "remedy": ""}\')\n'
    )
    monkeypatch.setattr(apart, "_START", start)
    # shut in, coverage cannot write what it counted, and would say so where the answer belongs
    monkeypatch.delenv("COVERAGE_PROCESS_CONFIG", raising=False)
    assert reason(wav, untrusted=True).startswith("shut")
    assert not (tmp_path / "new").exists()


@pytest.mark.parametrize("words", [("--jobs", "1"), ("--jobs", "2", "--untrusted")])
@pytest.mark.fault("a Python module among the recordings")
def test_nothing_is_run_from_the_folder(tmp_path, words) -> None:
    """A stranger's numpy.py or analyzer/ beside the recordings is no module of ours."""
    folder = tmp_path / "sent"
    folder.mkdir()
    for name in ("s6_open_1.wav", "s6_f12_1.wav"):
        shutil.copy(SAMPLE_AUDIO / "own_saddles" / name, folder)
    for name in ("numpy.py", "av.py", "sitecustomize.py", "json.py"):
        (folder / name).write_text(f"open({str(tmp_path / 'ran')!r}, 'w')", encoding="utf-8")
    for take in range(2, 30):  # so many that other processes share the work
        (folder / f"s6_open_{take}.wav").touch()
    command = Path(sys.executable).with_name("pluckcheck")
    done = subprocess.run(
        [command, "analyze", ".", *words],
        cwd=folder,
        capture_output=True,
        check=False,
    )
    assert done.returncode == 1  # five strings are missing
    assert b"Traceback" not in done.stderr
    assert not (tmp_path / "ran").exists()


@pytest.mark.fault("a container that is spoiled")
def test_a_container_costs_no_other_recording(tmp_path, called) -> None:
    for name in ("s6_open_1.wav", "s6_f12_1.wav"):
        shutil.copy(SAMPLE_AUDIO / "own_saddles" / name, tmp_path)
    (tmp_path / "s5_open_1.mp4").write_bytes(b"\0\0\0\x18ftypmp42" + bytes(400))
    report = json.loads(called("analyze", tmp_path, "--json", "-").out)
    assert report["strings"][0]["error_cents"] == pytest.approx(7.8, abs=1)  # truth.csv: 7.8
    rejected = [each["file"] for each in report["recordings"] if each["status"] == "rejected"]
    assert rejected == ["s5_open_1.mp4"]


def test_no_temporary_file_stays(tmp_path, wav, monkeypatch) -> None:
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(scratch))
    found = open_recording(wav, ReadingRules(untrusted=True))
    assert list(scratch.iterdir()) == []
    assert found.excerpt(0.0, 1.0, 0).shape == (RATE_HZ,)


@pytest.mark.parametrize(
    "name",
    [
        b"<b>s6_open_1<b>.wav",
        b"=cmd()\n\x1b[31m.wav",
        "\u202evaw.1_nepo_6s.wav".encode(),
        b"s6_open_1\xff\xfe.wav",
        b"x" * 251 + b".wav",
        b"-rf.wav",
        b'{"name": 1}.wav',
    ],
)
def test_files_of_any_name_are_decoded_apart(tmp_path, wav, name) -> None:
    path = wav.rename(tmp_path / os.fsdecode(name))
    assert open_recording(path, ReadingRules(untrusted=True)).rate_hz == RATE_HZ
    said = reason(path, untrusted=True, length_s=1.0)
    assert "lasts 2 s" in said
