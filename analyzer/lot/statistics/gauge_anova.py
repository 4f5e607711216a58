"""Measurement system analysis by analysis of variance: parts and operators crossed, both random.

With p parts, o operators, r repeats and the mean squares MS of parts, operators, their interaction
and repeats (AIAG, Measurement Systems Analysis, 4th ed., appendix A),

    repeatability = MS_e,  interaction = (MS_po - MS_e) / r                                   (1)
    operator = (MS_o - MS_po) / (p r),  part = (MS_p - MS_po) / (o r)                         (2)

none below zero. An interaction whose F test has p > alpha is pooled with the repeats: both are one
error then, which stands for MS_e and MS_po in (1) and (2), and there is no interaction.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtrc

from analyzer.lot.statistics.figure import NotGiven
from analyzer.lot.statistics.gauge_model import GaugeShares, GaugeTable, gauge_shares

POOLING_ALPHA = 0.25  # AIAG, Measurement Systems Analysis, 4th ed.
_CROSSED = "crossed ANOVA"


@dataclass(frozen=True)
class AnovaRow:
    """A line of the table; ``f`` and ``p`` are None where there is nothing to test against."""

    source: str
    squares: float
    freedom: int
    mean_square: float
    f: float | None = None
    p: float | None = None


@dataclass(frozen=True)
class GaugeAnova:
    """``method`` says whether the interaction was pooled; ``table`` holds what was used.

    ``interaction_p`` decided it (None with one operator). ``unused`` values made the table uneven.
    """

    method: str
    table: tuple[AnovaRow, ...]
    interaction_p: float | None
    pooled: bool
    shares: GaugeShares
    unused: int


def gauge_anova(
    table: GaugeTable, tolerance_width: float | None = None, alpha: float = POOLING_ALPHA
) -> GaugeAnova | NotGiven:
    """Equations (1) and (2) for a balanced table; with one operator, repeatability only.

    ``alpha`` is the p-value of the interaction above which it is pooled; 1 never pools.
    """
    if not np.ptp(table.values):
        return NotGiven(_CROSSED, "all values are alike, so there is no scatter to share out")
    if len(table.operators) == 1:
        return _one_operator(table, tolerance_width)
    part, operator, interaction, error = _rows(table.values)
    interaction = _tested(interaction, error)
    pooled = interaction.p is not None and interaction.p > alpha
    if pooled:
        error = _added("error (pooled)", interaction, error)
    against = error if pooled else interaction
    rows = (_tested(part, against), _tested(operator, against), interaction, error)
    method = f"{_CROSSED}, interaction {'' if pooled else 'not '}pooled (alpha {alpha:g})"
    shares = _shares(table, rows, tolerance_width, pooled=pooled)
    shown = (*rows[:2], error) if pooled else rows
    return GaugeAnova(method, shown, interaction.p, pooled, shares, table.unused)


def _one_operator(table: GaugeTable, tolerance_width: float | None) -> GaugeAnova:
    repeats = table.values.shape[2]
    part, _, _, error = _rows(table.values)
    component = max(0.0, (part.mean_square - error.mean_square) / repeats)
    shares = gauge_shares(error.mean_square, None, None, component, tolerance_width)
    method = "one-way ANOVA, one operator: repeatability only"
    rows = (_tested(part, error), error)
    return GaugeAnova(
        method, rows, interaction_p=None, pooled=False, shares=shares, unused=table.unused
    )


def _shares(
    table: GaugeTable,
    rows: tuple[AnovaRow, AnovaRow, AnovaRow, AnovaRow],
    tolerance_width: float | None,
    *,
    pooled: bool,
) -> GaugeShares:
    """Equations (1) and (2)."""
    part, operator, interaction, error = (row.mean_square for row in rows)
    parts, operators, repeats = table.values.shape
    crossed = error if pooled else interaction
    return gauge_shares(
        error,
        max(0.0, (operator - crossed) / (parts * repeats)),
        None if pooled else max(0.0, (interaction - error) / repeats),
        max(0.0, (part - crossed) / (operators * repeats)),
        tolerance_width,
    )


def _rows(values: NDArray[np.float64]) -> tuple[AnovaRow, AnovaRow, AnovaRow, AnovaRow]:
    """Parts, operators, interaction, repeats: sums of squares of what each adds to the means."""
    p, o, r = values.shape
    # About one of the values, so that a large common part costs no digits.
    cells = np.mean(values - values[0, 0, 0], axis=2, keepdims=True)
    errors = values - values[0, 0, 0] - cells
    grand = np.mean(cells)
    by_part = np.mean(cells, axis=1, keepdims=True) - grand
    by_operator = np.mean(cells, axis=0, keepdims=True) - grand
    together = cells - grand - by_part - by_operator
    return (
        _row("part", o * r * np.sum(by_part**2), p - 1),
        _row("operator", p * r * np.sum(by_operator**2), o - 1),
        _row("part by operator", r * np.sum(together**2), (p - 1) * (o - 1)),
        _row("repeatability", np.sum(errors**2), p * o * (r - 1)),
    )


def _row(source: str, squares: float, freedom: int) -> AnovaRow:
    return AnovaRow(source, float(squares), freedom, float(squares) / freedom if freedom else 0.0)


def _added(source: str, first: AnovaRow, second: AnovaRow) -> AnovaRow:
    return _row(source, first.squares + second.squares, first.freedom + second.freedom)


def _tested(row: AnovaRow, against: AnovaRow) -> AnovaRow:
    """The row with its F test against another's mean square."""
    if not against.mean_square:
        return row
    f = row.mean_square / against.mean_square
    return replace(row, f=f, p=float(fdtrc(row.freedom, against.freedom, f)))
