"""The limits on what is read: from the header, again while it is decoded, and from a stranger."""

from __future__ import annotations

import shutil
import struct
from dataclasses import fields

import numpy as np
import pytest
import soundfile
from conftest import SAMPLE_AUDIO
from phone_files import FORMATS, encode
from refused import RATE_HZ, TONE, reason

from analyzer.errors import UnusableInputError
from analyzer.recording.finding import find_recordings
from analyzer.recording.limits import Limits, ReadingRules, limits_with
from analyzer.recording.reading import open_recording

BOTH = pytest.mark.parametrize("untrusted", [False, True])


@pytest.fixture
def wav(tmp_path):
    path = tmp_path / "s6_open_1.wav"
    soundfile.write(path, TONE, RATE_HZ)
    return path


@pytest.fixture
def m4a(tmp_path):
    return encode(tmp_path / "s6_open_1.m4a", TONE, RATE_HZ, FORMATS[0])


@BOTH
def test_each_limit_has_its_line(wav, untrusted) -> None:
    size_mb = wav.stat().st_size / 1e6
    assert reason(wav, untrusted=untrusted, file_mb=0.1).startswith(
        f"is {size_mb:.1f} MB large, more than 0.1."
    )
    assert reason(wav, untrusted=untrusted, length_s=1.5).startswith(
        "says that it lasts 2 s, more than 1.5. Cut it to the plucks, or raise the limit with "
        "--limit length_s=NUMBER"
    )
    assert reason(wav, untrusted=untrusted, highest_rate_hz=40_000).startswith(
        "has a sample rate of 44100 Hz. Record between 8000 Hz and 40000 Hz"
    )
    soundfile.write(wav, np.tile(TONE[:, None], 3), RATE_HZ)
    assert reason(wav, untrusted=untrusted, channels=2).startswith(
        "has 3 channels, more than 2. Export one or two of them"
    )


@BOTH
def test_at_the_limit_is_within_it(wav, untrusted) -> None:
    limits = Limits(length_s=2.0, channels=1, highest_rate_hz=RATE_HZ, lowest_rate_hz=RATE_HZ,
                    file_mb=wav.stat().st_size / 1e6)  # fmt: skip
    assert open_recording(wav, ReadingRules(limits, untrusted)).rate_hz == RATE_HZ


@pytest.mark.fault("a container beyond a limit")
def test_limits_hold_for_containers(m4a) -> None:
    assert "lasts 2 s, more than 1" in reason(m4a, length_s=1.0)
    assert "sample rate of 48000 Hz" in reason(m4a, highest_rate_hz=44_100)
    assert "comes to more than 0.1 MB of sound" in reason(m4a, decoded_mb=0.1)


@BOTH
@pytest.mark.parametrize("rate_hz", [1, 7999, 384_001, 2**31 - 1])
@pytest.mark.fault("a sampling rate out of reach")
def test_rates_out_of_reach(tmp_path, untrusted, rate_hz) -> None:
    path = tmp_path / "s6_open_1.wav"
    soundfile.write(path, TONE, RATE_HZ)
    content = bytearray(path.read_bytes())
    content[24:28] = struct.pack("<I", rate_hz)
    path.write_bytes(content)
    assert "has a sample rate of" in reason(path, untrusted=untrusted)


@BOTH
@pytest.mark.fault("a header that promises hours")
def test_header_that_promises_hours(tmp_path, untrusted) -> None:
    """A FLAC header holds the number of samples in 36 bits (RFC 9639, section 8.2)."""
    path = tmp_path / "s6_open_1.flac"
    soundfile.write(path, TONE, RATE_HZ)
    content = bytearray(path.read_bytes())
    content[21] |= 0x0F
    content[22:26] = b"\xff\xff\xff\xff"
    path.write_bytes(content)
    promised_s = (2**36 - 1) / RATE_HZ
    assert reason(path, untrusted=untrusted).startswith(f"says that it lasts {promised_s:.0f} s")


@BOTH
@pytest.mark.fault("a header that promises too little")
def test_header_that_promises_too_little(tmp_path, untrusted) -> None:
    """A count of 0 means unknown in FLAC: what is really there is held to the limits."""
    path = tmp_path / "s6_open_1.flac"
    soundfile.write(path, TONE, RATE_HZ)
    content = bytearray(path.read_bytes())
    content[21] &= 0xF0
    content[22:26] = bytes(4)
    path.write_bytes(content)
    assert reason(path, untrusted=untrusted, length_s=1.0).startswith("lasts ")
    whole = open_recording(path, ReadingRules(untrusted=untrusted))
    assert whole.levels.shape[0] * whole.step_s == pytest.approx(2.0, abs=0.01)


