"""Limits from the first checks of a station, at a stated rate of false alarms.

A new value may lie off the mean of n baseline values by

    t(nu, 1 - alpha/2) s sqrt(1 + 1/n),                                                   (1)

a prediction interval (G. J. Hahn and W. Q. Meeker, Statistical Intervals, 1991, section 4.7; from
memory), and the mean of the last m values by the same with sqrt(1/m + 1/n). s is from moving
ranges, as for a chart of individuals, and nu its degrees of freedom. So few checks as make a
baseline leave mean and s unsure, which three-sigma limits do not allow for: with 20 values they
alarm twice or three times as often as they promise. alpha is FALSE_ALARM over the number of tests
in a check (Bonferroni), so that an unchanged station is called changed that often or less, however
the values hang together; it presumes values that are normal and, from check to check, independent.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy.special import ndtri, stdtrit

from analyzer.lot.station_check.model import Baseline, Past
from analyzer.lot.station_check.thresholds import AVERAGED_CHECKS, FALSE_ALARM, LEAST_SIGMA
from analyzer.lot.statistics.charts import LIMIT_SDS, ChartPair, Process, individuals_charts
from analyzer.lot.statistics.figure import NotGiven
from analyzer.lot.statistics.moments import mean_of
from analyzer.lot.statistics.spread import Spread, moving_range_spread

_TESTS = 2  # of each characteristic: the value, and the mean of the last


def baseline_of(
    first: Sequence[Past], later: Sequence[Past], key: str, unit: str, charted: int
) -> Baseline:
    """What the ``first`` checks allow of ``key``, and the mean of the last of the ``later`` ones.

    ``charted``: how many characteristics are judged in a check. All checks have a value of ``key``,
    and are in order of time.
    """
    values = np.array([each.values[key][0] for each in first])
    alpha = FALSE_ALARM / (_TESTS * charted)
    sigma, factor, method = _scatter(first, values, key, unit, 1 - alpha / 2)
    recent = [each.values[key][0] for each in later[-AVERAGED_CHECKS:]]
    average = mean_of(np.array(recent)) if len(recent) > 1 else None
    average_half = factor * sigma * math.sqrt(1 / len(recent) + 1 / values.size) if recent else None
    return Baseline(
        values.size,
        first[0].checked_at,
        first[-1].checked_at,
        mean_of(values),
        sigma,
        method,
        factor * sigma * math.sqrt(1 + 1 / values.size),
        len(recent),
        average,
        None if average is None else average_half,
    )


def _scatter(
    first: Sequence[Past], values: np.ndarray, key: str, unit: str, probability: float
) -> tuple[float, float, str]:
    """Sigma, how often it fits into a limit, and where it comes from."""
    spread = moving_range_spread(values)
    own = [each.values[key][1] or 0.0 for each in first]
    known = max(math.sqrt(float(np.mean(np.square(own)))), LEAST_SIGMA.get(unit, 0.0))
    normal = float(ndtri(probability))
    if not isinstance(spread, NotGiven):
        freedom = spread.degrees_of_freedom
        sigma = spread.sigma / spread.chi_ratio
        student = float(stdtrit(freedom, probability))
        if student * sigma >= normal * known:
            return sigma, student, f"{spread.method}, Student's t, {freedom:.1f} degrees of freedom"
    by = "uncertainty" if known > LEAST_SIGMA.get(unit, 0.0) else "least that matters"
    return known, normal, f"{by}, larger than the scatter of the baseline"


def charts_of(checks: Sequence[Past], key: str, baseline: Baseline) -> ChartPair | None:
    """Individuals and moving ranges of all checks, held to equation (1)."""
    process = Process(
        baseline.mean,
        Spread(baseline.half_width / LIMIT_SDS, math.inf, f"{baseline.method}, of a prediction"),
    )
    labels = [each.checked_at for each in checks]
    found = individuals_charts([each.values[key][0] for each in checks], labels, process)
    return None if isinstance(found, NotGiven) else found
