"""The partials' envelopes over time: what stands in them beside the partial, noise and slow waves.

White noise through a raised-cosine band, sampled at the band's full width, has the autocorrelation
3/8, 1/4, 1/16, 0 of its density, in each part. Both ways of seeing the noise rest on that.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import ndimage

from analyzer.pitch.spectrum import BAND_COLOUR, Complex, Real, band_response

BLOCK_S = 0.03  # samples are averaged over this once the phases are known roughly
PIECE_S = 0.3  # slow waves are looked for in pieces of this length
_SMOOTHING_S = 0.15
_WHITE_PIECES = 4.0
_HEARD_POWER = 8.0  # samples with more than this times the noise show a partial's decay
_FEWEST_HEARD = 5
_USUAL = (0.2, 0.9)  # quantiles over the partials
_SCATTERED = 0.6
_LEAST_PASSED = 0.3
_UPWARDS = 1 / (1 - (np.arange(6) + 0.5) / 6)  # frequencies over the highest partial's
# Of what an ideal string has above the partials at hand: what is not heard stretches it as well.
_ABOVE = np.array([0.0, 0.3, 0.6, 1.0])
_CLEANEST_POWER = 1e-8  # no recording is cleaner than 80 dB in the band of a partial


@dataclass(frozen=True)
class Envelopes:
    """Complex envelopes of the partials and what they are taken against.

    ``values`` has shape (partials, samples), ``centres_hz`` (partials,), ``times_s`` (samples,)
    from the onset. ``half_hz`` is the half-width of the bands that they were cut by; None where
    they were not, and the noise of each sample is its own. ``end_s`` is where the note ends, which
    may lie between two samples.
    """

    values: Complex
    centres_hz: Real
    times_s: Real
    half_hz: float | None
    end_s: float = np.inf

    @property
    def omega(self) -> Real:
        """Angular frequencies of the centres, (partials, 1)."""
        return 2 * np.pi * self.centres_hz[:, None]

    @property
    def step_s(self) -> float:
        return float(self.times_s[1] - self.times_s[0])

    @property
    def colour(self) -> float:
        """The noise's density in mid-band against that of independent samples of its variance."""
        return 1.0 if self.half_hz is None else BAND_COLOUR


