"""Mean, standard deviation and lag-1 autocorrelation, by two passes so that no digit is lost."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray


@dataclass(frozen=True)
class Moments:
    """Of ``count`` values, with ``missing`` left out because they are not finite numbers.

    ``sd`` divides by count - 1, and is None below two values; the lag-1 autocorrelation, in the
    order the values came, is None below three values or without scatter.
    """

    count: int
    missing: int
    mean: float | None
    sd: float | None
    lag1_autocorrelation: float | None

    @property
    def standard_error(self) -> float | None:
        """Of the mean: s / sqrt n (JCGM 100:2008, 4.2.3)."""
        return None if self.sd is None else self.sd / math.sqrt(self.count)

    @property
    def hangs_together(self) -> bool:
        """Successive values depend on each other: |r1| beyond 2 / sqrt n (the usual 95 % bound)."""
        r = self.lag1_autocorrelation
        return r is not None and abs(r) > 2 / math.sqrt(self.count)


def moments(values: ArrayLike) -> Moments:
    """The moments of a sequence of values in any one unit; None and NaN count as missing."""
    given = np.asarray(values, dtype=float).ravel()
    known = finite(given)
    missing = len(given) - len(known)
    if not len(known):
        return Moments(0, missing, None, None, None)
    mean = mean_of(known)
    deviations = known - mean
    sd = math.sqrt(_squares(deviations) / (len(known) - 1)) if len(known) > 1 else None
    return Moments(len(known), missing, mean, sd, _lag1(known, deviations))


def finite(values: ArrayLike) -> NDArray[np.float64]:
    """The values that are finite numbers, in their order, as a flat array."""
    given = np.asarray(values, dtype=float).ravel()
    known: NDArray[np.float64] = given[np.isfinite(given)]
    return known


def mean_of(values: NDArray[np.float64]) -> float:
    """The mean, taken about the first value: a large common part costs no digits."""
    return float(values[0] + np.mean(values - values[0]))


def _squares(deviations: NDArray[np.float64]) -> float:
    """The sum of squares about the mean of the deviations, which rounding leaves short of zero."""
    rest = float(np.sum(deviations)) ** 2 / len(deviations)
    return float(deviations @ deviations) - rest


def _lag1(values: NDArray[np.float64], deviations: NDArray[np.float64]) -> float | None:
    if len(values) < 3 or np.ptp(values) == 0:
        return None
    return float(deviations[1:] @ deviations[:-1] / (deviations @ deviations))
