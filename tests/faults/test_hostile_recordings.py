"""Recordings that are none, and names that no recorder gives."""

from __future__ import annotations

import json
import os
import shutil

import numpy as np
import pytest
import soundfile
from conftest import SAMPLE_AUDIO
from rights import permissions_count

from analyzer.analysis import analyze_folder
from analyzer.errors import RecordingError, UnusableInputError
from analyzer.instrument.model import assumed_instrument
from analyzer.recording.finding import find_recordings
from analyzer.recording.labels import Label, read_label
from analyzer.recording.reading import open_recording

RATE_HZ = 44100
TONE = 0.1 * np.sin(2 * np.pi * 110 * np.arange(RATE_HZ) / RATE_HZ)
SIX = assumed_instrument()


def reason(path) -> str:
    """Why a recording is left out."""
    with pytest.raises(RecordingError) as caught:
        open_recording(path)
    assert str(caught.value).isprintable()
    return caught.value.reason


@pytest.fixture
def wav(tmp_path):
    path = tmp_path / "s5_open_1.wav"
    soundfile.write(path, TONE, RATE_HZ)
    return path


def test_what_only_has_the_name_of_a_recording(tmp_path) -> None:
    (tmp_path / "s1_open_1.wav").mkdir()
    (tmp_path / "s2_open_1.wav").symlink_to("gone.wav")
    (tmp_path / "s3_open_1.wav").symlink_to("s3_open_1.wav")
    os.mkfifo(tmp_path / "s4_open_1.wav")
    (tmp_path / "s5_open_1.wav").symlink_to("/dev/zero")
    found = find_recordings(tmp_path)
    assert [path.name for path in found] == [f"s{n}_open_1.wav" for n in range(1, 6)]
    reasons = [reason(path) for path in found]
    for each in (reasons[0], reasons[3], reasons[4]):
        assert each.startswith("is not a regular file. Put the recording itself")
    for each in reasons[1:3]:
        assert each.startswith("cannot be read (")
        assert "where it links to" in each


def test_permission_denied_is_said(wav) -> None:
    wav.chmod(0)
    with permissions_count():
        said = reason(wav)
    assert said.startswith("cannot be read (Permission denied). Check its permissions")


@pytest.mark.parametrize("start", [b"", b"ID3\x03\0\0\0\0\0\0", b"\xff\xfb\x90\x64"])
def test_garbage_mp3_is_named_in_plain_words(tmp_path, start) -> None:
    path = tmp_path / "s6_open_1.mp3"
    path.write_bytes(start + np.random.default_rng(1).bytes(20_000))
    assert reason(path).startswith("cannot be read as sound. Export it as WAV")


def test_sound_that_breaks_off_in_its_middle(tmp_path) -> None:
    path = tmp_path / "s6_open_1.flac"
    soundfile.write(path, TONE + np.random.default_rng(1).normal(0, 0.01, TONE.size), RATE_HZ)
    content = bytearray(path.read_bytes())
    middle = len(content) // 2
    content[middle : middle + 4000] = np.random.default_rng(2).bytes(4000)
    path.write_bytes(content)
    assert reason(path).startswith("cannot be read as sound")


@pytest.mark.parametrize("place", [0, 20_000, TONE.size - 1])  # the last: within a part step
@pytest.mark.parametrize(
    ("value", "words"),
    [
        (np.nan, "not numbers (NaN)"),
        (np.inf, "beyond 1e+15 times full scale"),
        (-1e30, "beyond 1e+15 times full scale"),
        (1e150, "beyond 1e+15 times full scale"),
    ],
)
def test_samples_that_are_no_sound(tmp_path, place, value, words) -> None:
    samples = TONE[: TONE.size - TONE.size % 220 + 100].copy()
    samples[min(place, samples.size - 1)] = value
    path = tmp_path / "s6_open_1.wav"
    soundfile.write(path, samples, RATE_HZ, subtype="DOUBLE")
    assert words in reason(path)


def test_loud_floats_are_read(tmp_path) -> None:
    path = tmp_path / "s6_open_1.wav"
    soundfile.write(path, TONE * 2**31, RATE_HZ, subtype="FLOAT")
    levels = open_recording(path).levels
    assert float(np.median(levels)) == pytest.approx(0.1 * 2**31 / np.sqrt(2), rel=0.3)


