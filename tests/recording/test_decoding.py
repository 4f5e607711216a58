"""The decoder's functions in this process: samples, forms and limits.

What shuts the decoder in, and how it is started, is ``test_decoder``'s.
"""

from __future__ import annotations

import io
from dataclasses import replace

import av
import numpy as np
import pytest
import soundfile
from phone_files import FORMATS, encode

from analyzer.errors import RecordingError
from analyzer.recording.decoder import _as_floats, _Writer, decode_container, decode_sound_file
from analyzer.recording.limits import Limits

RATE_HZ = 44_100
STEPS = np.round(8000 * np.sin(2 * np.pi * 220 * np.arange(RATE_HZ) / RATE_HZ))
MOV = next(each for each in FORMATS if each.file == "pcm.mov")


def mov(tmp_path) -> bytes:
    return encode(tmp_path / MOV.file, STEPS / 32768, RATE_HZ, MOV).read_bytes()


def test_sound_file_sample_for_sample(tmp_path) -> None:
    path, both = tmp_path / "two.wav", np.stack([STEPS, -STEPS], axis=1) / 32768
    soundfile.write(path, both, RATE_HZ, subtype="PCM_16")
    out = io.BytesIO()
    found = decode_sound_file(str(path), "two.wav", Limits(), out.write)
    assert (found.rate_hz, found.channels, found.frames) == (RATE_HZ, 2, RATE_HZ)
    assert not found.cut_short
    assert np.array_equal(np.frombuffer(out.getvalue(), np.float32).reshape(-1, 2), both)


def test_container_sample_for_sample(tmp_path) -> None:
    out = io.BytesIO()
    found = decode_container(io.BytesIO(mov(tmp_path)), "mov", "a.mov", Limits(), out.write)
    assert (found.rate_hz, found.channels, found.frames) == (RATE_HZ, 1, RATE_HZ)
    assert not found.cut_short
    samples = np.frombuffer(out.getvalue(), np.float32)
    assert samples == pytest.approx(STEPS / 32768, abs=1.01 / 32768)  # the encoder's own rounding


def test_container_that_breaks_off_keeps_what_it_has(tmp_path) -> None:
    """AAC in ADTS has no index that could be missing."""
    form = next(each for each in FORMATS if each.file == "note.aac")
    whole = encode(tmp_path / form.file, STEPS / 32768, RATE_HZ, form).read_bytes()
    out = io.BytesIO()
    half = io.BytesIO(whole[: len(whole) // 2])
    found = decode_container(half, "aac", "a.aac", Limits(), out.write)
    assert 0.4 < found.frames / found.rate_hz < 0.6
    assert len(out.getvalue()) == 4 * found.frames


def test_picture_alone_holds_no_sound(tmp_path) -> None:
    path = tmp_path / "mute.mp4"
    with av.open(str(path), "w") as container:
        stream = container.add_stream("mpeg4", rate=25)
        stream.width, stream.height, stream.pix_fmt = 64, 48, "yuv420p"
        grey = av.VideoFrame.from_ndarray(np.full((48, 64, 3), 128, dtype=np.uint8), format="rgb24")
        container.mux(stream.encode(grey))
        container.mux(stream.encode(None))
    with pytest.raises(RecordingError, match="holds no sound"):
        decode_container(io.BytesIO(path.read_bytes()), "mov", "a", Limits(), io.BytesIO().write)


def test_container_longer_than_the_limit(tmp_path) -> None:
    short = replace(Limits(), length_s=0.5)
    with pytest.raises(RecordingError, match=r"says that it lasts 1 s, more than 0\.5"):
        decode_container(io.BytesIO(mov(tmp_path)), "mov", "a", short, io.BytesIO().write)


@pytest.mark.parametrize(
    ("kind", "dtype", "steps", "floats"),
    [
        ("u8", np.uint8, [0, 128, 255], [-1, 0, 127 / 128]),
        ("s16", np.int16, [-32768, 0, 16384], [-1, 0, 0.5]),
        ("s32p", np.int32, [-(2**31), 0, 2**30], [-1, 0, 0.5]),
        ("flt", np.float32, [-1.5, 0, 0.25], [-1.5, 0, 0.25]),
        ("dblp", np.float64, [-1.5, 0, 0.25], [-1.5, 0, 0.25]),
    ],
)
def test_samples_of_every_kind_have_full_scale_1(kind, dtype, steps, floats) -> None:
    """Two channels, the second upside down in its order; packed or plane by plane."""
    channels = np.array([steps, steps[::-1]], dtype=dtype)
    planar = kind.endswith("p")
    frame = av.AudioFrame.from_ndarray(
        channels if planar else channels.T.reshape(1, -1).copy(), format=kind, layout="stereo"
    )
    assert _as_floats(frame) == pytest.approx(np.array([floats, floats[::-1]]).T)


def test_silence_stands_in_for_what_is_missing() -> None:
    out = io.BytesIO()
    writer = _Writer("a", Limits(), out.write)
    writer.begin(RATE_HZ, 2)
    writer.add(np.ones((3, 2), dtype=np.float32))
    writer.silence(5)
    assert writer.frames == 8
    expected = np.concatenate([np.ones(6), np.zeros(10)])
    assert np.array_equal(np.frombuffer(out.getvalue(), np.float32), expected)


def test_form_that_changes_in_the_middle() -> None:
    writer = _Writer("a", Limits(), io.BytesIO().write)
    writer.begin(RATE_HZ, 2)
    writer.begin(RATE_HZ, 2)
    with pytest.raises(RecordingError, match="changes its sample rate or its channels"):
        writer.begin(RATE_HZ, 1)


def test_silence_too_long_is_not_written() -> None:
    """A container may promise hours between two packets."""
    out = io.BytesIO()
    writer = _Writer("a", replace(Limits(), length_s=2.0), out.write)
    writer.begin(RATE_HZ, 1)
    with pytest.raises(RecordingError, match="lasts 3 s, more than 2"):
        writer.silence(3 * RATE_HZ)
    assert out.getvalue() == b""
