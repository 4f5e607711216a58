"""Capability and performance of a process: how its scatter fits between the limits.

    Cp = (U - L) / (6 sigma),  Cpk = min(U - mean, mean - L) / (3 sigma)                       (1)

with sigma within subgroups; Pp and Ppk are the same with the overall s (ISO 22514-1 and -2). They
presume normal values from a process in control, which the result says how far to believe.

Intervals: Cp and Pp by chi-square (exact for Pp of normal values); Cpk and Ppk after A. F. Bissell
(Applied Statistics 39, 331, 1990; from memory), where f are sigma's degrees of freedom:

    Cpk -+ z sqrt(1 / (9 n) + Cpk^2 / (2 f))                                                  (2)

Cpm = (U - L) / (6 tau), tau the root mean square distance of the values from the target; its
interval by a chi-square of n (1 + x^2)^2 / (1 + 2 x^2) degrees of freedom, x the distance of the
mean from the target over the standard deviation, with n (R. A. Boyles, Journal of Quality
Technology 23, 17, 1991; from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtri, ndtri

from analyzer.lot.statistics.figure import CONFIDENCE, Figure, NotGiven
from analyzer.lot.statistics.moments import Moments, finite, moments
from analyzer.lot.statistics.quantile_form import QuantileForm, quantile_form
from analyzer.lot.statistics.spread import Spread, overall_spread
from analyzer.lot.statistics.tolerance import Tolerance

# Own choice: below it the 95 % interval of Pp spans more than a factor of 2.6, and says nothing.
FEWEST_VALUES = 10
_MOST_FOR_SHAPIRO = 5000  # beyond it scipy warns that the p-value may be off
DOUBTFUL_NORMALITY = 0.01  # own choice: a p-value below it puts a caution beside the indices

_CHI_SQUARE = "chi-square"
_BISSELL = "normal approximation (Bissell)"


@dataclass(frozen=True)
class Capability:
    """All indices of one set of values against one tolerance; ``overall`` and ``within`` say sigma.

    ``normality_p`` is of a test that the values are normal, by ``normality_method``.
    """

    moments: Moments
    tolerance: Tolerance
    within: Spread | NotGiven
    overall: Spread | NotGiven
    cp: Figure
    cpk: Figure
    pp: Figure
    ppk: Figure
    cpm: Figure
    quantiles: QuantileForm
    normality_p: float | None
    normality_method: str


def capability(
    values: ArrayLike,
    tolerance: Tolerance,
    within: Spread | NotGiven,
    confidence: float = CONFIDENCE,
) -> Capability:
    """The capability of ``values`` (one dimension; what is not finite is left out).

    ``within`` comes from ``within_spread`` or ``moving_range_spread`` of the same values.
    ``confidence`` (0 to 1) is that of every interval.
    """
    known = finite(values)
    found, overall = moments(values), overall_spread(known)
    p, method = _normality(known)
    caution = _caution(p, found)

    def of(name: str, sigma: Spread | NotGiven) -> Figure:
        return _index(name, found, tolerance, sigma, confidence, caution)

    return Capability(
        found,
        tolerance,
        within,
        overall,
        of("Cp", within),
        of("Cpk", within),
        of("Pp", overall),
        of("Ppk", overall),
        _cpm(found, tolerance, overall, confidence, caution),
        quantile_form(known, tolerance, FEWEST_VALUES),
        p,
        method,
    )


def _index(
    name: str,
    found: Moments,
    tolerance: Tolerance,
    sigma: Spread | NotGiven,
    confidence: float,
    caution: str | None,
) -> Figure:
    """Equation (1), for Cp and Pp as for Cpk and Ppk."""
    method = f"{name}, {sigma.method}"
    if isinstance(sigma, NotGiven):
        return Figure(method, reason=sigma.reason)
    if found.mean is None or found.count < FEWEST_VALUES:
        return Figure(method, reason=_too_few(found))
    if name in {"Cpk", "Ppk"}:
        value = tolerance.nearest(found.mean) / (3 * sigma.sigma)
        half = _bissell(value, found.count, sigma.degrees_of_freedom, confidence)
        bounds, by = (value - half, value + half), _BISSELL
    elif tolerance.width is None:
        return Figure(method, reason=f"one limit only; {name}k judges by one")
    else:
        value, by = tolerance.width / (6 * sigma.sigma), _CHI_SQUARE
        low, high = sigma.true_over_estimate(confidence)
        bounds = (value / high, value / low)
    return Figure(method, value, *bounds, confidence, by, caution)


def _bissell(value: float, count: int, freedom: float, confidence: float) -> float:
    """Equation (2): the half-width."""
    z = float(ndtri((1 + confidence) / 2))
    return z * math.sqrt(1 / (9 * count) + value**2 / (2 * freedom))


def _cpm(
    found: Moments,
    tolerance: Tolerance,
    overall: Spread | NotGiven,
    confidence: float,
    caution: str | None,
) -> Figure:
    method = "Cpm, root mean square about the target"
    if tolerance.width is None or tolerance.target is None:
        return Figure(method, reason="needs two limits and a target")
    if isinstance(overall, NotGiven):
        return Figure(method, reason=overall.reason)
    if found.mean is None or found.count < FEWEST_VALUES:
        return Figure(method, reason=_too_few(found))
    off = found.mean - tolerance.target
    square = overall.sigma**2 * (found.count - 1) / found.count
    value = tolerance.width / (6 * math.sqrt(square + off**2))
    squared = off**2 / square
    freedom = found.count * (1 + squared) ** 2 / (1 + 2 * squared)
    low, high = (
        value * math.sqrt(float(chdtri(freedom, upper)) / freedom)
        for upper in ((1 + confidence) / 2, (1 - confidence) / 2)
    )
    return Figure(method, value, low, high, confidence, "chi-square (Boyles)", caution)


def _too_few(found: Moments) -> str:
    return f"{found.count} values; {FEWEST_VALUES} are the least for a capability"


def _normality(values: NDArray[np.float64]) -> tuple[float | None, str]:
    """Shapiro and Wilk's test, or D'Agostino and Pearson's where there are more than 5000."""
    from scipy import stats

    many = len(values) > _MOST_FOR_SHAPIRO
    method = "D'Agostino and Pearson" if many else "Shapiro and Wilk"
    if len(values) < FEWEST_VALUES or not np.ptp(values):
        return None, method
    test = stats.normaltest if many else stats.shapiro
    return float(test(values - np.mean(values)).pvalue), method


def _caution(p: float | None, found: Moments) -> str | None:
    """What the indices presume and these values do not show."""
    parts = []
    if p is not None and p < DOUBTFUL_NORMALITY:
        parts.append(f"the values are hardly normal (p = {p:.2g}); see the quantile form")
    if found.hangs_together:
        r = found.lag1_autocorrelation
        parts.append(f"successive values hang together (lag-1 r = {r:.2f})")
    return "; ".join(parts) or None