def test_copy_that_was_cut_short(wav) -> None:
    assert not open_recording(wav).cut_short
    whole = wav.read_bytes()
    wav.write_bytes(whole + bytes(1000))  # something after the sound is no fault
    assert not open_recording(wav).cut_short
    wav.write_bytes(whole[: len(whole) // 2])
    assert open_recording(wav).cut_short
    wav.write_bytes(whole[:44])
    assert reason(wav).startswith("ends after 0 samples, though its header promises more")


def test_size_that_a_streaming_recorder_left_open(wav) -> None:
    content = bytearray(wav.read_bytes())
    content[40:44] = b"\xff\xff\xff\xff"
    wav.write_bytes(content)
    assert not open_recording(wav).cut_short


@pytest.mark.parametrize(
    "name",
    [
        "s6_open_1 (1).wav",
        "s6_open_1(2).wav",
        "s6_open_1 - copy.wav",
        "s6_open_1 - Copy (2).wav",
        "s6_open_1 copy 2.wav",
        "s6_open_1 2.wav",
        "Copy of s6_open_1.wav",
    ],
)
def test_copies_are_told(name) -> None:
    with pytest.raises(RecordingError, match=r"looks like a copy of s6_open_1\.wav\. Delete it"):
        read_label(name, SIX)


@pytest.mark.parametrize("name", ["s6_open 2.wav", "s6-open-02.wav"])
def test_takes_are_no_copies(name) -> None:
    assert read_label(name, SIX) == Label(6, "open", 2)


@pytest.mark.parametrize(
    "name", ["\u017f6_open_1.wav", "s\u0666_open_1.wav", "s6_open_\uff11.wav", "E\u017f2_open.wav"]
)
def test_letters_and_digits_of_names_are_ascii(name) -> None:
    with pytest.raises(RecordingError, match="neither string nor fret"):
        read_label(name, SIX)


def test_folders_that_cannot_be_listed(tmp_path) -> None:
    (tmp_path / "loop").symlink_to("loop")
    for path in (tmp_path / ("x" * 5000), tmp_path / "loop", tmp_path / "a\0b"):
        with pytest.raises(UnusableInputError, match="cannot be listed") as caught:
            find_recordings(path)
        assert len(str(caught.value)) < 700


def test_folder_below_one_without_permission(tmp_path) -> None:
    inner = tmp_path / "closed" / "inner"
    inner.mkdir(parents=True)
    inner.parent.chmod(0)
    try:
        said = r"cannot be listed \(Permission denied\)"
        with permissions_count(), pytest.raises(UnusableInputError, match=said):
            find_recordings(inner)
    finally:
        inner.parent.chmod(0o700)


def test_one_bad_name_costs_no_other_recording(tmp_path, run) -> None:
    for name in ("s6_open_1.wav", "s6_f12_1.wav"):
        shutil.copy(SAMPLE_AUDIO / "own_saddles" / name, tmp_path)
    strange = [
        "E\u017f2_open.wav",
        "s6_open_9\x1b[31m\n.wav",
        os.fsdecode(b"s6_open_8\xff.wav"),
        os.fsdecode(b"s1_open_1.\xff.wav"),
    ]
    for name in strange:
        (tmp_path / name).write_bytes(b"RIFF")
    done = run("analyze", tmp_path, "--json", "-")
    assert (done.returncode, done.stderr) == (1, "")
    report = json.loads(done.stdout)
    assert report["strings"][0]["error_cents"] == pytest.approx(7.8, abs=1)  # truth.csv: 7.8
    files = {each["file"] for each in report["recordings"] if each["status"] == "rejected"}
    assert files == {
        "E\u017f2_open.wav",
        "s6_open_9\x1b[31m\n.wav",
        r"s6_open_8\udcff.wav",
        r"s1_open_1.\udcff.wav",
    }
    table = run("analyze", tmp_path)
    assert table.stderr == ""
    assert "\x1b" not in table.stdout
    assert r"Left out: s6_open_9\x1b[31m\n.wav: " in table.stdout
    assert r"Left out: s6_open_8\udcff.wav: " in table.stdout


def test_garbage_mp3_prints_nothing_of_its_decoder(tmp_path, run) -> None:
    (tmp_path / "s6_open_1.mp3").write_bytes(bytes(20_000))
    done = run("analyze", tmp_path)
    assert (done.returncode, done.stderr) == (1, "")
    assert "Left out: s6_open_1.mp3: cannot be read as sound." in done.stdout


def test_folder_may_be_a_text(tmp_path) -> None:
    (tmp_path / "s6_open_1.wav").write_bytes(b"RIFF")
    report = analyze_folder(str(tmp_path), jobs=1)
    assert [each.file for each in report.rejected] == ["s6_open_1.wav"]


class StandsBeyond(soundfile.SoundFile):
    """A sound file that says it stands beyond its own end, as a damaged MP3 can."""

    def tell(self) -> int:
        return self.frames + 100


def test_a_file_that_stands_beyond_its_own_end_has_no_sound_left(wav, monkeypatch) -> None:
    with pytest.raises(ValueError, match="negative dimensions"), StandsBeyond(wav) as sound:
        sound.read(10)
    monkeypatch.setattr("analyzer.recording.reading.soundfile.SoundFile", StandsBeyond)
    assert "samples. Record it again" in reason(wav)


@pytest.mark.parametrize("block", [None, 1000])
def test_every_sample_is_read_once(wav, monkeypatch, block) -> None:
    if block:
        monkeypatch.setattr("analyzer.recording.reading._BLOCK_SAMPLES", block)
    samples = open_recording(wav).excerpt(0.25, 0.75, 0)
    assert samples == pytest.approx(TONE[RATE_HZ // 4 : 3 * RATE_HZ // 4], abs=2**-15)
