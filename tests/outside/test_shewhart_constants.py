"""Constants of control charts against published tables, closed forms and scipy."""

from __future__ import annotations

import math

import numpy as np
import pytest
from gauge_studies import AIAG_MSA
from lot_figures import charts_of, spread_of
from scipy import stats
from scipy.integrate import trapezoid

from analyzer.lot.statistics.charts import (
    Process,
    individuals_charts,
    mean_charts,
)
from analyzer.lot.statistics.constants import mean_square_d2, shewhart_constants
from analyzer.lot.statistics.spread import (
    Spread,
    within_spread,
)
from analyzer.lot.statistics.subgroups import Subgroup, subgroups_in_runs

SHEWHART = "Published table of Shewhart constants, n from 2 to 25, four decimals"
INTEGRATED = "Distribution of the range of normal values, integrated elsewhere"
NORMAL = "Range of two normal values, closed form"
SCIPY = "scipy.stats"
pytestmark = pytest.mark.source(
    SHEWHART, "published example", "d2 d3 c4 A2 A3 D3 D4 B3 B4, subgroups of 2 to 6"
)


# d2, d3, c4, A2, A3, D3, D4, B3, B4: as published with four decimals, integrated elsewhere to five
# (computed).
TABLE = {
    2: (1.12838, 0.85250, 0.79788, 1.87997, 2.65868, 0, 3.26653, 0, 3.26653),
    3: (1.69257, 0.88837, 0.88623, 1.02333, 1.95441, 0, 2.57459, 0, 2.56817),
    4: (2.05875, 0.87981, 0.92132, 0.72860, 1.62810, 0, 2.28205, 0, 2.26605),
    5: (2.32593, 0.86408, 0.93999, 0.57682, 1.42730, 0, 2.11450, 0, 2.08900),
    6: (2.53441, 0.84804, 0.95153, 0.48325, 1.28713, 0, 2.00383, 0.03036, 1.96964),
}


# d2, d3, c4, D3, D4, B3, B4 as handbooks print them (from memory).
LARGER = {
    7: (2.704, 0.833, 0.9594, 0.076, 1.924, 0.118, 1.882),
    10: (3.078, 0.797, 0.9727, 0.223, 1.777, 0.284, 1.716),
    25: (3.931, 0.708, 0.9896, 0.459, 1.541, 0.565, 1.435),
}


@pytest.mark.source(INTEGRATED, "published formula", "constants of subgroups of 2 to 6")
@pytest.mark.parametrize("size", TABLE)
def test_shewhart_constants_are_the_published_ones(size) -> None:
    k = shewhart_constants(size)
    found = (k.d2, k.d3, k.c4, k.a2, k.a3, k.d3_limit, k.d4_limit, k.b3, k.b4)
    assert found == pytest.approx(TABLE[size], abs=1e-5)
    assert k.e2 * TABLE[size][0] == pytest.approx(3, abs=1e-5)


@pytest.mark.source(
    "Handbook tables of Shewhart constants", "from memory", "constants of subgroups of 7, 10 and 25"
)
@pytest.mark.parametrize("size", LARGER)
def test_shewhart_constants_of_larger_subgroups(size) -> None:
    k = shewhart_constants(size)
    found = (k.d2, k.d3, k.c4, k.d3_limit, k.d4_limit, k.b3, k.b4)
    assert found == pytest.approx(LARGER[size], abs=1e-3)


@pytest.mark.source(NORMAL, "published formula", "d2, d3 and c4 of two")
def test_shewhart_constants_of_two_in_closed_form() -> None:
    """|x1 - x2| of normal values: mean 2 / sqrt pi, variance 2 - 4 / pi; c4 = sqrt(2 / pi)."""
    k = shewhart_constants(2)
    assert k.d2 == pytest.approx(2 / math.sqrt(math.pi), rel=1e-9)
    assert k.d3 == pytest.approx(math.sqrt(2 - 4 / math.pi), rel=1e-8)
    assert k.c4 == pytest.approx(math.sqrt(2 / math.pi), rel=1e-12)
    assert k.e2 == pytest.approx(2.660, abs=2e-3)  # as published, as 3 over the rounded 1.128


@pytest.mark.source(SCIPY, "reference library", "d2 from the studentized range")
def test_ranges_are_distributed_as_scipy_says() -> None:
    """The range of n normal values is the studentized range with infinite degrees of freedom."""
    grid = np.linspace(0, 12, 601)
    above = stats.studentized_range.sf(grid, 5, np.inf)
    assert shewhart_constants(5).d2 == pytest.approx(trapezoid(above, grid), abs=1e-4)


@pytest.mark.source(AIAG_MSA, "published example", "K2 and K3")
def test_divisor_of_a_single_range_is_the_published_one() -> None:
    """AIAG K2 .5231 for three, K3 .3146 for ten (read 2nd-hand) are the inverse."""
    assert 1 / mean_square_d2(3, 1) == pytest.approx(0.5231, abs=5e-5)
    assert 1 / mean_square_d2(10, 1) == pytest.approx(0.3146, abs=5e-5)


