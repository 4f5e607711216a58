"""The pitch over time as the partials show it, beside the fit that the figure rests on.

What a fit leaves of partial k turns by the angle a_k from one block of envelope samples to the
next, where the pitch runs otherwise than the fit says. In cents that is

    d_k = 1200 log2(e) a_k / (2 pi f_k step)                                                 (1)

and the track is the fit plus the mean of d_k, each partial weighed by how surely the fit knows its
frequency and by how loud it still is. So no partial leads here that the fit did not follow.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analyzer.music import CENTS_PER_NEPER
from analyzer.pitch.phases import PhaseFit, Rest
from analyzer.pitch.spectrum import Real

MOST_POINTS = 96  # about one for each three hundredths of a second of a note of three seconds
_LEAST_POWER = 3.0  # over the noise; a fainter partial shows no phase
# Of a point, by a noise that has the beats in it as well; a point less sure would draw the noise.
_LARGEST_SD_CENTS = 5.0
_SETTLED_CENTS = 0.1  # nearer than this nobody hears nor needs
_LEAST_SETTLED_S = 0.2  # as long as the early part


@dataclass(frozen=True)
class Track:
    """Cents above the settled pitch at seconds after the onset, up to 96 points each.

    None stands where the note is too faint for its pitch to be seen within some 5 cents.
    """

    times_s: tuple[float, ...]
    cents: tuple[float | None, ...]


def measured_track(fit: PhaseFit, rest: Rest, centres_hz: Real, pace: float) -> Track:
    """The track of equation (1), on the recorder's clock.

    ``rest`` (partials, blocks) is what ``fit`` leaves of the partials at ``centres_hz``
    (partials,); ``pace`` is how many seconds of the note's own clock go to one of the recorder's.
    """
    cents, weights, variances = _beside(fit, rest, centres_hz)
    count = cents.shape[1]
    starts = np.arange(0, count, -(-count // MOST_POINTS))
    total = _summed(weights, starts)
    seen = np.maximum(total, 1e-300)
    middles_s = 0.5 * (rest.times_s[1:] + rest.times_s[:-1])
    at_s = np.add.reduceat(middles_s, starts) / np.diff(starts, append=count)
    course_cents = np.interp(at_s, fit.times_s, fit.course_cents)
    found_cents = course_cents + _summed(weights * cents, starts) / seen
    sd_cents = np.sqrt(_summed(weights**2 * variances, starts)) / seen
    good = (total > 0) & (sd_cents < _LARGEST_SD_CENTS)
    return Track(
        tuple(np.round(at_s / pace, 4).tolist()),
        tuple(
            each if known else None
            for each, known in zip(np.round(found_cents, 3).tolist(), good.tolist(), strict=True)
        ),
    )


def _beside(fit: PhaseFit, rest: Rest, centres_hz: Real) -> tuple[Real, Real, Real]:
    """From block to block: equation (1), weights, variances in cents squared.

    All are (partials, blocks - 1). The phase of a block at power A^2 in noise of variance v has
    the variance v / A^2.
    """
    values, step_s = rest.values, float(rest.times_s[1] - rest.times_s[0])
    cents_a_radian = CENTS_PER_NEPER / (2 * np.pi * centres_hz[:, None] * step_s)
    cents = cents_a_radian * np.angle(values[:, 1:] * values[:, :-1].conj())
    power = np.abs(values) ** 2 / rest.noise[:, None]
    fainter = np.minimum(power[:, 1:], power[:, :-1])
    loud = np.where(fainter < _LEAST_POWER, 0.0, fainter) / np.mean(power, axis=1, keepdims=True)
    variances = 2 / np.maximum(fainter, _LEAST_POWER) * cents_a_radian**2
    return cents, loud / np.diag(fit.covariance)[:, None], variances


def _summed(values: Real, starts: NDArray[np.int_]) -> Real:
    """Sums over the partials and over the blocks of each piece."""
    return np.asarray(np.add.reduceat(np.sum(values, axis=0), starts))


def settled_from_s(
    times_s: Sequence[float], cents: Sequence[float], half_width_cents: float
) -> float | None:
    """When a fitted course has come to its settled pitch for good; None where it never does.

    That is where it keeps within the interval of the settled pitch, or within 0.1 cents, and has at
    least as long to go as the early part of a note lasts.
    """
    within = max(half_width_cents, _SETTLED_CENTS)
    off = [place for place, each in enumerate(cents) if abs(each) > within]
    first = off[-1] + 1 if off else 0
    if first == len(times_s) or times_s[-1] - times_s[first] < _LEAST_SETTLED_S:
        return None
    return times_s[first]
