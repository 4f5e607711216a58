"""Performance from quantiles, with no distribution presumed (ISO 22514-2).

Pp = (U - L) / (X99.865 - X0.135)                                                         (1)
Ppk = min[(U - X50) / (X99.865 - X50), (X50 - L) / (X50 - X0.135)]                        (2)
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analyzer.lot.statistics.figure import NO_SCATTER, Figure
from analyzer.lot.statistics.tolerance import Tolerance

_SHARES = (0.00135, 0.5, 0.99865)  # what a normal distribution holds below -3, 0 and +3 sigma
# The place of a share p among n values is p (n + 1): below this many, the outermost are taken.
FEWEST_FOR_QUANTILES = math.ceil(1 / _SHARES[0] - 1)
_PP, _PPK = "Pp, quantile form (ISO 22514-2)", "Ppk, quantile form (ISO 22514-2)"
_NO_INTERVAL = "none: the outer quantiles of a sample bound nothing beyond it"


@dataclass(frozen=True)
class QuantileForm:
    """Equations (1) and (2), and the 0.135 %, 50 % and 99.865 % points they stand on."""

    points: tuple[float, float, float] | None
    pp: Figure
    ppk: Figure


def quantile_form(
    values: NDArray[np.float64], tolerance: Tolerance, fewest_values: int
) -> QuantileForm:
    """The quantile form for finite ``values`` of one dimension, ``fewest_values`` at least."""
    if reason := _reason(values, fewest_values):
        return QuantileForm(None, Figure(_PP, reason=reason), Figure(_PPK, reason=reason))
    low, middle, high = (float(q) for q in np.quantile(values, _SHARES, method="weibull"))
    caution = _caution(len(values))
    if tolerance.width is None:
        pp = Figure(_PP, reason="one limit only; Ppk judges by one")
    else:
        pp = _figure(_PP, tolerance.width / (high - low), caution)
    return QuantileForm((low, middle, high), pp, _ppk(low, middle, high, tolerance, caution))


def _ppk(low: float, middle: float, high: float, limits: Tolerance, caution: str | None) -> Figure:
    """Equation (2), of the limits there are."""
    ratios = []
    if limits.upper is not None:
        ratios.append((limits.upper - middle, high - middle))
    if limits.lower is not None:
        ratios.append((middle - limits.lower, middle - low))
    if any(spread == 0 for _, spread in ratios):
        return Figure(_PPK, reason="half of the values are one value: no scatter on one side")
    return _figure(_PPK, min(room / spread for room, spread in ratios), caution)


def _reason(values: NDArray[np.float64], fewest: int) -> str | None:
    if len(values) < fewest:
        return f"{len(values)} values; {fewest} are the least for a capability"
    return None if np.ptp(values) else NO_SCATTER


def _caution(count: int) -> str | None:
    if count >= FEWEST_FOR_QUANTILES:
        return None
    return (
        f"{count} values, fewer than {FEWEST_FOR_QUANTILES}: the smallest and largest stand in for "
        "the 0.135 % points, and the index comes out too high"
    )


def _figure(method: str, value: float, caution: str | None) -> Figure:
    return Figure(method, value, interval_method=_NO_INTERVAL, caution=caution)
