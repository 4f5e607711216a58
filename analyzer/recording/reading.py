"""A sound file on disk, read in blocks: its level over time, and excerpts of one channel.

A recording may be ten minutes long, so the samples are not kept in memory beyond one block: a
first pass keeps the level of each channel in steps of 5 ms, and of a longer file the note is read
again once its place is known.
What libsndfile reads from a trusted sender is read where it lies; all else is decoded apart first.
Frames and channels are as soundfile gives them: arrays of shape (frames, channels).
"""

from __future__ import annotations

import math
import os
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

from analyzer.errors import RecordingError
from analyzer.recording.apart import DecodedSound, decode_apart, unreadable
from analyzer.recording.door import check_file
from analyzer.recording.formats import demuxer_of, is_cut_short, next_frames, promised_frames
from analyzer.recording.limits import TRUSTED, Limits, ReadingRules, check_form, check_length

LEVEL_STEP_S = 0.005
_BLOCK_SAMPLES = 4_000_000  # of all channels: 16 MB
_LOST_S = 0.1  # of an excerpt: a few frames of a coding at most
HIGHEST_SAMPLE = 1e15  # full scale = 1; 32-bit integers written as floats reach 2e9


@dataclass(frozen=True)
class Recording:
    """A readable sound file and its level over time.

    ``levels`` has shape (steps, channels): root mean square in each ``step_s``, full scale = 1.
    ``cut_short``: the header promises more sound than the file holds. ``decoded`` has the samples
    where they were decoded apart, ``whole`` (frames, channels) of a short file that was not.
    """

    path: Path
    rate_hz: int
    step_s: float
    levels: NDArray[np.float32]
    cut_short: bool = False
    decoded: DecodedSound | None = None
    whole: NDArray[np.float32] | None = None

    def excerpt(self, start_s: float, end_s: float, channel: int) -> NDArray[np.float64]:
        """The samples of one channel from ``start_s`` to ``end_s``, shape (n,), full scale 1.

        Raises RecordingError where less is read than there was the first time: a damaged file's
        parts may not be found again.
        """
        start, stop = round(max(start_s, 0.0) * self.rate_hz), round(end_s * self.rate_hz)
        if self.whole is not None:
            return self.whole[start:stop, channel].astype(np.float64)
        step = max(1, _BLOCK_SAMPLES // self.levels.shape[1])
        parts = [(first, min(first + step, stop)) for first in range(start, stop, step)]
        if self.decoded is not None:
            blocks = [self.decoded.read(*part)[:, channel].astype(np.float64) for part in parts]
        else:
            with _opened(self.path) as file:
                file.seek(min(start, file.frames))
                blocks = [_channel(file, last - first, channel) for first, last in parts]
        samples = np.concatenate(blocks) if blocks else np.zeros(0)
        there_s = min(self.levels.shape[0] * self.step_s, end_s) - max(start_s, 0.0)
        if samples.size < (there_s - _LOST_S) * self.rate_hz:
            raise unreadable(self.path.name)
        return samples


def open_recording(path: Path, rules: ReadingRules = TRUSTED) -> Recording:
    """Check a sound file at the door and take its level over time.

    Raises
    ------
    RecordingError
        Not a regular file, not a sound file that can be read, empty, beyond a limit of the rules,
        or samples that are not numbers or beyond all measure.
    """
    check_file(path, rules)
    demuxer = demuxer_of(path)
    found = None
    if demuxer is None and not rules.untrusted:
        found = _read_in_place(path, rules.limits)
    return found or _read_apart(path, demuxer, rules.limits)


def _read_in_place(path: Path, limits: Limits) -> Recording | None:
    """None for a coding that goes only from its start to its end, so that no part reads alone."""
    with _opened(path) as file:
        if not file.seekable():
            return None
        rate_hz, step = int(file.samplerate), _step(file.samplerate)
        _check_header(path, file, limits)
        frames = _block_frames(rate_hz, file.channels)
        blocks: Iterable[NDArray[np.float32]] = _blocks(file, frames)
        whole = None
        if file.frames <= frames:
            blocks = list(blocks)
            whole = blocks[0] if len(blocks) == 1 else None
        levels = _levels(path, _within(path, blocks, rate_hz, limits), step)
        cut_short = is_cut_short(file.extra_info)
        found = Recording(path, rate_hz, step / rate_hz, levels, cut_short, whole=whole)
        return _checked(found, file.tell())


def _read_apart(path: Path, demuxer: str | None, limits: Limits) -> Recording:
    sound = decode_apart(path, demuxer, limits)
    step, frames = _step(sound.rate_hz), _block_frames(sound.rate_hz, sound.channels)
    levels = _levels(path, sound.blocks(frames), step)
    found = Recording(path, sound.rate_hz, step / sound.rate_hz, levels, sound.cut_short, sound)
    return _checked(found, sound.frames)


def _checked(found: Recording, frames: int) -> Recording:
    if found.levels.shape[0] == 0:
        raise _no_sound(found.path, frames, cut_short=found.cut_short)
    return found


def _check_header(path: Path, file: soundfile.SoundFile, limits: Limits) -> None:
    check_form(path.name, file.samplerate, file.channels, limits)
    check_length(path.name, promised_frames(file) / file.samplerate, limits, promised=True)


def _within(
    path: Path, blocks: Iterable[NDArray[np.float32]], rate_hz: int, limits: Limits
) -> Iterator[NDArray[np.float32]]:
    """The same blocks, while there are no more than the limits allow: headers lie."""
    frames = 0
    for block in blocks:
        frames += block.shape[0]
        check_length(path.name, frames / rate_hz, limits)
        yield block


def _step(rate_hz: int) -> int:
    """Frames in a step of the level."""
    return max(1, round(LEVEL_STEP_S * rate_hz))


def _block_frames(rate_hz: int, channels: int) -> int:
    """Frames in a block: whole steps."""
    step = _step(rate_hz)
    return step * max(1, _BLOCK_SAMPLES // (channels * step))


def _channel(file: soundfile.SoundFile, frames: int, channel: int) -> NDArray[np.float64]:
    return np.ascontiguousarray(next_frames(file, frames, "float64")[:, channel])


def _blocks(file: soundfile.SoundFile, frames: int) -> Iterator[NDArray[np.float32]]:
    # Not soundfile's own ``blocks``: where a damaged file gives less than it promised, those
    # repeat what stood in the array before.
    while (block := next_frames(file, frames, "float32")).shape[0]:
        yield block


@contextmanager
def _opened(path: Path) -> Iterator[soundfile.SoundFile]:
    """A sound file, with whatever goes wrong in it as a RecordingError."""
    # soundfile would encode a name strictly, and refuse bytes that are no UTF-8.
    name = os.fsencode(path) if os.name == "posix" else str(path)
    try:
        with soundfile.SoundFile(name) as file:
            yield file
    except (soundfile.SoundFileError, TypeError) as error:
        raise unreadable(path.name) from error


def _levels(path: Path, blocks: Iterable[NDArray[np.float32]], step: int) -> NDArray[np.float32]:
    levels = [_block_levels(path, block, step) for block in blocks]
    return np.concatenate(levels) if levels else np.zeros((0, 1), dtype=np.float32)


def _block_levels(path: Path, block: NDArray[np.float32], step: int) -> NDArray[np.float32]:
    with np.errstate(invalid="ignore"):
        # Of the part step at the end, too; without an array of magnitudes.
        peak = float(np.maximum(np.max(block, initial=0), -np.min(block, initial=0)))
    _check_samples(path, peak)
    whole = block[: block.shape[0] // step * step]
    whole = whole - np.mean(block, axis=0)  # a recorder's constant offset is not loudness
    steps = np.ascontiguousarray(whole.T).reshape(block.shape[1], -1, step)
    power = np.einsum("cns,cns->nc", steps, steps) / step
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


def _no_sound(path: Path, frames: int, *, cut_short: bool) -> RecordingError:
    if cut_short:
        return RecordingError(
            path.name,
            f"ends after {frames} samples, though its header promises more",
            "Copy it again from the recorder",
        )
    found = f"holds only {frames} samples" if frames else "holds no sound"
    return RecordingError(path.name, found, "Record it again")
