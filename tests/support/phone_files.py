"""Sound as phones and cameras write it: encoded with FFmpeg's libraries, through PyAV."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import av
import numpy as np
import soxr

av.logging.set_level(av.logging.PANIC)


class Format(NamedTuple):
    """``lossless``: what is decoded is what was encoded, to the step of its samples."""

    file: str
    container: str
    codec: str
    rate_hz: int
    bit_rate: int | None = None
    lossless: bool = False


# The rates are those of the coding, or common: AAC at 44.1 and 48 kHz, AMR's fixed 8 kHz, Opus's
# own 48 kHz. The bit rates are common practice of phones, from memory.
FORMATS = [
    Format("note.m4a", "ipod", "aac", 48000, 128_000),
    Format("note.mp4", "mp4", "aac", 44100, 96_000),
    Format("note.mov", "mov", "aac", 44100, 64_000),
    Format("pcm.mov", "mov", "pcm_s16le", 44100, lossless=True),
    Format("note.3gp", "3gp", "aac", 16000, 32_000),
    Format("speech.3gp", "3gp", "libopencore_amrnb", 8000, 12_200),
    Format("speech.amr", "amr", "libopencore_amrnb", 8000, 12_200),
    Format("note.webm", "webm", "libopus", 48000, 64_000),
    Format("note.mkv", "matroska", "flac", 44100, lossless=True),
    Format("note.aac", "adts", "aac", 44100, 96_000),
    Format("lossless.m4a", "ipod", "alac", 44100, lossless=True),
    Format("note.opus", "ogg", "libopus", 48000, 64_000),
]
# Builds of PyAV differ in what they can write; all of them can read it.
ENCODABLE = [form for form in FORMATS if form.codec in av.codecs_available]


def encode(path: Path, sound: np.ndarray, rate_hz: int, form: Format, *, video: bool = False):
    """Write sound of shape (n,), full scale 1, resampled to the rate of the format."""
    samples = soxr.resample(sound, rate_hz, form.rate_hz).astype(np.float32)
    options = {"strict": "-2"}  # what is marked as experimental, too
    with av.open(str(path), "w", format=form.container) as container:
        stream = container.add_stream(form.codec, rate=form.rate_hz, options=options)
        stream.codec_context.layout = "mono"
        if form.bit_rate is not None:
            stream.bit_rate = form.bit_rate
        if video:
            _add_picture(container)
        frame = av.AudioFrame.from_ndarray(samples[None, :], format="fltp", layout="mono")
        frame.sample_rate, frame.pts = form.rate_hz, 0
        resampler = av.AudioResampler(stream.codec_context.format, "mono", form.rate_hz)
        for each in (*resampler.resample(frame), *resampler.resample(None)):
            container.mux(stream.encode(each))
        container.mux(stream.encode(None))
    return path


def _add_picture(container) -> None:
    """A grey second of video, as a camera's file has."""
    stream = container.add_stream("mpeg4", rate=25)
    stream.width, stream.height, stream.pix_fmt = 64, 48, "yuv420p"
    for _ in range(25):
        picture = np.full((48, 64, 3), 128, dtype=np.uint8)
        container.mux(stream.encode(av.VideoFrame.from_ndarray(picture, format="rgb24")))
    container.mux(stream.encode(None))
