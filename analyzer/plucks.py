"""Where in a recording the pluck is: its onset and its end, on the channel that hears it best.

Works on the level over time and on onsets. What the note is, and whether it is one, is for
``pitch``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analyzer.channels import best_channel
from analyzer.errors import RecordingError
from analyzer.onsets import onsets_between
from analyzer.recording.reading import Recording

SHORTEST_NOTE_S = 0.5
LONGEST_USED_S = 8.0  # what comes later adds nothing to the figure
SILENT_DBFS = -80.0  # nothing in the file is louder: an unplugged cable
BEFORE_NEXT_S = 0.05  # a note ends this long before the next is struck: the finger comes first
_AUDIBLE_DB = 50.0  # a note is followed down to this far below its peak
_FLOOR_MARGIN_DB = 6.0
_CLEAR_FLOOR_DB = 30.0  # a level this far below the peak for a tenth of the file is its noise
_ONSET_DB = 15.0  # the onset is where the level first comes this close to the peak
_RESTRIKE_DB = 9.0  # a rise by this much within 0.1 s is another pluck
_RESTRIKE_AFTER_S = 0.3
_LOOK_BEHIND_S, _LOOK_AHEAD_S = 0.03, 0.1  # about a rough onset, for the place itself
# The bands show an onset 0.03 s late at most; further ahead a low string's own ripple is steep.
STRUCK_AHEAD_S = 0.015
_GAP_S = 0.06
_SMOOTHING_S = 0.05  # longer than the period of the lowest string: 5 ms alone would ripple with it

Levels = NDArray[np.float64]


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


def find_pluck(recording: Recording, start_s: float = 0.0, end_s: float = math.inf) -> Pluck:
    """The strongest pluck of a recording, or of the part of it from ``start_s`` to ``end_s``.

    A string that is struck again ends the note. Raises RecordingError where the part is silent or
    the note shorter than 0.5 s.
    """
    channel, name = best_channel(recording), recording.path.name
    first = round(start_s / recording.step_s)
    last = min(recording.levels.shape[0], round(min(end_s, 1e6) / recording.step_s))
    level_db = levels_db(recording, channel)[first:last]
    if level_db.size == 0:
        length_s = recording.levels.shape[0] * recording.step_s
        raise RecordingError(
            name, f"has nothing from {start_s:g} s on: it is {length_s:.1f} s long", "Mend start_s"
        )
    if np.max(level_db) < SILENT_DBFS:
        raise RecordingError(
            name,
            f"is silent (loudest {max(np.max(level_db), -180.0):.0f} dBFS)",
            "Check the cable or the microphone and record it again",
        )
    regions = _sounding_regions(level_db, recording.step_s)
    start, stop = regions[_strongest(level_db, regions)]
    parts = _parts(recording, channel, level_db, first, (start, stop))
    onset, end = parts[_strongest(level_db, [(int(a), b) for a, b in parts])]
    onset_s = (first + onset) * recording.step_s
    pluck = Pluck(
        onset_s,
        min((first + end) * recording.step_s, onset_s + LONGEST_USED_S),
        channel,
        len(parts) - 1 + _count_notes(level_db, regions, (start, stop), recording.step_s),
    )
    if pluck.duration_s < SHORTEST_NOTE_S:
        raise RecordingError(
            name,
            f"holds only {pluck.duration_s:.3f} s of a note",
            f"At least {SHORTEST_NOTE_S} s is needed; let it ring for three seconds",
        )
    return pluck


def levels_db(recording: Recording, channel: int) -> Levels:
    """The level of one channel in every step, dB of full scale."""
    level = np.maximum(recording.levels[:, channel], 1e-9)
    return np.asarray(20 * np.log10(level), dtype=np.float64)


def smoothed_db(level_db: Levels, step_s: float) -> Levels:
    """The level without the ripple of a low string's own periods, dB."""
    steps = round(_SMOOTHING_S / step_s)
    power = np.convolve(10 ** (level_db / 10), np.full(steps, 1 / steps), mode="same")
    return np.asarray(10 * np.log10(power + 1e-18))


def _strongest(level_db: Levels, parts: list[tuple[int, int]]) -> int:
    return int(np.argmax([np.sum(10 ** (level_db[a:b] / 10)) for a, b in parts]))


def _floor_db(level_db: Levels) -> float:
    """The level below which a tenth of the steps lie, dB, as ``np.percentile`` has it."""
    ordered, place = np.sort(level_db), 0.1 * (level_db.size - 1)
    return float(np.interp(place, np.arange(level_db.size), ordered))


