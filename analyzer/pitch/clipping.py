"""Recordings that were too loud for their recorder: whether, and where, the wave has flat tops."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyzer.pitch.spectrum import Real

_TOP = 0.9995  # of the largest sample: a flat top, which a decaying wave reaches only once
_SHARE_FRAME_S = 0.05
_LEAST_SHARE = 0.02  # of a frame's samples; the first frame of a sound note may have as many
_LEAST_S = 0.1
_FREE_SHARE = 0.05


@dataclass(frozen=True)
class Clipping:
    """``share`` (frames,) of clipped samples in frames of 0.05 s from the excerpt's start."""

    share: Real

    @property
    def clipped(self) -> bool:
        """Whether enough of the note is clipped to matter."""
        return bool(np.sum(self.share > _LEAST_SHARE) * _SHARE_FRAME_S >= _LEAST_S)

    def free_from_s(self) -> float:
        """When the wave is all but free, from that start; 0 where it never was clipped."""
        over = np.flatnonzero(self.share > _FREE_SHARE)
        return float((over[-1] + 1) * _SHARE_FRAME_S) if self.clipped and over.size else 0.0


def find_clipping(samples: Real, rate_hz: float) -> Clipping:
    """Look for flat tops in samples (n,)."""
    size = max(1, round(_SHARE_FRAME_S * rate_hz))
    count = samples.size // size
    high = np.abs(samples)
    top = high[: count * size] >= _TOP * np.max(high)
    return Clipping(np.count_nonzero(top.reshape(count, size), axis=1) / size)
