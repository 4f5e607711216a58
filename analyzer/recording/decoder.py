"""Decodes one sound file in a process of its own, so that a crash or a hang costs that file only.

Run by ``apart``. The file comes as standard input and its samples leave as standard output, so
that this process needs to open nothing; before it looks at the first byte it gives up the right to
open, to fork, and to take more than its share of time, memory and disk, where the system knows
such limits. Standard error carries one line of JSON: what was decoded, or why not.

Samples leave as 32-bit floats in the machine's byte order, frame by frame, full scale 1.
"""

from __future__ import annotations

import errno
import importlib
import io
import json
import math
import os
import pkgutil
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import asdict, dataclass
from typing import Any, BinaryIO

import numpy as np
import soundfile
from numpy.typing import NDArray

from analyzer.errors import RecordingError
from analyzer.recording.formats import is_cut_short, next_frames, promised_frames
from analyzer.recording.limits import Limits, check_decoded, check_form, check_length

Write = Callable[[bytes], Any]
_MEMORY_BYTES = 2 * 10**9  # of address space; the libraries alone take some hundred MB
_BLOCK_SAMPLES = 2_000_000
_BYTES_A_SAMPLE = 4
# Decoders that phones' files need. Video has none here, so that it is not even looked into.
_CODECS = "aac,aac_latm,alac,mp3,mp3float,opus,libopus,vorbis,flac,amrnb,amrwb,ac3,wmav1,wmav2"
_CODECS += ",wmapro,wmalossless,pcm_s16le,pcm_s16be,pcm_s24le,pcm_s24be,pcm_s32le,pcm_s32be"
_CODECS += ",pcm_f32le,pcm_f32be,pcm_u8,pcm_mulaw,pcm_alaw"
_LONGEST_JITTER_S = 0.05  # containers date their packets to a millisecond, phones less well
_SHORT_BY_S = 0.5  # less than the header promised by this much is cut short
_UNNAMED = "recording"
_NOT_NEEDED = ("__main__", ".about", ".datasets")  # parts of PyAV
_NO_ROOM = {
    "found": "needs more room for its samples than the folder for temporary files has",
    "remedy": "Free some, or name another folder in the environment variable TMPDIR",
}
_MICROSECONDS = 1e6  # FFmpeg's unit of a container's duration


@dataclass(frozen=True)
class Decoded:
    """What was decoded. ``frames`` were written, of ``channels`` samples each."""

    rate_hz: int
    channels: int
    frames: int
    cut_short: bool