@pytest.mark.fault("a container that promises too little")
def test_container_that_promises_too_little(tmp_path) -> None:
    """ADTS has no length at all."""
    path = encode(tmp_path / "s6_open_1.aac", TONE, RATE_HZ, FORMATS[9])
    assert "lasts" in reason(path, length_s=1.0)


@pytest.mark.fault("a small file that unpacks to much silence")
def test_small_file_of_much_silence(tmp_path) -> None:
    path = tmp_path / "s6_open_1.flac"
    soundfile.write(path, np.zeros((30 * 96_000, 8), dtype=np.int16), 96_000)
    assert path.stat().st_size < 1_000_000
    assert "comes to more than 50 MB of sound" in reason(path, untrusted=True, decoded_mb=50)
    assert "lasts 30 s" in reason(path, length_s=20)


@pytest.mark.fault("a folder of too many recordings")
def test_folder_of_too_many_files(tmp_path, called) -> None:
    for number in range(4):
        (tmp_path / f"s6_open_{number}.wav").write_bytes(b"RIFF")
    assert len(find_recordings(tmp_path, Limits(files=4))) == 4
    with pytest.raises(UnusableInputError, match="holds more than 3 recordings"):
        find_recordings(tmp_path, Limits(files=3))
    done = called("analyze", tmp_path, "--limit", "files=3")
    assert done.code == 2
    assert "holds more than 3 recordings. Give a folder of one instrument, or raise" in done.err


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("length=3", "names no limit in 'length=3'. Give one of files, file_mb, length_s"),
        ("files", "sets files to ''. Give a number from 1 to 100000"),
        ("files=1.5", "sets files to '1.5'"),
        ("length_s=nan", "sets length_s to 'nan'. Give a number from 1 to 86400"),
        ("decoding_s=inf", "sets decoding_s to 'inf'"),
        ("channels=0", "sets channels to '0'"),
        ("lowest_rate_hz=100", "sets lowest_rate_hz to '100'"),
    ],
)
@pytest.mark.fault("a limit that cannot be")
def test_limits_that_cannot_be(change, words) -> None:
    with pytest.raises(UnusableInputError) as caught:
        limits_with([change])
    assert words in str(caught.value)


def test_every_limit_can_be_set() -> None:
    changes = {each.name: getattr(Limits(), each.name) + 1 for each in fields(Limits)}
    changes["lowest_rate_hz"] = 9000
    given = limits_with([f"{name}={value}" for name, value in changes.items()])
    assert given == Limits(**changes)


@pytest.mark.fault("a stranger's link out of the folder")
def test_links_out_of_the_folder(tmp_path, wav) -> None:
    folder = tmp_path / "sent"
    folder.mkdir()
    outward, inward = folder / "s6_open_1.wav", folder / "s6_open_2.wav"
    outward.symlink_to(wav)
    shutil.copy(wav, folder / "real.wav")
    inward.symlink_to("real.wav")
    assert reason(outward, untrusted=True).startswith("is a link to a place outside its folder")
    for path in (outward, inward):
        assert open_recording(path).rate_hz == RATE_HZ
    assert open_recording(inward, ReadingRules(untrusted=True)).rate_hz == RATE_HZ


@pytest.mark.parametrize("name", ["instrument.toml", "takes.csv"])
@pytest.mark.fault("a stranger's table that is a link out of the folder")
def test_tables_that_are_links_out_of_the_folder(tmp_path, called, name) -> None:
    """Their faults are quoted in messages: a link would quote somebody else's file."""
    folder = tmp_path / "sent"
    folder.mkdir()
    shutil.copy(SAMPLE_AUDIO / "own_saddles" / "s6_open_1.wav", folder)
    (tmp_path / "secret").write_text("password,hunter2\n", encoding="utf-8")
    (folder / name).symlink_to(tmp_path / "secret")
    done = called("analyze", folder, "--untrusted")
    assert (done.code, done.out) == (2, "")
    assert "is a link to a place outside its folder. Put the file itself in its place" in done.err
    assert "hunter2" not in done.err