def first_noise(envelopes: Envelopes) -> Real:
    """Variance of the noise in either part before anything is fitted; (partials,).

    From second differences, which a partial leaves all but empty, by their median, since a glide
    fills them at the start. Of the noise they hold 6 (3/8) - 8 (1/4) + 2 (1/16) = 3/8 of its
    density, which is its variance; of independent samples, six times that.
    """
    second = np.diff(envelopes.values, n=2, axis=1)
    share = 6.0 if envelopes.half_hz is None else 1.0
    ordered = np.sort(second.real**2 + second.imag**2, axis=1)
    last = ordered.shape[1] - 1
    median = 0.5 * (ordered[:, last // 2] + ordered[:, (last + 1) // 2])
    variance = median / (2 * np.log(2) * share)
    return _at_least(variance, np.abs(envelopes.values))


def noise_of_steps(turned: Complex, amplitude: Real, step_share: float) -> Real:
    """Variance of the noise in either part, from steps of the rest; (partials,).

    Steps leave slow waves out, which are taken up by ``slow_waves``.
    """
    steps = np.diff(turned.imag, axis=1)
    variance = 0.5 * np.mean(steps**2, axis=1) / step_share
    return _at_least(variance, amplitude)


def _at_least(variance: Real, amplitude: Real) -> Real:
    """The noise (partials,), not below what the cleanest recording has."""
    least = _CLEANEST_POWER * np.max(amplitude, axis=1) ** 2
    return np.asarray(np.maximum(variance, np.maximum(least, 1e-30)))


def slow_waves(turned: Complex, noise: Real, size: int, standing: Real) -> tuple[Real, Real]:
    """What hum, beating polarisations or ringing neighbours leave in the phases beside noise.

    Over pieces of ``size`` samples, 0.3 s, of what the fit has turned to stand still, the sum's
    imaginary part has the variance

        colour_k noise_k size + wave_k power                                                (2)

    with the sum's power, a colour of 1 for independent samples, and a variance of phase that
    goes along with the partial. Returns both, (partials, 1) each, the second for one sample. No
    partial is taken for steadier than the others by and large are: what all share must not be
    ruled by the few that a fit happens to follow; ``standing`` (partials,) is the say of each. Few
    pieces say little of the colour, so they are weighed with the expectation that it is 1.
    """
    starts = np.arange(0, turned.shape[1], size)
    sums = np.add.reduceat(turned, starts, axis=1)
    power = np.abs(sums) ** 2 + 1e-300
    plain = np.diff(starts, append=turned.shape[1]) * noise[:, None]
    wave = _phase_variance(
        np.sum((sums.imag**2 - plain) * power, axis=1) / np.sum(power**2, axis=1)
    )
    wave = np.maximum(wave, _usual_spread(np.sqrt(wave), standing) ** 2)[:, None]
    seen = np.mean(sums.imag**2 / (plain + wave * power), axis=1)
    pieces = max(starts.size - 2, 0)
    colour = np.maximum(1.0, (_WHITE_PIECES + pieces * seen) / (_WHITE_PIECES + pieces))
    return colour[:, None], size * wave


def _phase_variance(share: Real) -> Real:
    """Variance of a phase, from the share that its sine has of the power: of a wrapped normal one.

    Beyond ``_SCATTERED`` the share says no more than that the fit does not follow the partial.
    """
    return np.asarray(-0.5 * np.log(1 - np.clip(2 * share, 0, _SCATTERED)))


def _usual_spread(values: Real, weights: Real) -> float:
    """The mean of the quantiles within ``_USUAL``, weighed by a triangle, which never jumps."""
    order = np.argsort(values)
    edges = np.concatenate([[0.0], np.cumsum(weights[order])]) / np.sum(weights)
    low, high = _USUAL
    x = np.clip((edges - low) / (high - low), 0, 1)
    cumulative = np.where(x < 0.5, 2 * x**2, 1 - 2 * (1 - x) ** 2)
    return float(np.sum(np.diff(cumulative) * values[order]))


def decaying_powers(envelopes: Envelopes, noise: Real) -> Real:
    """The string's power over time, each partial's decay taken as an exponential.

    Beats are smoothed over so: they move the phases in step with the power, and a glide that
    followed them would be mistaken for one. Candidates, (candidates, samples): the partials at hand
    hold all of the power, or there is more above them, by ``_ABOVE``.
    """
    t = envelopes.times_s
    power = np.abs(envelopes.values) ** 2
    heard = (power > _HEARD_POWER * noise[:, None]).astype(np.float64)
    count = np.maximum(np.sum(heard, axis=1), 1.0)
    logs = np.log(np.maximum(power, 1e-300))
    mean_t, mean = np.sum(heard * t, axis=1) / count, np.sum(heard * logs, axis=1) / count
    centred = t - mean_t[:, None]
    slope = np.sum(heard * centred * logs, axis=1)
    slope /= np.maximum(np.sum(heard * centred**2, axis=1), 1e-9)
    slope = np.minimum(slope, 0.0)
    start = np.exp(mean - slope * mean_t) * (count > _FEWEST_HEARD)
    at_hand = start @ np.exp(slope[:, None] * t) + 1e-300
    above = _power_above(envelopes.centres_hz, start, slope, t)
    return np.asarray(at_hand + _ABOVE[:, None] * above)


def _power_above(centres_hz: Real, start: Real, slope: Real, t: Real) -> Real:
    """What an ideal string has above the highest partial at hand, (samples,).

    There partials start with powers as 1 / f^2, and so with equal shares of all that is above in
    equal steps of 1 / f. ``start`` (partials,) are the powers at the onset, ``slope`` those of
    their logarithms, which go on along a straight line in f.
    """
    x = centres_hz / centres_hz[-1]
    level = start * x**2
    say = np.sqrt(level) / (np.sum(np.sqrt(level)) + 1e-300)
    mean, mean_slope = say @ x, say @ slope
    leaning = say * (x - mean)
    trend = min(leaning @ slope / max(leaning @ x, 1e-9), 0.0)
    slopes = mean_slope + trend * (_UPWARDS - mean)
    return np.asarray(np.sum(level) * np.mean(np.exp(slopes[:, None] * t), axis=0))


def passed(phases: Real, envelopes: Envelopes) -> Real:
    """What the bands pass of the partials, which a glide takes away from their middles."""
    if envelopes.half_hz is None:
        return np.ones_like(phases)
    offset_hz = np.gradient(phases, envelopes.step_s, axis=1) / (2 * np.pi)
    return np.maximum(band_response(offset_hz / envelopes.half_hz), _LEAST_PASSED)


def block_size(envelopes: Envelopes) -> tuple[int, float]:
    """Samples to a block, and the share of the noise that steps from block to block show.

    White noise through a raised cosine has the autocorrelation 3/8, 1/4, 1/16, 0: half the mean
    square step of averages over n samples is then (n - 9/8) / n^2 of its density, against 1/n for
    independent blocks.
    """
    if envelopes.half_hz is None:
        return 1, 1.0
    size = max(2, int(BLOCK_S / envelopes.step_s))
    return size, (size - 9 / 8) / size


def block_means(values: Any, size: int) -> Any:
    """Averages over ``size`` samples along the last axis; what is left at the end is not used."""
    count = values.shape[-1] // size
    whole = values[..., : count * size]
    # A product with a vector: the library's mean is slow along short axes.
    return whole.reshape(*whole.shape[:-1], count, size) @ np.full(size, 1 / size)


def smoothed(values: Real, t: Real) -> Real:
    """Moving average along the last axis, shorter at the ends."""
    half = max(1, round(0.5 * _SMOOTHING_S / float(t[1] - t[0])))
    index = np.arange(t.size)
    count = np.minimum(index, half) + np.minimum(t.size - 1 - index, half) + 1
    mean = ndimage.uniform_filter1d(values, 2 * half + 1, axis=-1, mode="constant")
    return np.asarray(mean * ((2 * half + 1) / count))
