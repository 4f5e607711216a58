"""Statistics as values for JSON. What they were made from are cents, which the keys here say."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict
from typing import Any, Protocol, TypeVar

from analyzer.lot.statistics.capability import Capability
from analyzer.lot.statistics.charts import Chart
from analyzer.lot.statistics.figure import Figure, NotGiven
from analyzer.lot.statistics.moments import Moments
from analyzer.lot.statistics.run_rules import Violation
from analyzer.lot.statistics.spread import Spread
from analyzer.lot.statistics.trend import Trend


class _Named(Protocol):
    @property
    def method(self) -> str: ...


_Found = TypeVar("_Found", bound=_Named)


def or_reason(
    found: _Found | NotGiven, as_value: Callable[[_Found], dict[str, Any]]
) -> dict[str, Any]:
    """``method``, ``reason`` and ``result``, of which one of the last two is null."""
    if isinstance(found, NotGiven):
        return {"method": found.method, "reason": found.reason, "result": None}
    return {"method": found.method, "reason": None, "result": as_value(found)}


def figure_as_value(figure: Figure) -> dict[str, Any]:
    """An index or a share, which has no unit."""
    return asdict(figure)


def moments_as_value(found: Moments) -> dict[str, Any]:
    """Of values in cents."""
    return {
        "count": found.count,
        "missing": found.missing,
        "mean_cents": found.mean,
        "sd_cents": found.sd,
        "lag1_autocorrelation": found.lag1_autocorrelation,
    }


def capability_as_value(found: Capability) -> dict[str, Any]:
    """The keys ``moments`` and ``capability``."""
    figures = {
        "cp": found.cp,
        "cpk": found.cpk,
        "pp": found.pp,
        "ppk": found.ppk,
        "cpm": found.cpm,
        "quantile_pp": found.quantiles.pp,
        "quantile_ppk": found.quantiles.ppk,
    }
    points = found.quantiles.points
    return {
        "moments": moments_as_value(found.moments),
        "capability": {
            **{key: figure_as_value(each) for key, each in figures.items()},
            "quantile_points_cents": None if points is None else list(points),
            "within": or_reason(found.within, _spread),
            "overall": or_reason(found.overall, _spread),
            "normality_p": found.normality_p,
            "normality_method": found.normality_method,
        },
    }


def chart_as_value(
    chart: Chart, signals: Sequence[Violation], places: Mapping[str, int]
) -> dict[str, Any]:
    """A chart whose labels have ``places`` in a list of subgroups.

    Limits are those of a subgroup's size, so they stand once for each size that occurs.
    """
    by_size = {size: place for place, size in enumerate(chart.sizes)}
    return {
        "drawn": chart.drawn,
        "method": chart.method,
        "caution": chart.caution,
        "limits": [
            {
                "size": size,
                "centre_cents": chart.centres[place],
                "lower_cents": chart.lower_limits[place],
                "upper_cents": chart.upper_limits[place],
                "standard_deviation_cents": chart.standard_deviations[place],
            }
            for size, place in sorted(by_size.items())
        ],
        "subgroups": [places[label] for label in chart.labels],
        "sizes": list(chart.sizes),
        "points_cents": list(chart.points),
        "signals": [_signal(each, places) for each in signals],
    }


def trend_as_value(found: Trend) -> dict[str, Any]:
    """A line through values in cents."""
    return {
        "count": found.count,
        "slope_cents_per_day": found.slope_per_day,
        "slope_uncertainty_cents_per_day": found.slope_uncertainty_per_day,
        "lower_cents_per_day": found.lower_per_day,
        "upper_cents_per_day": found.upper_per_day,
        "p": found.p,
        "mean_cents": found.mean,
        "residual_sd_cents": found.residual_sd,
        "caution": found.caution,
    }


def _spread(found: Spread) -> dict[str, Any]:
    return {"sigma_cents": found.sigma, "degrees_of_freedom": found.degrees_of_freedom}


def _signal(each: Violation, places: Mapping[str, int]) -> dict[str, Any]:
    return {
        "rule": each.rule.key,
        "side": each.side,
        "subgroups": [places[label] for label in each.labels],
        "words": each.in_words(),
    }
