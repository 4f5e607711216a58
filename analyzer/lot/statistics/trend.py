"""The trend of a station: a straight line through its values over time, by least squares.

The interval of the slope is Student's t for n - 2 degrees of freedom; it presumes scatter that is
alike and independent from value to value, and the result says where neighbours hang together.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtrit

from analyzer.lot.statistics.figure import CONFIDENCE, NotGiven
from analyzer.lot.statistics.moments import mean_of, moments

_METHOD = "straight line by least squares, Student's t"
FEWEST_POINTS = 3  # two always lie on a line, and leave nothing to judge it by


@dataclass(frozen=True)
class Trend:
    """value = mean + slope_per_day (time_d - mean_time_d), with ``residual_sd`` about it.

    ``lower_per_day`` and ``upper_per_day`` bound the slope with ``confidence``; ``p`` is of no
    slope at all, and ``sure`` says that the interval leaves zero out.
    """

    method: str
    count: int
    slope_per_day: float
    slope_uncertainty_per_day: float
    lower_per_day: float
    upper_per_day: float
    confidence: float
    p: float
    mean_time_d: float
    mean: float
    residual_sd: float
    caution: str | None

    @property
    def degrees_of_freedom(self) -> int:
        return self.count - 2

    @property
    def sure(self) -> bool:
        return self.lower_per_day > 0 or self.upper_per_day < 0

    def at(self, time_d: float) -> tuple[float, float]:
        """The line's value at a time, and its standard uncertainty (JCGM 100:2008, H.3)."""
        off = time_d - self.mean_time_d
        at_mean = self.residual_sd / math.sqrt(self.count)
        return (
            self.mean + self.slope_per_day * off,
            math.hypot(at_mean, self.slope_uncertainty_per_day * off),
        )


def trend(
    times_d: ArrayLike, values: ArrayLike, confidence: float = CONFIDENCE
) -> Trend | NotGiven:
    """The line of ``values`` over ``times_d`` (days from any origin), one of each, in any order.

    Pairs that are not finite are left out.
    """
    t, y = np.asarray(times_d, dtype=float).ravel(), np.asarray(values, dtype=float).ravel()
    known = np.isfinite(t) & np.isfinite(y)
    order = np.argsort(t[known], kind="stable")
    t, y = t[known][order], y[known][order]
    if len(t) < FEWEST_POINTS:
        return NotGiven(_METHOD, f"{len(t)} values; {FEWEST_POINTS} are the least for a trend")
    if not np.ptp(t):
        return NotGiven(_METHOD, "all values are of one time")
    if not np.ptp(y):
        return NotGiven(_METHOD, "all values are alike, which says nothing of their scatter")
    return _line(t, y, confidence)


def _line(t: NDArray[np.float64], y: NDArray[np.float64], confidence: float) -> Trend:
    from scipy.stats import linregress

    mean_t, mean_y = mean_of(t), mean_of(y)
    # About the means, so that a large common part of either costs no digits.
    fit = linregress(t - mean_t, y - mean_y)
    slope, error = float(fit.slope), float(fit.stderr)
    residuals = y - mean_y - slope * (t - mean_t)
    half = float(stdtrit(len(t) - 2, (1 + confidence) / 2)) * error
    return Trend(
        _METHOD,
        len(t),
        slope,
        error,
        slope - half,
        slope + half,
        confidence,
        float(fit.pvalue),
        mean_t,
        mean_y,
        math.sqrt(float(residuals @ residuals) / (len(t) - 2)),
        _caution(residuals),
    )


def _caution(residuals: NDArray[np.float64]) -> str | None:
    found = moments(residuals)
    if not found.hangs_together:
        return None
    return (
        f"neighbours hang together (lag-1 r = {found.lag1_autocorrelation:.2f}): "
        "the slope is known less well than its interval says"
    )