@pytest.mark.source(
    "Burr's weights for unequal subgroups", "from memory", "sigma within unequal subgroups"
)
def test_unequal_subgroups_are_weighted_by_their_certainty() -> None:
    """Burr's weights (from memory) with the published constants of two and of five values."""
    groups = [Subgroup("a", np.array([1.0, 3.0])), Subgroup("b", np.array([0, 1.0, 2, 3, 7]))]
    weights = np.array([(1.12838 / 0.85250) ** 2, (2.32593 / 0.86408) ** 2])
    expected = weights @ [2 / 1.12838, 7 / 2.32593] / weights.sum()
    found = spread_of(within_spread(groups, "range"))
    assert found.sigma == pytest.approx(expected, rel=1e-5)
    assert "unequal" in found.method


@pytest.mark.source(
    "Duncan's table of degrees of freedom", "from memory", "degrees of freedom of mean ranges"
)
def test_degrees_of_freedom_of_mean_ranges_are_the_published_ones() -> None:
    """Duncan's table (from memory): one range of 5 has 3.8 degrees of freedom, ten have 36.5."""
    rng = np.random.default_rng(1)
    for count, freedom in ((1, 3.8), (10, 36.5)):
        groups = subgroups_in_runs(rng.normal(size=5 * count), 5)
        found = spread_of(within_spread(groups, "range")).degrees_of_freedom
        assert found == pytest.approx(freedom, abs=0.1)


@pytest.mark.source(SHEWHART, "published example", "limits of charts for single values")
def test_individuals_use_the_published_factors() -> None:
    """Moving ranges 2, 3, 1, 6: mean 3, so limits at 2.660 times 3, and 3.267 times 3."""
    values = [10.0, 12.0, 9.0, 10.0, 16.0]
    found = charts_of(individuals_charts(values, "abcde"))
    assert found.location.centres[0] == pytest.approx(11.4)
    assert found.location.upper_limits[0] == pytest.approx(11.4 + 2.660 * 3, abs=5e-3)
    assert found.location.lower_limits[0] == pytest.approx(11.4 - 2.660 * 3, abs=5e-3)
    assert found.scatter.points == (2.0, 3.0, 1.0, 6.0)
    assert found.scatter.centres[0] == pytest.approx(3)
    assert found.scatter.upper_limits[0] == pytest.approx(3.267 * 3, abs=3e-3)
    assert found.scatter.labels == tuple("bcde")
    assert "MR-bar/d2" in found.location.method


@pytest.mark.source(INTEGRATED, "published formula", "limits of subgroups of several sizes")
def test_each_size_has_its_own_limits() -> None:
    """With sigma 2 given: 3 sigma / sqrt n, and d2, D1, D2 of the published constants."""
    groups = [Subgroup("one", np.array([1.0])), Subgroup("two", np.array([0.0, 1.0]))]
    groups.append(Subgroup("six", np.array([0.0, 1, 2, 3, 4, 5])))
    found = charts_of(mean_charts(groups, "range", Process(10.0, Spread(2.0, 99, "given"))))
    widths = np.array(found.location.upper_limits) - 10
    assert widths == pytest.approx(6 / np.sqrt([1, 2, 6]))
    assert found.location.sizes == (1, 2, 6)
    assert found.scatter.labels == ("two", "six")
    assert found.scatter.centres == pytest.approx((2 * 1.12838, 2 * 2.53441), abs=2e-5)
    upper = (2 * (1.12838 + 3 * 0.85250), 2 * (2.53441 + 3 * 0.84804))
    assert found.scatter.upper_limits == pytest.approx(upper, abs=5e-5)


@pytest.mark.source(
    "Handbook tables of Shewhart constants", "from memory", "lower limits of charts for ten"
)
def test_lower_limits_of_many_values_are_above_zero() -> None:
    """D3 0.223 and B3 0.284 for ten (from memory)."""
    groups = subgroups_in_runs(np.random.default_rng(4).normal(size=250), 10)
    for by, factor in (("range", 0.223), ("sd", 0.284)):
        chart = charts_of(mean_charts(groups, by)).scatter
        assert chart.lower_limits[0] / chart.centres[0] == pytest.approx(factor, abs=1e-3)


@pytest.mark.source(AIAG_MSA, "published example", "K1, over the mean range of three trials")
def test_divisor_of_many_ranges_is_the_published_one() -> None:
    """K1 .5908 for three trials, read 2nd-hand."""
    assert 1 / shewhart_constants(3).d2 == pytest.approx(0.5908, abs=5e-5)


# d2 d3 c4 A2 D3 D4 B3 B4 as printed.
PRINTED = {
    2: (1.1284, 0.8525, 0.7979, 1.8800, 0, 3.2665, 0, 3.2665),
    3: (1.6926, 0.8884, 0.8862, 1.0233, 0, 2.5746, 0, 2.5682),
    4: (2.0588, 0.8798, 0.9213, 0.7286, 0, 2.2821, 0, 2.2660),
    5: (2.3259, 0.8641, 0.9400, 0.5768, 0, 2.1145, 0, 2.0890),
    6: (2.5344, 0.8480, 0.9515, 0.4832, 0, 2.0038, 0.0304, 1.9696),
}


@pytest.mark.parametrize("size", PRINTED)
def test_shewhart_constants_as_printed(size) -> None:
    k = shewhart_constants(size)
    found = (k.d2, k.d3, k.c4, k.a2, k.d3_limit, k.d4_limit, k.b3, k.b4)
    # Half a unit of the last digit, and one more where the table rounds its own rounded values.
    assert found == pytest.approx(PRINTED[size], abs=1e-4)
