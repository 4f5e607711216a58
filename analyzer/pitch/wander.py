"""Slow wander of the pitch while a note sounds, which no glide explains.

On real recordings all partials of a note move together by tenths of a cent up to a few cents: the
finger's pressure changes, two polarisations exchange their energy, a glide has another course than
any of its candidates. It is modelled as a process about the settled pitch whose correlation dies
away exponentially. How large it is, and whether it is larger early in the note, are candidates
that the phases choose between. So a note that wanders is averaged over the length in which it does
and has a wide interval, and one that does not is fitted to the noise.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyzer.music import CENTS_PER_NEPER
from analyzer.pitch.spectrum import Real

CORRELATION_S = 0.4
_SIZES_CENTS = (0.003, 0.01, 0.03, 0.1, 0.3, 1.0, 3.0)  # standard deviation late in the note
_EARLY_GAINS = (1.0, 10.0)  # how much larger it is at the onset
_EARLY_S = 0.25
STEADY_PRIOR = 0.3  # prior probability of no wander; the others share the rest
_KNOT_S = 0.15


@dataclass(frozen=True)
class Wander:
    """The wander as a sum of hat functions.

    ``courses`` and ``integrals`` (knots, samples): the hats, and their integrals from the first
    sample. ``roots`` (kinds, knots, knots) are roots C of the hats' prior covariances C C' at the
    size 1; the candidates are all kinds at all ``sizes`` (sizes,), kind by kind. ``prior``
    (candidates,) holds their probabilities; what is left to 1 is for none.
    """

    courses: Real
    integrals: Real
    roots: Real
    sizes: Real
    prior: Real

    @property
    def freest(self) -> Wander:
        """The largest candidate alone, beside none."""
        prior = np.array([1 - STEADY_PRIOR])
        return Wander(self.courses, self.integrals, self.roots[-1:], self.sizes[-1:], prior)


def wander_over(times_s: Real) -> Wander:
    """Hats over ``times_s`` (samples,), evenly spaced, from the onset."""
    step_s = float(times_s[1] - times_s[0])
    knots = max(3, 1 + round(float(times_s[-1] - times_s[0]) / _KNOT_S))
    at_s = np.linspace(times_s[0], times_s[-1], knots)
    courses = np.maximum(1 - np.abs(times_s - at_s[:, None]) / (at_s[1] - at_s[0]), 0)
    steps = 0.5 * (courses[:, 1:] + courses[:, :-1]) * step_s
    integrals = np.zeros_like(courses)
    np.cumsum(steps, axis=1, out=integrals[:, 1:])
    correlation = np.exp(-np.abs(at_s - at_s[:, None]) / CORRELATION_S)
    early = 1 + (np.array(_EARLY_GAINS)[:, None] - 1) * np.exp(-at_s / _EARLY_S)
    roots = early[:, :, None] * np.linalg.cholesky(correlation)
    sizes = np.array(_SIZES_CENTS) / CENTS_PER_NEPER
    candidates = len(roots) * sizes.size
    prior = np.full(candidates, (1 - STEADY_PRIOR) / candidates)
    return Wander(courses, integrals, roots, sizes, prior)
