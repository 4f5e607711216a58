"""Where in a recording the pluck is: its onset and its end, on the channel that hears it best.

Works on the level over time alone. What the note is, and whether it is one, is for ``pitch``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analyzer.errors import RecordingError
from analyzer.recording.reading import Recording

SHORTEST_NOTE_S = 0.5
LONGEST_USED_S = 8.0  # what comes later adds nothing to the figure
SILENT_DBFS = -80.0  # nothing in the file is louder: an unplugged cable
_AUDIBLE_DB = 50.0  # a note is followed down to this far below its peak
_FLOOR_MARGIN_DB = 6.0
_CLEAR_FLOOR_DB = 30.0  # a level this far below the peak for a tenth of the file is its noise
_ONSET_DB = 15.0  # the onset is where the level first comes this close to the peak
_RESTRIKE_DB = 9.0  # a rise by this much within 0.1 s is another pluck
_RESTRIKE_AFTER_S = 0.3
_GAP_S = 0.06
_SMOOTHING_S = 0.05  # longer than the period of the lowest string: 5 ms alone would ripple with it


@dataclass(frozen=True)
class Pluck:
    """One pluck in a recording. Times in seconds from the start of the file."""

    onset_s: float
    end_s: float
    channel: int
    others: int  # further plucks in the same file, which were not used

    @property
    def duration_s(self) -> float:
        return self.end_s - self.onset_s


def find_pluck(recording: Recording) -> Pluck:
    """The strongest pluck of a recording.

    Raises RecordingError where the file is silent or the note is shorter than 0.5 s.
    """
    channel = int(np.argmax(np.sum(recording.levels.astype(np.float64) ** 2, axis=0)))
    level_db = 20 * np.log10(np.maximum(recording.levels[:, channel], 1e-9)).astype(np.float64)
    name = recording.path.name
    if np.max(level_db) < SILENT_DBFS:
        raise RecordingError(
            name,
            f"is silent (loudest {max(np.max(level_db), -180.0):.0f} dBFS)",
            "Check the cable or the microphone and record it again",
        )
    regions = _sounding_regions(level_db, recording.step_s)
    energies = [float(np.sum(10 ** (level_db[a:b] / 10))) for a, b in regions]
    start, stop = regions[int(np.argmax(energies))]
    onset, end, restrikes = _onset_and_end(level_db, start, stop, recording.step_s)
    onset_s = onset * recording.step_s
    pluck = Pluck(
        onset_s,
        min(end * recording.step_s, onset_s + LONGEST_USED_S),
        channel,
        restrikes + _count_notes(level_db, regions, (start, stop), recording.step_s),
    )
    if pluck.duration_s < SHORTEST_NOTE_S:
        raise RecordingError(
            name,
            f"holds only {pluck.duration_s:.3f} s of a note",
            f"At least {SHORTEST_NOTE_S} s is needed; let it ring for three seconds",
        )
    return pluck


def _sounding_regions(level_db: NDArray[np.float64], step_s: float) -> list[tuple[int, int]]:
    """Runs of steps in which something sounds, as (first, last + 1)."""
    peak_db = float(np.max(level_db))
    floor_db = float(np.percentile(level_db, 10))
    threshold_db = peak_db - _AUDIBLE_DB
    if floor_db < peak_db - _CLEAR_FLOOR_DB:  # otherwise the note fills the file
        threshold_db = max(threshold_db, floor_db + _FLOOR_MARGIN_DB)
    steps = np.flatnonzero(level_db >= threshold_db)
    breaks = np.flatnonzero(np.diff(steps) > _GAP_S / step_s)
    firsts = np.concatenate([steps[:1], steps[breaks + 1]])
    lasts = np.concatenate([steps[breaks], steps[-1:]])
    return [(int(a), int(b) + 1) for a, b in zip(firsts, lasts, strict=True)]


def _onset_and_end(
    level_db: NDArray[np.float64], start: int, stop: int, step_s: float
) -> tuple[float, int, int]:
    """Onset (to a part of a step) and end in steps, and how often the string is struck again."""
    inside = level_db[start:stop]
    peak_db, floor_db = float(np.max(inside)), float(np.percentile(level_db, 10))
    threshold_db = max(peak_db - _ONSET_DB, 0.5 * (peak_db + floor_db))  # above loud noise
    onset = start + int(np.argmax(inside >= threshold_db))
    begin = onset + round(_RESTRIKE_AFTER_S / step_s)
    look_back = round(0.1 / step_s)
    smooth_db = _smoothed(level_db[onset:stop], round(_SMOOTHING_S / step_s))
    rise_db = smooth_db[look_back:] - smooth_db[:-look_back]
    loud = smooth_db[look_back:] > np.max(smooth_db) - _AUDIBLE_DB / 2
    rises = onset + look_back + np.flatnonzero(loud & (rise_db > _RESTRIKE_DB))
    rises = rises[rises >= begin]
    if rises.size == 0:
        return _crossing(level_db, onset, threshold_db), stop, 0
    restrikes = 1 + int(np.sum(np.diff(rises) > 2 * look_back))
    end = max(int(rises[0]) - look_back, onset + 1)
    return _crossing(level_db, onset, threshold_db), end, restrikes


def _crossing(level_db: NDArray[np.float64], step: int, threshold_db: float) -> float:
    """Where before ``step`` the level crossed the threshold, as part of a step."""
    if step == 0:
        return 0.0
    rise_db = float(level_db[step] - level_db[step - 1])
    return step - min(1.0, float(level_db[step] - threshold_db) / max(rise_db, 1e-9))


def _smoothed(level_db: NDArray[np.float64], steps: int) -> NDArray[np.float64]:
    power = np.convolve(10 ** (level_db / 10), np.full(steps, 1 / steps), mode="same")
    return np.asarray(10 * np.log10(power + 1e-18))


def _count_notes(
    level_db: NDArray[np.float64],
    regions: list[tuple[int, int]],
    used: tuple[int, int],
    step_s: float,
) -> int:
    """Other regions that are long and loud enough to be plucks."""
    loud_db = float(np.max(level_db)) - _AUDIBLE_DB / 2
    return sum(
        (b - a) * step_s >= SHORTEST_NOTE_S and float(np.max(level_db[a:b])) > loud_db
        for a, b in regions
        if (a, b) != used
    )
