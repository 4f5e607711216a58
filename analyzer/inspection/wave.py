"""The wave and the level of a recording, as fine as a drawing shows."""

from __future__ import annotations

import numpy as np

from analyzer.channels import best_channel
from analyzer.inspection.model import Levels, Wave
from analyzer.pitch.spectrum import Real
from analyzer.plucks import levels_db
from analyzer.recording.reading import Recording

_PARTS = 320  # a drawing is about so many points wide
_LOWEST_DBFS = -100.0  # digital silence has no level


def levels_in_parts(recording: Recording) -> Levels:
    """The level of the channel that is used, over the whole file."""
    dbfs = np.maximum(levels_db(recording, best_channel(recording)), _LOWEST_DBFS)
    size = -(-dbfs.size // _PARTS)
    loudest = np.maximum.reduceat(dbfs, np.arange(0, dbfs.size, size))
    return Levels(size * recording.step_s, tuple(np.round(loudest, 1).tolist()))


def wave_of(samples: Real, rate_hz: int, start_s: float) -> Wave:
    """The wave of a piece, shape (n,), that begins at ``start_s`` of the file."""
    size = max(1, -(-samples.size // _PARTS))
    starts = np.arange(0, samples.size, size)
    low, high = (np.round(each.reduceat(samples, starts), 5) for each in (np.minimum, np.maximum))
    return Wave(start_s, size / rate_hz, tuple(low.tolist()), tuple(high.tolist()))
