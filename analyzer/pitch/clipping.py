"""Recordings that were too loud for their recorder: the partials from the samples that are left.

A clipped wave's partials mix: sums and differences of stretched partials fall beside other
partials and pull their phases. But the samples between the flat tops are true, and in a short
frame the note is a sum of sinusoids of known frequencies. So the complex amplitudes of all
partials are fitted to the true samples alone, frame by frame.

Where nearly all samples are true, that is plain least squares, and shows how each partial decays.
Where gaps are longer a plain fit would swing within them; there each amplitude has a normal prior
whose size is what the decay, followed backwards, lets expect (N. Wiener's interpolation, with a
known line spectrum). What the samples then leave open is left out.
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
_NEARLY_ALL = 0.95  # share of true samples from which least squares serves alone
_FREEST = 0.8  # where no frame has so many, the freest fifth serves
_LEAST_TRUE = 0.75
_FEWEST_FREE = 5  # frames that show a decay
_MODEL_ERROR = 0.01  # of the amplitude: what a frame of steady sinusoids cannot follow
_LEAST_KNOWN = 0.05  # a phase less sure than this, radians, is left out


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

    ``values`` (partials, frames) are against the frequencies asked for, 0 where too little is
    known; ``times_s`` (frames,) are the middles of the frames from the first sample. Frames do not
    overlap, so their noise is independent.
    """

    values: Complex
    times_s: Real


@dataclass(frozen=True)
class _Frames:
    """Samples in frames (frames, size), which are true, and the partials' waves (size, numbers)."""

    samples: Real
    true: NDArray[np.bool_]
    times_s: Real
    from_middle_s: Real
    cosines: Real
    sines: Real

    @property
    def true_share(self) -> Real:
        return np.asarray(np.mean(self.true, axis=1))

    def waves(self, decay_per_s: Real | float = 0.0) -> Real:
        """The waves of real and imaginary parts, falling within the frame by ``decay_per_s``."""
        fall = np.exp(self.from_middle_s[:, None] * decay_per_s)
        return np.concatenate([self.cosines * fall, -self.sines * fall], axis=1)


def envelopes_between_tops(samples: Real, rate_hz: float, frequencies_hz: Real) -> TrueEnvelopes:
    """Fit partials at ``frequencies_hz`` (partials,) to the true ones of samples (n,)."""
    frames = _in_frames(samples, rate_hz, frequencies_hz)
    partials = frequencies_hz.size
    values = np.zeros((partials, frames.times_s.size), dtype=np.complex128)
    nearly_all = min(_NEARLY_ALL, float(np.quantile(frames.true_share, _FREEST)))
    free = np.flatnonzero(frames.true_share >= max(nearly_all, _LEAST_TRUE))
    left = np.zeros(frames.times_s.size)
    for number in map(int, free):
        fitted, left[number] = _plain_fit(frames, number)
        values[:, number] = fitted[:partials] + 1j * fitted[partials:]
    if free.size >= _FEWEST_FREE:
        noise = float(np.median(left[free]))
        slope, level = _decays(values, frames.times_s, free, noise)
        waves = frames.waves(0.5 * slope)
        between = (frames.true_share >= _LEAST_TRUE) & (frames.true_share < nearly_all)
        for number in map(int, np.flatnonzero(between)):
            power = np.exp(slope * frames.times_s[number] + level)
            values[:, number] = _fit_with_prior(frames, number, waves, power, noise)
    turn = np.exp(-2j * np.pi * frequencies_hz[:, None] * frames.times_s)
    return TrueEnvelopes(values * turn, frames.times_s)


def _in_frames(samples: Real, rate_hz: float, frequencies_hz: Real) -> _Frames:
    closest_hz = float(np.min(np.diff(np.concatenate([[0.0], frequencies_hz]))))
    size = round(max(_FRAME_S, _PERIODS_A_FRAME / closest_hz) * rate_hz)
    count = samples.size // size
    framed = samples[: count * size].reshape(count, size)
    from_middle_s = np.asarray((np.arange(size) - (size - 1) / 2) / rate_hz)
    angles = 2 * np.pi * from_middle_s[:, None] * frequencies_hz
    return _Frames(
        framed,
        np.abs(framed) < _TRUE * np.max(np.abs(samples)),
        np.asarray((np.arange(count) * size + (size - 1) / 2) / rate_hz),
        from_middle_s,
        np.cos(angles),
        np.sin(angles),
    )


def _plain_fit(frames: _Frames, number: int) -> tuple[Real, float]:
    """Least squares on one frame's true samples, and the variance that is left."""
    true, samples = frames.true[number], frames.samples[number]
    waves = frames.waves()[true]
    fitted = np.linalg.lstsq(waves, samples[true], rcond=None)[0]
    return fitted, float(np.var(samples[true] - waves @ fitted))


def _decays(
    values: Complex, times_s: Real, free: NDArray[np.int64], noise: float
) -> tuple[Real, Real]:
    """Straight lines through the logarithms of the partials' power: slopes (1/s) and levels."""
    power = np.abs(values[:, free]) ** 2
    slopes, levels = np.zeros(power.shape[0]), np.full(power.shape[0], np.log(noise + 1e-30))
    for partial, row in enumerate(power):
        heard = row > noise
        if np.sum(heard) >= _FEWEST_FREE:
            slopes[partial], levels[partial] = np.polyfit(
                times_s[free][heard], np.log(row[heard]), 1
            )
    return slopes, levels


def _fit_with_prior(
    frames: _Frames, number: int, waves: Real, power: Real, noise: float
) -> Complex:
    """Envelopes of one frame; 0 for a partial whose phase the samples leave open."""
    true, partials = frames.true[number], power.size
    kept = waves[true]
    left = noise + _MODEL_ERROR**2 * float(np.sum(power))
    inverse = np.linalg.inv(kept.T @ kept / left + np.diag(np.tile(1 / power, 2)))
    fitted = inverse @ (kept.T @ frames.samples[number][true]) / left
    open_share = np.diag(inverse).reshape(2, partials).sum(axis=0) / (2 * power)
    values = fitted[:partials] + 1j * fitted[partials:]
    return np.where(open_share < _LEAST_KNOWN**2, values, 0.0)
