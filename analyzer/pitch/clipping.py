"""Recordings that were too loud for their recorder: the partials from the samples that are left.

A clipped wave's partials mix: sums and differences of stretched partials fall beside other
partials and pull their phases. But the samples between the flat tops are true, and in a short
frame the note is a sum of sinusoids of known frequencies. So where most samples are true, the
complex amplitudes of all partials are fitted to these alone, frame by frame, by least squares. The
louder start of the note is left out: with it goes what could be known of the glide.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analyzer.pitch.spectrum import Complex, Real

_TOP = 0.9995  # of the largest sample: a flat top, which a decaying wave reaches only once
_TRUE = 0.98  # of the largest sample: what lies below is not clipped
_SHARE_FRAME_S = 0.05
_LEAST_SHARE = 0.02  # of a frame's samples; the first frame of a sound note may have as many
_LEAST_S = 0.1
_FREE_SHARE = 0.05
_FRAME_S = 0.04
_PERIODS_A_FRAME = 3.0
_LEAST_TRUE = 0.9  # share of a frame: with longer gaps the fit may swing within them


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
    top = np.abs(samples[: count * size]) >= _TOP * np.max(np.abs(samples))
    return Clipping(np.mean(top.reshape(count, size), axis=1))


@dataclass(frozen=True)
class TrueEnvelopes:
    """Complex envelopes of partials from samples that are not clipped.

    ``values`` (partials, frames) are against the frequencies asked for, ``times_s`` (frames,) are
    the middles of the frames from the first sample. Frames do not overlap, so their noise is
    independent. ``known`` (frames,) is False where too few true samples are left: 0 stands there.
    """

    values: Complex
    times_s: Real
    known: NDArray[np.bool_]


def envelopes_between_tops(samples: Real, rate_hz: float, frequencies_hz: Real) -> TrueEnvelopes:
    """Fit partials at ``frequencies_hz`` (partials,) to the true ones of samples (n,)."""
    closest_hz = float(np.min(np.diff(np.concatenate([[0.0], frequencies_hz]))))
    size = round(max(_FRAME_S, _PERIODS_A_FRAME / closest_hz) * rate_hz)
    count = samples.size // size
    from_middle_s = (np.arange(size) - (size - 1) / 2) / rate_hz
    angles = 2 * np.pi * from_middle_s[:, None] * frequencies_hz
    waves = np.concatenate([np.cos(angles), -np.sin(angles), np.ones((size, 1))], axis=1)
    framed = samples[: count * size].reshape(count, size)
    true = np.abs(framed) < _TRUE * np.max(np.abs(samples))
    known = np.mean(true, axis=1) >= _LEAST_TRUE
    fitted = np.zeros((waves.shape[1], count))
    for frame in np.flatnonzero(known):
        kept = waves[true[frame]]
        fitted[:, frame] = np.linalg.lstsq(kept, framed[frame][true[frame]], rcond=None)[0]
    middles_s = (np.arange(count) * size + (size - 1) / 2) / rate_hz
    partials = frequencies_hz.size
    values = fitted[:partials] + 1j * fitted[partials : 2 * partials]
    turn = np.exp(-2j * np.pi * frequencies_hz[:, None] * middles_s)
    return TrueEnvelopes(values * turn, np.asarray(middles_s, dtype=np.float64), known)
