"""The constants of control charts for variables, for subgroups of 2 to 25 normal values.

With R the range and s the standard deviation of a subgroup, and sigma that of the process,

    d2 = E[R] / sigma,  d3 = sd[R] / sigma,  c4 = E[s] / sigma                                (1)

and the factors of the charts follow (ISO 7870-2; W. A. Shewhart, 1931):

    A2 = 3 / (d2 sqrt n),  A3 = 3 / (c4 sqrt n),  E2 = 3 / d2                                 (2)
    D3, D4 = 1 -+ 3 d3 / d2,  B3, B4 = 1 -+ 3 sqrt(1 - c4^2) / c4,  none below zero           (3)

They are integrated here and not copied: printed tables round, and differ in the third decimal.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

from scipy.special import gammaln, ndtr

SMALLEST_SUBGROUP = 2
LARGEST_SUBGROUP = 25  # where the published tables end; a range of more values wastes most of them
_FAR_SD = 9.0  # beyond it a normal distribution holds 1e-19


@dataclass(frozen=True)
class ShewhartConstants:
    """Equations (1), of which (2) and (3) follow, for subgroups of ``size`` values."""

    size: int
    d2: float
    d3: float
    c4: float

    @property
    def a2(self) -> float:
        return 3 / (self.d2 * math.sqrt(self.size))

    @property
    def a3(self) -> float:
        return 3 / (self.c4 * math.sqrt(self.size))

    @property
    def e2(self) -> float:
        return 3 / self.d2

    @property
    def d3_limit(self) -> float:
        """D3, the factor of the lower limit of a range."""
        return max(0.0, 1 - 3 * self.d3 / self.d2)

    @property
    def d4_limit(self) -> float:
        """D4, the factor of the upper limit of a range."""
        return 1 + 3 * self.d3 / self.d2

    @property
    def b3(self) -> float:
        return max(0.0, 1 - 3 * sd_of_sd(self.size) / self.c4)

    @property
    def b4(self) -> float:
        return 1 + 3 * sd_of_sd(self.size) / self.c4


@cache
def shewhart_constants(size: int) -> ShewhartConstants:
    """The constants for subgroups of ``size`` values, 2 to 25; ValueError beyond.

    The mean and mean square of a range are the integrals of L. H. C. Tippett (Biometrika 17, 364,
    1925) over the distribution of the two extremes; the results hold to nine digits.
    """
    if not SMALLEST_SUBGROUP <= size <= LARGEST_SUBGROUP:
        raise ValueError(f"a subgroup of {size}; {SMALLEST_SUBGROUP} to {LARGEST_SUBGROUP}")
    mean = _mean_range(size)
    return ShewhartConstants(size, mean, math.sqrt(_mean_square_range(size) - mean**2), c4(size))


def c4(size: float) -> float:
    """E[s] / sigma of ``size`` normal values, above 1 and not necessarily whole (equation (1))."""
    half_log = gammaln(size / 2) - gammaln((size - 1) / 2)
    return float(math.sqrt(2 / (size - 1)) * math.exp(half_log))


def sd_of_sd(size: float) -> float:
    """The standard deviation of s over sigma, from ``size`` normal values."""
    return math.sqrt(max(0.0, 1 - c4(size) ** 2))


def mean_square_d2(size: int, ranges: int) -> float:
    """The divisor whose square makes the squared mean of ``ranges`` ranges unbiased: d2 star.

    sqrt(d2^2 + d3^2 / ranges) (A. J. Duncan, Quality Control and Industrial Statistics).
    """
    constants = shewhart_constants(size)
    return math.hypot(constants.d2, constants.d3 / math.sqrt(ranges))


def _mean_range(size: int) -> float:
    from scipy.integrate import quad

    return float(quad(lambda x: 1 - ndtr(x) ** size - ndtr(-x) ** size, -_FAR_SD, _FAR_SD)[0])


def _mean_square_range(size: int) -> float:
    from scipy.integrate import dblquad

    def spanned(gap: float, top: float) -> float:
        below_top, above_bottom = ndtr(top), ndtr(gap - top)
        inside = ndtr(top) - ndtr(top - gap)
        return float(1 - below_top**size - above_bottom**size + inside**size)

    return 2 * float(dblquad(spanned, -_FAR_SD, _FAR_SD, 0, 2 * _FAR_SD)[0])
