"""Estimates of a process's standard deviation: overall, and within subgroups.

Within subgroups each range or standard deviation is divided by its own constant (d2 or c4 of the
subgroup's size), and the quotients are averaged by the inverse of their variance, which for equal
sizes is plain R-bar/d2 or s-bar/c4:

    sigma = sum(h_i R_i / d2_i) / sum(h_i),  h_i = (d2_i / d3_i)^2                             (1)
    sigma = sum(h_i s_i / c4_i) / sum(h_i),  h_i = c4_i^2 / (1 - c4_i^2)                       (2)

(I. W. Burr, Journal of Quality Technology 1, 163, 1969; from memory.) Their relative variance is
1 / sum(h_i), and a chi distribution of the same relative variance gives their degrees of freedom
(P. B. Patnaik, Biometrika 37, 78, 1950; from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtri

from analyzer.lot.statistics.constants import (
    LARGEST_SUBGROUP,
    SMALLEST_SUBGROUP,
    c4,
    sd_of_sd,
    shewhart_constants,
)
from analyzer.lot.statistics.figure import NO_SCATTER, NotGiven
from analyzer.lot.statistics.moments import finite, moments
from analyzer.lot.statistics.subgroups import Subgroup, ranges_of, sds_of, sizes_of

SpreadBy = Literal["range", "sd"]


@dataclass(frozen=True)
class Spread:
    """``sigma`` in the unit of the values, above zero, by ``method``.

    ``degrees_of_freedom`` may be broken. sigma / chi_ratio is what follows a chi distribution over
    the root of its degrees of freedom: 1 for s, c4 for an estimate whose mean is right.
    """

    sigma: float
    degrees_of_freedom: float
    method: str
    chi_ratio: float = 1.0

    def true_over_estimate(self, confidence: float) -> tuple[float, float]:
        """Bounds of the true sigma over the estimate, from chi-square: equal tails."""
        tail, freedom = (1 - confidence) / 2, self.degrees_of_freedom
        low, high = (
            self.chi_ratio * math.sqrt(freedom / float(chdtri(freedom, upper)))
            for upper in (tail, 1 - tail)
        )
        return low, high


def overall_spread(values: ArrayLike) -> Spread | NotGiven:
    """The standard deviation s of all values, with n - 1."""
    method = "overall s (n - 1)"
    known = finite(values)
    if len(known) < 2:
        return NotGiven(method, f"{len(known)} values; two are the least for a scatter")
    sd = moments(known).sd
    if not sd or not np.ptp(known):
        return NotGiven(method, NO_SCATTER)
    return Spread(sd, len(known) - 1, method)


def within_spread(subgroups: Sequence[Subgroup], by: SpreadBy) -> Spread | NotGiven:
    """Equation (1) for ``by`` "range", (2) for "sd". Single values have no say in it."""
    method = "within subgroups, R-bar/d2" if by == "range" else "within subgroups, s-bar/c4"
    if reason := unusable_subgroups(subgroups, by):
        return NotGiven(method, reason)
    used = [each for each in subgroups if each.size >= SMALLEST_SUBGROUP]
    if len({each.size for each in used}) > 1:
        method += " of unequal subgroups, weighted by their certainty"
    estimates = ranges_of(used) if by == "range" else sds_of(used)
    return _weighted(estimates, sizes_of(used), _of_range if by == "range" else _of_sd, method)


def unusable_subgroups(subgroups: Sequence[Subgroup], by: SpreadBy) -> str | None:
    """Why the scatter within subgroups cannot be had from ranges or standard deviations."""
    largest = max((each.size for each in subgroups), default=0)
    if largest < SMALLEST_SUBGROUP:
        return "no subgroup has two values; give larger subgroups or use moving ranges"
    if by == "range" and largest > LARGEST_SUBGROUP:
        return f"a subgroup has {largest} values; ranges serve to {LARGEST_SUBGROUP}, then s"
    return None


def moving_range_spread(values: ArrayLike) -> Spread | NotGiven:
    """MR-bar/d2 from the ranges of neighbours, for values that have no subgroups.

    Neighbouring ranges share a value: for differences of correlation -1/2 the relative variance is
    (0.8264 n - 1.0820) / (n - 1)^2, which the degrees of freedom take into account.
    """
    method = "between neighbours, MR-bar/d2"
    known = finite(values)
    ranges = np.abs(np.diff(known))
    if len(ranges) < 2:
        return NotGiven(method, f"{len(known)} values; three are the least for moving ranges")
    if not np.any(ranges):
        return NotGiven(method, NO_SCATTER)
    sigma = float(np.mean(ranges)) / shewhart_constants(2).d2
    return _unbiased(sigma, _moving_range_variance(len(ranges)), method)


def _weighted(
    estimates: NDArray[np.float64],
    sizes: NDArray[np.int64],
    factors: Callable[[int], tuple[float, float]],
    method: str,
) -> Spread | NotGiven:
    """``factors`` gives divisor and weight for a subgroup's size."""
    by_size = {int(size): factors(int(size)) for size in np.unique(sizes)}
    divisors, weights = np.array([by_size[size] for size in sizes.tolist()]).T
    sigmas = estimates / divisors
    if not np.any(sigmas):
        return NotGiven(
            method, "within every subgroup all values are alike: no scatter to judge by"
        )
    total = float(np.sum(weights))
    return _unbiased(float(sigmas @ weights) / total, 1 / total, method)


def _of_range(size: int) -> tuple[float, float]:
    constants = shewhart_constants(size)
    return constants.d2, (constants.d2 / constants.d3) ** 2


def _of_sd(size: int) -> tuple[float, float]:
    return c4(size), (c4(size) / sd_of_sd(size)) ** 2


def _unbiased(sigma: float, relative_variance: float, method: str) -> Spread:
    freedom = 1 / (2 * math.sqrt(1 + 2 * relative_variance) - 2)
    return Spread(sigma, freedom, method, c4(freedom + 1))


def _moving_range_variance(ranges: int) -> float:
    """Of the mean of ``ranges`` moving ranges over the square of its expectation."""
    alone = math.pi / 2 - 1
    # E|D1 D2| of standard normal differences with correlation r: (2 / pi)(sqrt(1 - r^2) + r asin r)
    r = 0.5  # the sign does not matter
    shared = math.sqrt(1 - r**2) + r * math.asin(r) - 1
    return (alone * ranges + 2 * shared * (ranges - 1)) / ranges**2