class _Writer:
    """Writes blocks of frames and holds them to the limits."""

    def __init__(self, name: str, limits: Limits, write: Write) -> None:
        self._name, self._limits, self._write = name, limits, write
        self.rate_hz = self.channels = self.frames = 0

    def begin(self, rate_hz: int, channels: int) -> None:
        if self.rate_hz and (rate_hz, channels) != (self.rate_hz, self.channels):
            raise RecordingError(
                self._name,
                "changes its sample rate or its channels in its middle",
                "Export it as PCM WAV",
            )
        check_form(self._name, rate_hz, channels, self._limits)
        self.rate_hz, self.channels = rate_hz, channels

    def add(self, block: NDArray[np.float32]) -> None:
        self.room_for(block.shape[0])
        self.frames += block.shape[0]
        self._write(np.ascontiguousarray(block, dtype=np.float32).tobytes())

    def silence(self, frames: int) -> None:
        self.room_for(frames)
        while frames > 0:
            part = min(frames, _BLOCK_SAMPLES // self.channels)
            self.add(np.zeros((part, self.channels), dtype=np.float32))
            frames -= part

    def room_for(self, frames: int) -> None:
        frames += self.frames
        check_length(self._name, frames / self.rate_hz, self._limits)
        check_decoded(self._name, frames * self.channels * _BYTES_A_SAMPLE, self._limits)


def decode_sound_file(file: Any, name: str, limits: Limits, write: Write) -> Decoded:
    """Decode what libsndfile reads, from a descriptor or a file object, in one go from its start.

    Raises RecordingError beyond the limits, soundfile.SoundFileError for what is no sound.
    """
    with soundfile.SoundFile(file) as sound:
        writer = _Writer(name, limits, write)
        writer.begin(int(sound.samplerate), int(sound.channels))
        promised_s = promised_frames(sound) / writer.rate_hz
        check_length(name, promised_s, limits, promised=True)
        step = max(1, _BLOCK_SAMPLES // writer.channels)
        while (block := next_frames(sound, step, "float32")).shape[0]:
            writer.add(block)
        cut_short = is_cut_short(sound.extra_info)
    return Decoded(writer.rate_hz, writer.channels, writer.frames, cut_short)


def decode_container(
    file: BinaryIO, demuxer: str, name: str, limits: Limits, write: Write
) -> Decoded:
    """Decode the sound of a container with FFmpeg's libraries.

    Only the named demuxer and decoders of sound are let in, and no file or address that the
    container names is opened. Where packets are missing, silence stands in, so that times hold;
    where one is broken, the sound before it is kept, and is ``cut_short``.

    Raises RecordingError beyond the limits or without sound, av.FFmpegError for broken files.
    """
    import av

    av.logging.set_level(av.logging.PANIC)
    shut = {"format_whitelist": demuxer, "codec_whitelist": _CODECS, "protocol_whitelist": "none"}
    with av.open(file, format=demuxer, container_options=shut, io_open=_no_other_file) as container:
        stream = next(iter(container.streams.audio), None)
        if stream is None:
            raise RecordingError(name, "holds no sound", "Send the recording, not the picture")
        promised_s = _promised_s(container, stream)
        check_length(name, promised_s, limits, promised=True)
        writer = _Writer(name, limits, write)
        try:
            for frame in _frames(container, stream, writer):
                writer.add(_as_floats(frame))
            broken = False
        except av.FFmpegError:  # the end of a file that breaks off is part of a packet
            broken = True
            if not writer.frames:
                raise
    if not writer.frames:
        raise RecordingError(name, "holds no sound", "Record it again")
    short = broken or writer.frames < (promised_s - _SHORT_BY_S) * writer.rate_hz
    return Decoded(writer.rate_hz, writer.channels, writer.frames, cut_short=short)


def _no_other_file(url: str, *_: Any) -> Any:
    raise PermissionError(f"{url} is not opened")


def _promised_s(container: Any, stream: Any) -> float:
    """How long the header says that the sound is; 0 where it does not."""
    if stream.duration is not None and stream.time_base is not None:
        return float(stream.duration * stream.time_base)
    alone = len(container.streams) == 1  # a picture may go on when the sound has ended
    return container.duration / _MICROSECONDS if alone and container.duration else 0.0


def _frames(container: Any, stream: Any, writer: _Writer) -> Iterator[Any]:
    """Decoded frames, with the writer told of their form and of what is missing before each."""
    stream.codec_context.thread_count = 1
    begin_s = math.nan
    for frame in container.decode(stream):
        if not frame.samples:
            continue
        writer.begin(frame.sample_rate, len(frame.layout.channels))
        if frame.time is not None:
            at_s = frame.time - writer.frames / writer.rate_hz
            begin_s = at_s if math.isnan(begin_s) else begin_s
            if at_s - begin_s > _LONGEST_JITTER_S:
                writer.silence(round((at_s - begin_s) * writer.rate_hz))
        yield frame


def _as_floats(frame: Any) -> NDArray[np.float32]:
    """The samples of a frame, shape (frames, channels), full scale 1."""
    samples: NDArray[Any] = frame.to_ndarray()
    channels = len(frame.layout.channels)
    samples = samples.T if frame.format.is_planar else samples.reshape(-1, channels)
    if samples.dtype == np.uint8:
        return np.asarray((samples.astype(np.float32) - 128) / 128, dtype=np.float32)
    if np.issubdtype(samples.dtype, np.integer):
        return np.asarray(samples / -float(np.iinfo(samples.dtype).min), dtype=np.float32)
    with np.errstate(over="ignore"):
        return np.asarray(samples, dtype=np.float32)


def _shut_in(limits: Limits) -> None:
    """Give up what decoding does not need. Every file that is needed must be open by now."""
    try:
        import resource
    except ImportError:  # not on Windows; the time limit of ``apart`` holds everywhere
        return
    wanted = {
        "RLIMIT_CPU": math.ceil(limits.decoding_s),
        "RLIMIT_AS": _MEMORY_BYTES,
        "RLIMIT_FSIZE": math.ceil(limits.decoded_mb * 1e6) + _BLOCK_SAMPLES * _BYTES_A_SAMPLE,
        "RLIMIT_CORE": 0,
        "RLIMIT_NPROC": 0,
        "RLIMIT_NOFILE": 3,  # what is open stays so; nothing can be opened any more
    }
    for name, value in wanted.items():
        with suppress(AttributeError, ValueError, OSError):  # not every system has every one
            resource.setrlimit(getattr(resource, name), (value, value))


def _import_all_of_av() -> None:
    """PyAV imports parts of itself when it first needs them; later no file can be opened."""
    import av

    for part in pkgutil.walk_packages(av.__path__, "av."):
        if not part.name.endswith(_NOT_NEEDED):
            with suppress(ImportError):
                importlib.import_module(part.name)


def main(order: str) -> None:
    """Decode standard input as the order (JSON: ``demuxer``, ``limits``) says.

    It is not told the file's name: to write a strange one down, Python would have to open files.
    """
    answers = os.dup(2)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 2)  # decoders print notes of their own
    wanted = json.loads(order)
    limits, demuxer = Limits(**wanted["limits"]), wanted["demuxer"]
    if demuxer is not None:
        _import_all_of_av()
    _shut_in(limits)
    answer = _answer(demuxer, limits)
    os.write(answers, json.dumps(answer).encode())


def _answer(demuxer: str | None, limits: Limits) -> dict[str, Any]:
    out = io.FileIO(1, "wb", closefd=False)
    writing = io.BufferedWriter(out, 1 << 20)
    try:
        if demuxer is None:
            decoded = decode_sound_file(0, _UNNAMED, limits, writing.write)
        else:
            file = io.BufferedReader(io.FileIO(0, "rb", closefd=False))
            decoded = decode_container(file, demuxer, _UNNAMED, limits, writing.write)
        writing.flush()
    except RecordingError as error:
        return {"found": error.found, "remedy": error.remedy}
    except OSError as error:
        return _NO_ROOM if error.errno == errno.ENOSPC else {}
    except Exception:  # noqa: BLE001 - whatever a decoder raises, this file is unreadable
        return {}
    return asdict(decoded)
