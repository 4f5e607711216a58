"""Control charts for variables: mean and range, mean and s, individuals and moving range.

Every limit follows from the process's mean and sigma, three standard deviations of what is drawn
either way (ISO 7870-2). For n values to a subgroup that is, with the constants of ``constants``,

    mean    mean -+ 3 sigma / sqrt n         which is mean -+ A2 R-bar, or A3 s-bar            (1)
    range   d2 sigma, (d2 -+ 3 d3) sigma     which is R-bar, D3 R-bar, D4 R-bar                (2)
    s       c4 sigma, (c4 -+ 3 sqrt(1 - c4^2)) sigma   which is s-bar, B3 s-bar, B4 s-bar      (3)

so subgroups of unequal sizes have each their own limits (and centre, of a range or s).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from analyzer.lot.statistics.constants import (
    SMALLEST_SUBGROUP,
    c4,
    sd_of_sd,
    shewhart_constants,
)
from analyzer.lot.statistics.figure import NotGiven
from analyzer.lot.statistics.moments import finite, mean_of, moments
from analyzer.lot.statistics.spread import (
    Spread,
    SpreadBy,
    moving_range_spread,
    unusable_subgroups,
    within_spread,
)
from analyzer.lot.statistics.subgroups import Subgroup, means_of, ranges_of, sds_of

Drawn = Literal["mean", "range", "s", "value", "moving range"]
LIMIT_SDS = 3.0  # from the centre to a limit, ISO 7870-2
FEW_POINTS = 20  # common practice: 20 to 25 subgroups before limits are relied on
_BOTH_WAYS = {"mean", "value"}  # may be negative, and scatter alike to both sides


@dataclass(frozen=True)
class Process:
    """The mean and spread that limits are set by: of an earlier period, or of the same points."""

    mean: float
    spread: Spread


@dataclass(frozen=True)
class Chart:
    """One chart: five numbers and a label for each point, in the order of time.

    ``standard_deviations`` is that of each drawn point, so (point - centre) over it counts zones.
    ``sizes`` are the values behind each point. ``caution`` says what weakens the limits.
    """

    drawn: Drawn
    method: str
    labels: tuple[str, ...]
    sizes: tuple[int, ...]
    points: tuple[float, ...]
    centres: tuple[float, ...]
    lower_limits: tuple[float, ...]
    upper_limits: tuple[float, ...]
    standard_deviations: tuple[float, ...]
    caution: str | None = None

    @property
    def symmetric(self) -> bool:
        """Whether what is drawn scatters alike to both sides, as the run rules presume."""
        return self.drawn in _BOTH_WAYS


@dataclass(frozen=True)
class ChartPair:
    """A chart of where the process is and one of how it scatters, from one mean and sigma."""

    process: Process
    location: Chart
    scatter: Chart


def mean_charts(
    subgroups: Sequence[Subgroup], by: SpreadBy, process: Process | None = None
) -> ChartPair | NotGiven:
    """X-bar and R charts (``by`` "range"), or X-bar and s charts (``by`` "sd").

    ``process`` sets the limits; without one they come from these subgroups, the mean of all values
    and ``within_spread``. A single value has a point among the means and none on the other chart.
    """
    if reason := unusable_subgroups(subgroups, by):
        return NotGiven("X-bar and R charts" if by == "range" else "X-bar and s charts", reason)
    own = process is None
    if process is None:
        spread = within_spread(subgroups, by)
        if isinstance(spread, NotGiven):
            return spread
        process = Process(mean_of(np.concatenate([each.values for each in subgroups])), spread)
    several = [each for each in subgroups if each.size >= SMALLEST_SUBGROUP]
    scatter = _ranges(several, process) if by == "range" else _sds(several, process)
    location = _location("mean", subgroups, process, own=own)
    return ChartPair(process, location, scatter)


def individuals_charts(
    values: ArrayLike, labels: Sequence[object], process: Process | None = None
) -> ChartPair | NotGiven:
    """Charts of single values and of the ranges of neighbours, one label for each value.

    Values that are not finite are left out with their labels. ``process`` as in ``mean_charts``.
    """
    given = np.asarray(values, dtype=float).ravel()
    singles = [
        Subgroup(str(label), np.array([value]))
        for value, label in zip(given, labels, strict=True)
        if np.isfinite(value)
    ]
    own = process is None
    if process is None:
        spread = moving_range_spread(given)
        if isinstance(spread, NotGiven):
            return spread
        process = Process(mean_of(finite(given)), spread)
    location = _location("value", singles, process, own=own)
    return ChartPair(process, location, _moving_ranges(singles, process))


def _location(drawn: Drawn, subgroups: Sequence[Subgroup], process: Process, *, own: bool) -> Chart:
    """Equation (1)."""
    sigma = process.spread.sigma
    points = means_of(subgroups).tolist()
    chart = _chart(
        drawn,
        f"{'X-bar' if drawn == 'mean' else 'individuals'} chart, sigma {process.spread.method}",
        subgroups,
        points,
        lambda size: (process.mean, sigma / math.sqrt(size)),
    )
    return replace(chart, caution=_caution(points, own=own))


def _ranges(subgroups: Sequence[Subgroup], process: Process) -> Chart:
    """Equation (2)."""
    sigma = process.spread.sigma

    def expected(size: int) -> tuple[float, float]:
        constants = shewhart_constants(size)
        return constants.d2 * sigma, constants.d3 * sigma

    points = ranges_of(subgroups).tolist()
    return _chart("range", "R chart, d2 and d3", subgroups, points, expected)


def _sds(subgroups: Sequence[Subgroup], process: Process) -> Chart:
    """Equation (3)."""
    sigma = process.spread.sigma
    points = sds_of(subgroups).tolist()
    return _chart(
        "s", "s chart, c4", subgroups, points, lambda n: (c4(n) * sigma, sd_of_sd(n) * sigma)
    )


def _moving_ranges(singles: Sequence[Subgroup], process: Process) -> Chart:
    """Equation (2) for two neighbours; the point stands at the later one."""
    pairs = [
        Subgroup(later.label, np.concatenate([earlier.values, later.values]))
        for earlier, later in pairwise(singles)
    ]
    ranges = _ranges(pairs, process)
    return replace(ranges, drawn="moving range", method="moving range chart, d2 and d3 of two")


def _chart(
    drawn: Drawn,
    method: str,
    subgroups: Sequence[Subgroup],
    points: Sequence[float],
    expected: Callable[[int], tuple[float, float]],
) -> Chart:
    """``expected`` gives centre and standard deviation for a subgroup's size."""
    sizes = tuple(each.size for each in subgroups)
    lowest = -math.inf if drawn in _BOTH_WAYS else 0.0
    by_size = {}
    for size in set(sizes):
        centre, sd = expected(size)
        limits = max(lowest, centre - LIMIT_SDS * sd), centre + LIMIT_SDS * sd
        by_size[size] = (centre, *limits, sd)
    # Points of one size share their limits, in memory as well.
    rows = [by_size[size] for size in sizes]
    centres, lower, upper, sds = (tuple(row[part] for row in rows) for part in range(4))
    return Chart(
        drawn,
        method,
        tuple(each.label for each in subgroups),
        sizes,
        tuple(points),
        centres,
        lower,
        upper,
        sds,
    )


def _caution(points: Sequence[float], *, own: bool) -> str | None:
    """What weakens the limits: few points to set them by, or points that hang together."""
    parts = []
    if own and len(points) < FEW_POINTS:
        parts.append(f"limits from {len(points)} points only; {FEW_POINTS} or more make them firm")
    found = moments(points)
    if found.hangs_together:
        r = found.lag1_autocorrelation
        parts.append(f"successive points hang together (lag-1 r = {r:.2f}): more false alarms")
    return "; ".join(parts) or None
