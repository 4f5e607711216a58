"""Measurement system analysis by average and range (AIAG, Measurement Systems Analysis, 4th ed.).

With R-bar the mean range of an operator's repeats of a part, X_diff the range of the operators'
means, R_p that of the parts' means, and K the inverse of the range constants,

    EV = K1 R-bar,  AV = sqrt((K2 X_diff)^2 - EV^2 / (p r)),  PV = K3 R_p                      (1)
    K1 = 1 / d2,  K2 and K3 = 1 / d2*, as each rests on a single range                         (2)

It knows no interaction: that goes unseen into the others, so its figures differ from those of the
analysis of variance for the same data.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyzer.lot.statistics.constants import (
    LARGEST_SUBGROUP,
    mean_square_d2,
    shewhart_constants,
)
from analyzer.lot.statistics.figure import NotGiven
from analyzer.lot.statistics.gauge_model import GaugeShares, GaugeTable, gauge_shares

_METHOD = "average and range"


@dataclass(frozen=True)
class OperatorMeans:
    """Of all readings of one operator: their mean, and the mean range of the repeats of a part."""

    operator: str
    mean: float
    mean_range: float


@dataclass(frozen=True)
class GaugeRange:
    """Equation (1) as shares, with what stands behind it: ``part_range`` is of the parts' means.

    ``beyond`` names the cells (part, operator) whose range is above ``range_limit``, D4 R-bar: look
    at those readings before trusting the rest. ``unused`` values made the table uneven.
    """

    method: str
    mean_range: float
    by_operator: tuple[OperatorMeans, ...]
    part_range: float
    range_limit: float
    beyond: tuple[tuple[str, str], ...]
    shares: GaugeShares
    unused: int


def gauge_range(table: GaugeTable, tolerance_width: float | None = None) -> GaugeRange | NotGiven:
    """Equation (1) for a balanced table of at most 25 parts, operators and repeats.

    With one operator there is repeatability only.
    """
    values = table.values
    if max(values.shape) > LARGEST_SUBGROUP:
        most = max(values.shape)
        return NotGiven(_METHOD, f"{most} in a range; it serves to {LARGEST_SUBGROUP}, then ANOVA")
    if not np.ptp(values):
        return NotGiven(_METHOD, "all values are alike, so there is no scatter to share out")
    ranges = np.ptp(values, axis=2)
    constants = shewhart_constants(values.shape[2])
    limit = constants.d4_limit * float(np.mean(ranges))
    one = len(table.operators) == 1
    return GaugeRange(
        f"{_METHOD}, one operator: repeatability only" if one else _METHOD,
        float(np.mean(ranges)),
        _by_operator(table),
        _part_range(table),
        limit,
        tuple((table.parts[p], table.operators[o]) for p, o in np.argwhere(ranges > limit)),
        _shares(table, float(np.mean(ranges)) / constants.d2, tolerance_width),
        table.unused,
    )


def _by_operator(table: GaugeTable) -> tuple[OperatorMeans, ...]:
    means = np.mean(table.values, axis=(0, 2))
    ranges = np.mean(np.ptp(table.values, axis=2), axis=0)
    return tuple(
        OperatorMeans(name, float(mean), float(spread))
        for name, mean, spread in zip(table.operators, means, ranges, strict=True)
    )


def _part_range(table: GaugeTable) -> float:
    return float(np.ptp(np.mean(table.values, axis=(1, 2))))


def _shares(table: GaugeTable, ev: float, tolerance_width: float | None) -> GaugeShares:
    """Equation (1)."""
    parts, operators, repeats = table.values.shape
    pv = _part_range(table) / mean_square_d2(parts, 1)
    av_squared = None
    if operators > 1:
        between = float(np.ptp(np.mean(table.values, axis=(0, 2))))
        av_squared = (between / mean_square_d2(operators, 1)) ** 2 - ev**2 / (parts * repeats)
        av_squared = max(0.0, av_squared)
    return gauge_shares(ev**2, av_squared, None, pv**2, tolerance_width)
