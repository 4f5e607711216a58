"""Which channel hears the pluck best: the loudest may be the clipped or the noisy one."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from analyzer.recording.reading import Recording

_FLOOR_PERCENTILE = 10
_QUIETEST_DBFS = -100.0  # below the noise of any converter: a muted channel is no better for it
_BETTER_DB = 6.0  # a channel must stand out of its noise by so much more to be taken for it
_CLIPPED_COSTS_DB = 40.0  # noise up to about 10 dB under the note is the lesser evil (a choice)
_LOOK_S = 0.5  # clipping shows where it is loudest
_FLAT = 0.999  # of the highest sample
_FLAT_RUN = 4  # samples in a row; a sine of 1.6 kHz at 44.1 kHz stays so high for one
_FEWEST_RUNS = 4


def best_channel(recording: Recording) -> int:
    """The channel, from 0, in which the pluck stands furthest out of the noise, unclipped.

    Channels alike in that are told apart by their loudness, as microphones left and right are.
    """
    count = recording.levels.shape[1]
    if count == 1:
        return 0
    power = recording.levels.astype(np.float64) ** 2
    level_db = 10 * np.log10(np.maximum(power, 1e-18))
    floor_db = np.maximum(np.percentile(level_db, _FLOOR_PERCENTILE, axis=0), _QUIETEST_DBFS)
    merit_db = np.max(level_db, axis=0) - floor_db
    loudest_s = np.argmax(level_db, axis=0) * recording.step_s
    for channel in np.flatnonzero(merit_db > 0):
        look_s = max(0.0, loudest_s[channel] - _LOOK_S / 2)
        samples = recording.excerpt(look_s, look_s + _LOOK_S, int(channel))
        merit_db[channel] -= _CLIPPED_COSTS_DB * _has_flat_tops(samples)
    good = merit_db >= np.max(merit_db) - _BETTER_DB
    return int(np.argmax(np.where(good, np.sum(power, axis=0), -1.0)))


def _has_flat_tops(samples: NDArray[np.float64]) -> bool:
    """Whether runs of samples stand at the highest or lowest value, as in hard clipping."""
    if samples.size == 0:
        return False
    runs = 0
    for side in (samples, -samples):
        at_top = side >= _FLAT * np.max(side) if np.max(side) > 0 else np.zeros(side.size, bool)
        in_row = np.convolve(at_top, np.ones(_FLAT_RUN), mode="valid") >= _FLAT_RUN
        runs += int(np.sum(np.diff(in_row.astype(int), prepend=0) > 0))
    return runs >= _FEWEST_RUNS
