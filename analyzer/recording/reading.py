"""A sound file on disk, read in blocks: its level over time, and excerpts of one channel.

A recording may be ten minutes long, so the samples are never all in memory: a first pass keeps
the level of each channel in steps of 5 ms, and the note is read again once its place is known.
Frames and channels are as soundfile gives them: arrays of shape (frames, channels).
"""

from __future__ import annotations

import math
import os
import re
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

from analyzer.errors import RecordingError

LEVEL_STEP_S = 0.005
_BLOCK_STEPS = 4000  # 20 s a block
LOWEST_RATE_HZ = 8000
HIGHEST_RATE_HZ = 384000
HIGHEST_SAMPLE = 1e15  # full scale = 1; 32-bit integers written as floats reach 2e9
_PROMISED = re.compile(r"^ *data : ([0-9]+) \(should be ([0-9]+)\)", re.MULTILINE)
_SIZE_UNKNOWN = 0x7FFFFFFF - 4096  # recorders that stream write about this much, or twice, at first


@dataclass(frozen=True)
class Recording:
    """A readable sound file and its level over time.

    ``levels`` has shape (steps, channels): root mean square in each ``step_s``, full scale = 1.
    ``cut_short``: the header promises more sound than the file holds.
    """

    path: Path
    rate_hz: int
    step_s: float
    levels: NDArray[np.float32]
    cut_short: bool = False

    def excerpt(self, start_s: float, end_s: float, channel: int) -> NDArray[np.float64]:
        """The samples of one channel from ``start_s`` to ``end_s``, shape (n,), full scale 1."""
        start, stop = round(max(start_s, 0.0) * self.rate_hz), round(end_s * self.rate_hz)
        with _opened(self.path) as file:
            file.seek(min(start, file.frames))
            samples = file.read(stop - start, dtype="float64", always_2d=True)
        return np.ascontiguousarray(samples[:, channel])


def open_recording(path: Path) -> Recording:
    """Check a sound file at the door and take its level over time.

    Raises
    ------
    RecordingError
        Not a regular file, not a sound file that libsndfile reads, empty, a rate outside 8 kHz to
        384 kHz, or samples that are not numbers or beyond all measure.
    """
    with _opened(path) as file:
        rate_hz = int(file.samplerate)
        _check_rate(path, rate_hz)
        step = max(1, round(LEVEL_STEP_S * rate_hz))
        levels = [
            _block_levels(path, block, step)
            for block in file.blocks(step * _BLOCK_STEPS, dtype="float32", always_2d=True)
        ]
        cut_short = _is_cut_short(file.extra_info)
        frames = int(file.frames)
    steps = np.concatenate(levels) if levels else np.zeros((0, 1), dtype=np.float32)
    if steps.shape[0] == 0:
        raise _no_sound(path, frames, cut_short=cut_short)
    return Recording(path, rate_hz, step / rate_hz, steps, cut_short)


@contextmanager
def _opened(path: Path) -> Iterator[soundfile.SoundFile]:
    """A sound file, with whatever goes wrong in it as a RecordingError."""
    _check_file(path)
    # soundfile would encode a name strictly, and refuse bytes that are no UTF-8.
    name = os.fsencode(path) if os.name == "posix" else str(path)
    try:
        with soundfile.SoundFile(name) as file:
            if not file.seekable():
                raise RecordingError(
                    path.name,
                    f"is coded as {file.subtype}, of which no part can be read alone",
                    "Export it as PCM WAV",
                )
            yield file
    except (soundfile.SoundFileError, TypeError) as error:
        # What libsndfile says is left out: for some formats it is not true.
        raise RecordingError(
            path.name,
            "cannot be read as sound",
            "Export it as WAV, or copy it again from the recorder",
        ) from error


def _check_file(path: Path) -> None:
    """Look at what it is before it is opened: opening a pipe would wait for ever."""
    try:
        status = path.stat()
        if not stat.S_ISREG(status.st_mode):
            raise RecordingError(
                path.name, "is not a regular file", "Put the recording itself in its place"
            )
        with path.open("rb"):
            pass
    except OSError as error:
        raise RecordingError(
            path.name,
            f"cannot be read ({error.strerror})",
            "Check its permissions, or where it links to",
        ) from error
    if status.st_size == 0:
        raise RecordingError(path.name, "is empty (0 bytes)", "Copy or record it again")


def _check_rate(path: Path, rate_hz: int) -> None:
    if not LOWEST_RATE_HZ <= rate_hz <= HIGHEST_RATE_HZ:
        raise RecordingError(
            path.name,
            f"has a sample rate of {rate_hz} Hz",
            f"Record between {LOWEST_RATE_HZ} Hz and {HIGHEST_RATE_HZ} Hz; 44100 Hz is good",
        )


def _block_levels(path: Path, block: NDArray[np.float32], step: int) -> NDArray[np.float32]:
    with np.errstate(invalid="ignore"):
        peak = float(np.max(np.abs(block), initial=0))  # of the part step at the end, too
    _check_samples(path, peak)
    whole = block[: block.shape[0] // step * step]
    whole = whole - np.mean(block, axis=0)  # a recorder's constant offset is not loudness
    power = np.mean(whole.reshape(-1, step, block.shape[1]) ** 2, axis=1)
    return np.asarray(np.sqrt(power), dtype=np.float32)


def _check_samples(path: Path, peak: float) -> None:
    if math.isnan(peak):
        raise RecordingError(
            path.name, "holds samples that are not numbers (NaN)", "Export it again as PCM WAV"
        )
    if peak > HIGHEST_SAMPLE:
        raise RecordingError(
            path.name,
            f"holds samples beyond {HIGHEST_SAMPLE:g} times full scale",
            "Export it again as PCM WAV",
        )


def _is_cut_short(log: str) -> bool:
    """Whether libsndfile's log of the header says that more sound was promised than there is."""
    match = _PROMISED.search(log)
    return match is not None and int(match[2]) < int(match[1]) < _SIZE_UNKNOWN


def _no_sound(path: Path, frames: int, *, cut_short: bool) -> RecordingError:
    if cut_short:
        return RecordingError(
            path.name,
            f"ends after {frames} samples, though its header promises more",
            "Copy it again from the recorder",
        )
    found = f"holds only {frames} samples" if frames else "holds no sound"
    return RecordingError(path.name, found, "Record it again")