def _sounding_regions(level_db: NDArray[np.float64], step_s: float) -> list[tuple[int, int]]:
    """Runs of steps in which something sounds, as (first, last + 1)."""
    peak_db = float(np.max(level_db))
    floor_db = _floor_db(level_db)
    threshold_db = peak_db - _AUDIBLE_DB
    if floor_db < peak_db - _CLEAR_FLOOR_DB:  # otherwise the note fills the file
        threshold_db = max(threshold_db, floor_db + _FLOOR_MARGIN_DB)
    steps = np.flatnonzero(level_db >= threshold_db)
    breaks = np.flatnonzero(np.diff(steps) > _GAP_S / step_s)
    firsts = np.concatenate([steps[:1], steps[breaks + 1]])
    lasts = np.concatenate([steps[breaks], steps[-1:]])
    return [(int(a), int(b) + 1) for a, b in zip(firsts, lasts, strict=True)]


def _parts(
    recording: Recording, channel: int, level_db: Levels, first: int, region: tuple[int, int]
) -> list[tuple[float, int]]:
    """The plucks of a region: onset (to a part of a step) and end of each, in steps.

    ``first`` is the step of the recording that ``level_db`` begins with.
    """
    start, stop = region
    step_s = recording.step_s
    peak_db, floor_db = float(np.max(level_db[start:stop])), _floor_db(level_db)
    threshold_db = max(peak_db - _ONSET_DB, 0.5 * (peak_db + floor_db))  # above loud noise
    onset = start + int(np.argmax(level_db[start:stop] >= threshold_db))
    begin_s, end_s = (first + onset) * step_s, (first + stop) * step_s
    struck_s = onsets_between(recording, channel, begin_s, end_s, peak_db) - first * step_s
    rises = onset + _rises(level_db[onset:stop], step_s)
    candidates = [(round(each / step_s), STRUCK_AHEAD_S) for each in struck_s]
    candidates += [(int(step), _LOOK_AHEAD_S) for step in rises]
    again = _struck_again(level_db, onset, candidates, step_s, peak_db - _AUDIBLE_DB / 2)
    before = round(BEFORE_NEXT_S / step_s)
    onsets: list[float] = [_crossing(level_db, onset, threshold_db), *again]
    return list(zip(onsets, [*(step - before for step in again), stop], strict=True))


def _struck_again(
    level_db: Levels, onset: int, candidates: list[tuple[int, float]], step_s: float, loud_db: float
) -> list[int]:
    """Steps after an onset at which a string is struck again, as loud as a pluck and apart.

    A candidate is a step, and how far ahead of it the place itself may lie, s.
    """
    again: list[int] = []
    for step, ahead_s in sorted(candidates):
        jump, after_db = steepest(level_db, step, step_s, ahead_s)
        apart = jump - max([onset, *again]) >= round(_RESTRIKE_AFTER_S / step_s)
        if apart and after_db > loud_db:
            again.append(jump)
    return again


def steepest(
    level_db: Levels, step: int, step_s: float, ahead_s: float = STRUCK_AHEAD_S
) -> tuple[int, float]:
    """Where about a step the level rises most at once, and the level just after, dB.

    The bands of an onset and a rise over 0.1 s tell its place only roughly.
    """
    first = max(1, step - round(_LOOK_BEHIND_S / step_s))
    near = level_db[first - 1 : step + round(ahead_s / step_s)]
    if near.size < 2:
        return step, -math.inf
    jump = first + int(np.argmax(np.diff(near)))
    settled = jump + round(_LOOK_BEHIND_S / step_s)  # the click of a cut is over by then
    after = level_db[settled : settled + round(_LOOK_AHEAD_S / step_s)]
    return jump, float(np.max(after, initial=-math.inf))


def _rises(level_db: Levels, step_s: float) -> NDArray[np.int_]:
    """Where the level has risen suddenly, in steps."""
    look_back = round(0.1 / step_s)
    smooth_db = smoothed_db(level_db, step_s)
    rise_db = smooth_db[look_back:] - smooth_db[:-look_back]
    return look_back + np.flatnonzero(rise_db > _RESTRIKE_DB)


def _crossing(level_db: NDArray[np.float64], step: int, threshold_db: float) -> float:
    """Where before ``step`` the level crossed the threshold, as part of a step."""
    if step == 0:
        return 0.0
    rise_db = float(level_db[step] - level_db[step - 1])
    return step - min(1.0, float(level_db[step] - threshold_db) / max(rise_db, 1e-9))


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
