"""What several tests of a lot's statistics ask for; a reason in its place fails the test."""

from __future__ import annotations

import math

import numpy as np
from hard_bake import WIDTHS

from analyzer.lot.statistics.capability import Capability, capability
from analyzer.lot.statistics.charts import (
    Chart,
    ChartPair,
    Process,
    individuals_charts,
    mean_charts,
)
from analyzer.lot.statistics.figure import NotGiven
from analyzer.lot.statistics.gauge_anova import GaugeAnova, gauge_anova
from analyzer.lot.statistics.gauge_model import GaugeTable, gauge_table
from analyzer.lot.statistics.gauge_range import GaugeRange, gauge_range
from analyzer.lot.statistics.one_way import OneWay, one_way
from analyzer.lot.statistics.spread import Spread, within_spread
from analyzer.lot.statistics.subgroups import Subgroup, subgroups_in_runs
from analyzer.lot.statistics.tolerance import Tolerance
from analyzer.lot.statistics.trend import Trend, trend


def spread_of(found: Spread | NotGiven) -> Spread:
    assert isinstance(found, Spread)
    return found


def charts_of(found: ChartPair | NotGiven) -> ChartPair:
    assert isinstance(found, ChartPair)
    return found


def hard_bake_capability(by="range") -> Capability:
    groups = subgroups_in_runs(WIDTHS.ravel(), 5)
    return capability(WIDTHS, Tolerance(1.0, 2.0, 1.5), within_spread(groups, by))


def hard_bake_charts(by="range") -> ChartPair:
    return charts_of(mean_charts(subgroups_in_runs(WIDTHS.ravel(), 5), by))


def table_of(values) -> GaugeTable:
    """Of an array (parts, operators, repeats), by way of long columns in a shuffled order."""
    order = np.random.default_rng(2).permutation(values.size)
    part, operator, _ = np.indices(values.shape)
    found = gauge_table(
        values.ravel()[order], part.ravel()[order].tolist(), operator.ravel()[order].tolist()
    )
    assert isinstance(found, GaugeTable)
    assert found.unused == 0
    return found


def anova_of(values, **options: float) -> GaugeAnova:
    found = gauge_anova(table_of(values), **options)
    assert isinstance(found, GaugeAnova)
    return found


def range_of(values, **options: float) -> GaugeRange:
    found = gauge_range(table_of(values), **options)
    assert isinstance(found, GaugeRange)
    return found


def rows_of(found: GaugeAnova) -> dict:
    return {row.source: row for row in found.table}


def groups_of(rows) -> list[Subgroup]:
    return [Subgroup(str(place), np.array(row)) for place, row in enumerate(rows)]


def one_way_of(rows) -> OneWay:
    found = one_way(groups_of(rows))
    assert isinstance(found, OneWay)
    return found


def line_of(x, y) -> Trend:
    found = trend(x, y)
    assert isinstance(found, Trend)
    return found


STANDARD = Process(0.0, Spread(1.0, math.inf, "given"))


def standard_chart(points) -> Chart:
    """Single values of a process with mean 0 and sigma 1."""
    return charts_of(individuals_charts(points, range(len(points)), STANDARD)).location


def drawn_over(points) -> Chart:
    """The same for many points, put together by hand as that is quicker."""
    count = len(points)

    def each(value: float) -> tuple[float, ...]:
        return (value,) * count

    labels = tuple(map(str, range(count)))
    return Chart("value", "", labels, each(1), points, each(0.0), each(-3.0), each(3.0), each(1.0))
