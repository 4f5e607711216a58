"""What a measurement system analysis is made of: a balanced table of repeats, and its results.

Terms as in the trade: equipment variation is repeatability, appraiser variation reproducibility, a
part is an instrument (or a string of one), an operator may as well be a station.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analyzer.lot.statistics.figure import NotGiven

STUDY_SDS = 6.0  # the width of a study variation: 99.73 % of a normal distribution
_CATEGORY_FACTOR = 1.41  # as published, of sqrt 2: categories = 1.41 PV / GRR, truncated


@dataclass(frozen=True)
class GaugeTable:
    """``values`` has the shape (parts, operators, repeats); ``unused`` values made it uneven."""

    values: NDArray[np.float64]
    parts: tuple[str, ...]
    operators: tuple[str, ...]
    unused: int


@dataclass(frozen=True)
class GaugeShare:
    """One source of scatter.

    ``contribution_percent`` is of the total variance, ``study_percent`` of the total standard
    deviation, ``tolerance_percent`` 6 sd of the tolerance's width (None without one).
    """

    source: str
    variance: float
    sd: float
    contribution_percent: float
    study_percent: float
    tolerance_percent: float | None


@dataclass(frozen=True)
class GaugeShares:
    """The sources side by side, and the number of distinct categories the gauge can tell apart.

    ``operator`` and ``interaction`` are None where the study has one operator, ``interaction`` also
    where it was pooled or the method does not know it. ``categories`` is None for a gauge that
    showed no scatter at all.
    """

    repeatability: GaugeShare
    operator: GaugeShare | None
    interaction: GaugeShare | None
    reproducibility: GaugeShare | None
    gauge: GaugeShare
    part: GaugeShare
    total: GaugeShare
    categories: int | None


def gauge_table(
    values: ArrayLike, parts: Sequence[object], operators: Sequence[object]
) -> GaugeTable | NotGiven:
    """Arrange repeats of ``parts`` by ``operators``, one of each for every value, in any order.

    Every operator must have measured every part at least twice. Where some have more repeats than
    others, the first of each are used, as many as all have, and the rest is counted as unused.
    Values that are not finite are left out.
    """
    cells: dict[tuple[str, str], list[float]] = {}
    rows = zip(np.asarray(values, dtype=float), parts, operators, strict=True)
    for value, part, operator in rows:
        kept = cells.setdefault((str(part), str(operator)), [])
        if np.isfinite(value):
            kept.append(float(value))
    part_names = tuple(dict.fromkeys(part for part, _ in cells))
    operator_names = tuple(dict.fromkeys(operator for _, operator in cells))
    if reason := _incomplete(cells, part_names, operator_names):
        return NotGiven("measurement system analysis", reason)
    repeats = min(len(kept) for kept in cells.values())
    table = np.array([[cells[p, o][:repeats] for o in operator_names] for p in part_names])
    unused = sum(len(kept) - repeats for kept in cells.values())
    return GaugeTable(table, part_names, operator_names, unused)


def gauge_shares(
    repeatability: float,
    operator: float | None,
    interaction: float | None,
    part: float,
    tolerance_width: float | None,
) -> GaugeShares:
    """From the variance of each source to its shares; the total is their sum."""
    known = [each for each in (operator, interaction) if each is not None]
    reproducibility = sum(known) if known else None
    gauge = repeatability + sum(known)
    total = gauge + part

    def share(source: str, variance: float) -> GaugeShare:
        sd, all_sd = math.sqrt(variance), math.sqrt(total)
        of_tolerance = None if tolerance_width is None else 100 * STUDY_SDS * sd / tolerance_width
        return GaugeShare(
            source, variance, sd, 100 * variance / total, 100 * sd / all_sd, of_tolerance
        )

    def where_known(source: str, variance: float | None) -> GaugeShare | None:
        return None if variance is None else share(source, variance)

    return GaugeShares(
        share("repeatability", repeatability),
        where_known("operator", operator),
        where_known("part by operator", interaction),
        where_known("reproducibility", reproducibility),
        share("gauge", gauge),
        share("part to part", part),
        share("total", total),
        int(_CATEGORY_FACTOR * math.sqrt(part / gauge)) if gauge > 0 else None,
    )


def _incomplete(
    cells: dict[tuple[str, str], list[float]], parts: Sequence[str], operators: Sequence[str]
) -> str | None:
    """Why the table cannot be had, naming one cell, or None."""
    if len(parts) < 2:
        return f"{len(parts)} parts; two are the least, ten are usual"
    short = [(p, o) for p in parts for o in operators if len(cells.get((p, o), ())) < 2]
    if not short:
        return None
    part, operator = short[0]
    more = f", and {len(short) - 1} more like it" if len(short) > 1 else ""
    count = len(cells.get(short[0], ()))
    return (
        f"part {part} by operator {operator} has {count} repeats{more}; "
        "every operator measures every part at least twice"
    )
