"""One-way analysis of variance: scatter within groups (repeats) and between them (stations).

    SSB = sum n_i (m_i - m)^2,  SSW = sum (x_ij - m_i)^2,  F = MSB / MSW                       (1)
    between-group variance = (MSB - MSW) / n0,  n0 = (N - sum n_i^2 / N) / (k - 1)             (2)

with n0 the size of every group where they are equal.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtrc

from analyzer.lot.statistics.figure import CONFIDENCE, Figure, NotGiven
from analyzer.lot.statistics.moments import mean_of
from analyzer.lot.statistics.spread import Spread
from analyzer.lot.statistics.subgroups import Subgroup

_METHOD = "one-way analysis of variance"
_REPEATABILITY = "repeatability, pooled s within groups"


@dataclass(frozen=True)
class OneWay:
    """Sums of squares and what follows; ``f`` and ``p`` are None where groups have no scatter.

    ``repeatability_variance`` is MSW; ``between_variance`` is equation (2), zero where negative.
    """

    method: str
    between_squares: float
    between_freedom: int
    within_squares: float
    within_freedom: int
    f: float | None
    p: float | None
    repeatability_variance: float
    between_variance: float


def one_way(groups: Sequence[Subgroup]) -> OneWay | NotGiven:
    """Equations (1) and (2) for two or more groups of any sizes, one of them with a repeat."""
    sizes = np.array([each.size for each in groups])
    k, total = len(groups), int(np.sum(sizes))
    if k < 2:
        return NotGiven(_METHOD, f"{k} groups; two are the least to compare")
    if total == k:
        return NotGiven(_METHOD, "no group has a repeat; measure at least one of them again")
    between, within = _sums_of_squares(groups)
    mean_between, mean_within = between / (k - 1), within / (total - k)
    f = mean_between / mean_within if mean_within > 0 else None
    p = None if f is None else float(fdtrc(k - 1, total - k, f))
    n0 = (total - float(np.sum(sizes**2)) / total) / (k - 1)
    component = max(0.0, (mean_between - mean_within) / n0)
    return OneWay(_METHOD, between, k - 1, within, total - k, f, p, mean_within, component)


def repeatability(groups: Sequence[Subgroup], confidence: float = CONFIDENCE) -> Figure:
    """The standard deviation from repeat to repeat, pooled over groups of repeats of any sizes.

    The interval is exact for normal scatter that is the same in every group (chi-square).
    """
    freedom = sum(each.size - 1 for each in groups)
    if freedom < 1:
        return Figure(_REPEATABILITY, reason="nothing was measured twice; repeat some takes")
    squares = sum(_squares(each.values) for each in groups)
    sd = math.sqrt(squares / freedom)
    low, high = Spread(sd, freedom, _REPEATABILITY).true_over_estimate(confidence)
    return Figure(_REPEATABILITY, sd, sd * low, sd * high, confidence, "chi-square")


def _sums_of_squares(groups: Sequence[Subgroup]) -> tuple[float, float]:
    """Equation (1), about the first value of all, so that a large common part costs no digits."""
    origin = groups[0].values[0]
    shifted = [each.values - origin for each in groups]
    means = np.array([mean_of(each) for each in shifted])
    sizes = np.array([len(each) for each in shifted])
    mean = mean_of(np.concatenate(shifted))
    return float(sizes @ (means - mean) ** 2), sum(_squares(each) for each in shifted)


def _squares(values: NDArray[np.float64]) -> float:
    deviations = values - mean_of(values)
    return float(deviations @ deviations)
