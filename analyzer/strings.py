"""From takes to the figure of a string: the 12th fret against the octave of the open string.

    error_cents = 1200 log2(f12 / (2 f_open)), positive where the fretted note is sharp      (1)

The uncertainty is a 95 % interval (JCGM 100:2008, 5.1 and G.4): that of each pluck's own fit, and
the scatter from pluck to pluck, which is the larger of the two on real instruments. The scatter
is estimated from all repeats of the instrument together, on top of what is known beforehand.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from scipy.special import stdtrit

from analyzer.music import CENTS_PER_OCTAVE, cents_between

# Pluck-to-pluck scatter, standard deviation, before any repeat is seen. On real electric guitars
# four repeats at equal loudness showed 0.3 cents at the median and 0.5 to 0.85 at the 90th
# percentile; a scaled inverse chi-square with these two numbers has 0.30 and 0.60.
PLUCK_SCATTER_CENTS = 0.27
PLUCK_SCATTER_FREEDOM = 3.0
_NORMAL_95 = 1.96  # turns the half-width of a pluck's own interval back into a standard deviation


class Take(Protocol):
    """What counts of a take here; NaN where a drift could not be had."""

    @property
    def settled_hz(self) -> float: ...
    @property
    def settled_uncertainty_cents(self) -> float: ...
    @property
    def sustain_drift_cents(self) -> float: ...


@dataclass(frozen=True)
class Scatter:
    """Standard deviation from pluck to pluck, cents, and the degrees of freedom behind it."""

    cents: float
    freedom: float

    @property
    def coverage(self) -> float:
        """The factor of a 95 % interval (Student's t)."""
        return float(stdtrit(self.freedom, 0.975))


@dataclass(frozen=True)
class Note:
    """One note of a string from all its takes. ``variance`` is in cents squared."""

    hz: float
    variance: float
    drift_cents: float
    takes: int


@dataclass(frozen=True)
class Intonation:
    """``error_cents`` after equation (1), with the half-width of its 95 % interval."""

    error_cents: float
    error_uncertainty_cents: float


def pluck_scatter(notes: Sequence[Sequence[Take]]) -> Scatter:
    """The scatter that the repeats of an instrument share; ``notes`` holds the takes of each."""
    squares, freedom = PLUCK_SCATTER_FREEDOM * PLUCK_SCATTER_CENTS**2, PLUCK_SCATTER_FREEDOM
    for takes in notes:
        if len(takes) > 1:
            cents = _cents([take.settled_hz for take in takes])
            squares += float(np.sum((cents - np.mean(cents)) ** 2))
            freedom += len(takes) - 1
    return Scatter(math.sqrt(squares / freedom), freedom)


def combine_takes(takes: Sequence[Take], scatter: Scatter) -> Note:
    """The weighted mean of a note's takes; a take known less well counts less."""
    weights = _weights(takes, scatter)
    share = take_shares(takes, scatter)
    mean_cents = float(share @ _cents([take.settled_hz for take in takes]))
    drift = _mean_of_known(share, np.array([take.sustain_drift_cents for take in takes]))
    hz = takes[0].settled_hz * 2 ** (mean_cents / CENTS_PER_OCTAVE)
    return Note(hz, 1 / float(np.sum(weights)), drift, len(takes))


def take_shares(takes: Sequence[Take], scatter: Scatter) -> np.ndarray:
    """What each take counts for in the mean of its note; they add up to 1."""
    weights = _weights(takes, scatter)
    shares: np.ndarray = weights / np.sum(weights)
    return shares


def intonation(open_note: Note, fretted: Note, scatter: Scatter) -> Intonation:
    """Equation (1) and its interval."""
    error_cents = cents_between(2 * open_note.hz, fretted.hz)
    half_width = scatter.coverage * math.sqrt(open_note.variance + fretted.variance)
    return Intonation(error_cents, half_width)


def larger_drift(first_cents: float, second_cents: float) -> float:
    """Of two drifts, the larger in size; NaN where either could not be had."""
    if math.isnan(first_cents) or math.isnan(second_cents):
        return math.nan
    return first_cents if abs(first_cents) >= abs(second_cents) else second_cents


def _weights(takes: Sequence[Take], scatter: Scatter) -> np.ndarray:
    """One over each take's variance, cents squared: its own fit and the scatter."""
    own = np.array([take.settled_uncertainty_cents / _NORMAL_95 for take in takes])
    return 1 / (own**2 + scatter.cents**2)


def _mean_of_known(share: np.ndarray, values: np.ndarray) -> float:
    """Weighted mean of the values that could be had; NaN where none could."""
    known = np.isfinite(values)
    if not np.any(known):
        return math.nan
    return float(share[known] @ values[known] / np.sum(share[known]))


def _cents(frequencies_hz: Sequence[float]) -> np.ndarray:
    """Cents above the first."""
    return CENTS_PER_OCTAVE * np.log2(np.array(frequencies_hz) / frequencies_hz[0])
