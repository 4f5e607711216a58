"""A sound file on disk, read in blocks: its level over time, and excerpts of one channel.

A recording may be ten minutes long, so the samples are never all in memory: a first pass keeps
the level of each channel in steps of 5 ms, and the note is read again once its place is known.
Frames and channels are as soundfile gives them: arrays of shape (frames, channels).
"""

from __future__ import annotations

import warnings
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


@dataclass(frozen=True)
class Recording:
    """A readable sound file and its level over time.

    ``levels`` has shape (steps, channels): root mean square in each ``step_s``, full scale = 1.
    """

    path: Path
    rate_hz: int
    step_s: float
    levels: NDArray[np.float32]

    @property
    def duration_s(self) -> float:
        return float(self.levels.shape[0] * self.step_s)

    def excerpt(self, start_s: float, end_s: float, channel: int) -> NDArray[np.float64]:
        """The samples of one channel from ``start_s`` to ``end_s``, shape (n,), full scale 1."""
        start, stop = round(max(start_s, 0.0) * self.rate_hz), round(end_s * self.rate_hz)
        with _open(self.path) as file:
            file.seek(min(start, file.frames))
            samples = file.read(stop - start, dtype="float64", always_2d=True)
        return np.ascontiguousarray(samples[:, channel])


def open_recording(path: Path) -> Recording:
    """Check a sound file at the door and take its level over time.

    Raises
    ------
    RecordingError
        Not a sound file that libsndfile reads, empty, a rate outside 8 kHz to 384 kHz, or samples
        that are not numbers.
    """
    with _open(path) as file:
        rate_hz = int(file.samplerate)
        _check_rate(path, rate_hz)
        step = max(1, round(LEVEL_STEP_S * rate_hz))
        levels = [
            _block_levels(path, block, step)
            for block in file.blocks(step * _BLOCK_STEPS, dtype="float32", always_2d=True)
        ]
    steps = np.concatenate(levels) if levels else np.zeros((0, 1), dtype=np.float32)
    if steps.shape[0] == 0:
        raise RecordingError(path.name, "holds no sound", "Record it again")
    return Recording(path, rate_hz, step / rate_hz, steps)


def _open(path: Path) -> soundfile.SoundFile:
    if path.stat().st_size == 0:
        raise RecordingError(path.name, "is empty (0 bytes)", "Copy or record it again")
    try:
        return soundfile.SoundFile(str(path))
    except (soundfile.SoundFileError, TypeError) as error:
        said = str(error).rsplit(": ", 1)[-1].strip().rstrip(".")
        raise RecordingError(
            path.name,
            f"cannot be read as sound ({said})",
            "Export it as WAV, or copy it again from the recorder",
        ) from error


def _check_rate(path: Path, rate_hz: int) -> None:
    if not LOWEST_RATE_HZ <= rate_hz <= HIGHEST_RATE_HZ:
        raise RecordingError(
            path.name,
            f"has a sample rate of {rate_hz} Hz",
            f"Record between {LOWEST_RATE_HZ} Hz and {HIGHEST_RATE_HZ} Hz; 44100 Hz is good",
        )


def _block_levels(path: Path, block: NDArray[np.float32], step: int) -> NDArray[np.float32]:
    whole = block[: block.shape[0] // step * step]
    with warnings.catch_warnings(), np.errstate(over="ignore", invalid="ignore"):
        power = np.mean(whole.reshape(-1, step, block.shape[1]) ** 2, axis=1)
    if not np.all(np.isfinite(power)):
        raise RecordingError(
            path.name, "holds samples that are not numbers", "Export it again from the recorder"
        )
    return np.asarray(np.sqrt(power), dtype=np.float32)
