"""Control charts and run rules against published examples, and against probability."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from hard_bake import WIDTHS

from analyzer.lot.statistics.charts import (
    Chart,
    ChartPair,
    Process,
    individuals_charts,
    mean_charts,
)
from analyzer.lot.statistics.figure import NotGiven
from analyzer.lot.statistics.run_rules import (
    ALL_RULES,
    ALTERNATING,
    BEYOND_LIMITS,
    EIGHT_ON_ONE_SIDE,
    FOUR_OF_FIVE,
    HUGGING,
    MIXTURE,
    SEVEN_ON_ONE_SIDE,
    TREND_OF_SEVEN,
    TREND_OF_SIX,
    TWO_OF_THREE,
    ZONE_RULES,
    RunRule,
    violations,
)
from analyzer.lot.statistics.spread import Spread
from analyzer.lot.statistics.subgroups import Subgroup, subgroups_in_runs

STANDARD = Process(0.0, Spread(1.0, math.inf, "given"))


def charts_of(found: ChartPair | NotGiven) -> ChartPair:
    assert isinstance(found, ChartPair)
    return found


def hard_bake(by="range") -> ChartPair:
    return charts_of(mean_charts(subgroups_in_runs(WIDTHS.ravel(), 5), by))


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


def places(points, rule) -> list[tuple[int, ...]]:
    return [each.places for each in violations(standard_chart(points), [rule])]


def test_hard_bake_mean_and_range_are_the_published_ones() -> None:
    """COMPUTED; the book prints 1.5056, 1.69325, 1.31795, 0.32521, 0.68749 (MEMORY).

    The book's factors are rounded to three digits (A2 .577, D4 2.114), hence the tolerance.
    """
    found = hard_bake()
    mean, scatter = found.location, found.scatter
    assert mean.centres[0] == pytest.approx(1.5056104, abs=5e-8)
    assert mean.upper_limits[0] == pytest.approx(1.693255, abs=1e-4)
    assert mean.lower_limits[0] == pytest.approx(1.317965, abs=1e-4)
    assert scatter.centres[0] == pytest.approx(0.325208, abs=5e-7)
    assert scatter.upper_limits[0] == pytest.approx(0.687490, abs=2e-4)
    assert scatter.lower_limits[0] == 0
    assert len(mean.points) == len(scatter.points) == 25
    assert violations(mean) == violations(scatter) == ()  # the book finds it in control (MEMORY)


def test_hard_bake_mean_and_s_use_the_published_factors() -> None:
    """s-bar 0.1315546 (COMPUTED) with A3 1.42730, B3 0, B4 2.08900 of the published table."""
    found = hard_bake("sd")
    assert found.scatter.centres[0] == pytest.approx(0.1315546, abs=5e-8)
    assert found.scatter.upper_limits[0] == pytest.approx(2.08900 * 0.1315546, abs=2e-6)
    assert found.scatter.lower_limits[0] == 0
    for limits, sign in ((found.location.upper_limits, 1), (found.location.lower_limits, -1)):
        assert limits[0] == pytest.approx(1.5056104 + sign * 1.42730 * 0.1315546, abs=2e-6)


def test_individuals_use_the_published_factors() -> None:
    """Moving ranges 2, 3, 1, 6: mean 3, so limits at 2.660 times 3, and 3.267 times 3 (SEEN)."""
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


def test_mean_of_unequal_subgroups_is_that_of_all_values() -> None:
    groups = [Subgroup("a", np.array([0.0, 1.0])), Subgroup("b", np.array([10.0, 11, 12, 13]))]
    assert charts_of(mean_charts(groups, "sd")).process.mean == pytest.approx(47 / 6)


def test_lower_limits_of_many_values_are_above_zero() -> None:
    """D3 0.223 and B3 0.284 for ten (MEMORY)."""
    groups = subgroups_in_runs(np.random.default_rng(4).normal(size=250), 10)
    for by, factor in (("range", 0.223), ("sd", 0.284)):
        chart = charts_of(mean_charts(groups, by)).scatter
        assert chart.lower_limits[0] / chart.centres[0] == pytest.approx(factor, abs=1e-3)


def test_a_chart_that_cannot_be_had_has_a_reason() -> None:
    single = mean_charts(subgroups_in_runs([1.0, 2.0], 1), "range")
    large = mean_charts(subgroups_in_runs(np.arange(60.0), 30), "range", STANDARD)
    alike = individuals_charts([2.0, 2.0, 2.0], range(3))
    for found, reason in ((single, "moving ranges"), (large, "30 values"), (alike, "alike")):
        assert isinstance(found, NotGiven)
        assert reason in found.reason


def test_few_points_and_a_slow_wave_are_cautioned() -> None:
    few = charts_of(individuals_charts([1.0, 3.0, 2.0, 5.0], range(4))).location
    wave = standard_chart(np.sin(np.arange(100) / 8))
    assert "limits from 4 points only" in few.caution
    assert "hang together" in wave.caution
    assert hard_bake().location.caution is None


def test_missing_values_leave_with_their_labels() -> None:
    found = charts_of(individuals_charts([1.0, math.nan, 3.0, 2.0], "abcd"))
    assert found.location.labels == ("a", "c", "d")
    assert found.scatter.points == (2.0, 1.0)


# Run rules: patterns drawn by hand.


def test_beyond_the_limits() -> None:
    assert places([0, 3.1, 0, -3.1, 3.0], BEYOND_LIMITS) == [(1,), (3,)]


def test_two_of_three_beyond_two_sigma_on_one_side() -> None:
    assert places([0, 2.1, 0, 2.2, 0, 0], TWO_OF_THREE) == [(1, 3)]
    assert places([2.1, 0, 0, 2.2], TWO_OF_THREE) == []
    assert places([2.1, 0, -2.2], TWO_OF_THREE) == []
    assert places([-2.1, -2.2], TWO_OF_THREE) == [(0, 1)]
    assert places([2.1, 0, 2.1, 0, 2.1], TWO_OF_THREE) == [(0, 2, 4)]  # windows share a point


def test_four_of_five_beyond_one_sigma_on_one_side() -> None:
    assert places([1.1, 1.1, 0, 1.1, 1.1], FOUR_OF_FIVE) == [(0, 1, 3, 4)]
    assert places([1.1, 1.1, 0, 1.1, 0, 1.1], FOUR_OF_FIVE) == []
    assert places([1.1, 1.1, -1.1, 1.1, 1.0], FOUR_OF_FIVE) == []


def test_eight_on_one_side() -> None:
    assert places([0.1] * 7, EIGHT_ON_ONE_SIDE) == []
    assert places([-1, *[0.1] * 10, -1], EIGHT_ON_ONE_SIDE) == [tuple(range(1, 11))]
    assert places([*[0.1] * 7, 0.0, 0.1], EIGHT_ON_ONE_SIDE) == []  # on the centre: neither side
    assert places([*[0.1] * 8, *[-0.1] * 8], EIGHT_ON_ONE_SIDE) == [
        tuple(range(8)),
        tuple(range(8, 16)),
    ]


def test_trends_need_every_step() -> None:
    rising = [0.0, 0.1, 0.2, 0.3, 0.4, 0.5]
    assert places([1.0, *rising, 0.2], TREND_OF_SIX) == [tuple(range(1, 7))]
    assert places(rising[::-1], TREND_OF_SIX) == [tuple(range(6))]
    assert places(rising, TREND_OF_SEVEN) == []
    assert places([0.0, 0.1, 0.2, 0.2, 0.3, 0.4, 0.5], TREND_OF_SIX) == []


def test_fourteen_alternating() -> None:
    saw = [0.5 * (-1) ** i for i in range(14)]
    assert places(saw, ALTERNATING) == [tuple(range(14))]
    assert places(saw[:13], ALTERNATING) == []
    assert places([-each for each in saw], ALTERNATING) == [tuple(range(14))]


def test_hugging_and_mixture() -> None:
    assert places([0.9, -0.9] * 7 + [0.5], HUGGING) == [tuple(range(15))]
    assert places([0.9, -0.9] * 7, HUGGING) == []
    assert places([1.1, -1.1] * 4, MIXTURE) == [tuple(range(8))]
    assert places([1.1, -1.1] * 3 + [1.1, 0.9], MIXTURE) == []


def test_a_violation_says_its_rule_and_points_in_words() -> None:
    (found,) = violations(standard_chart([0.0, 0.5, 3.5, 0.1]))
    assert found.in_words() == "a point beyond a control limit (above): 2"
    run = violations(standard_chart([0.2] * 9), [EIGHT_ON_ONE_SIDE])[0]
    assert run.in_words() == "8 points in a row on one side of the centre (above): 0 to 8"
    assert run.seen_at == 7


def test_ranges_are_held_to_their_limits_only() -> None:
    groups = subgroups_in_runs([0.0, 0.1] * 20 + [0.0, 9.0], 2)
    chart = charts_of(mean_charts(groups, "range", STANDARD)).scatter
    assert [each.rule for each in violations(chart, ALL_RULES)] == [BEYOND_LIMITS]


def test_limits_of_a_mean_are_those_of_means() -> None:
    """A mean of four at 1.6 is beyond 3 / sqrt 4; a single value there is not."""
    chart = charts_of(mean_charts([Subgroup("x", np.full(4, 1.6))], "sd", STANDARD)).location
    assert len(violations(chart, [BEYOND_LIMITS])) == 1
    assert places([1.6], BEYOND_LIMITS) == []


# False alarms.


@pytest.mark.parametrize(
    ("rule", "published"),
    [
        (BEYOND_LIMITS, 0.0027),
        (TWO_OF_THREE, 0.0031),
        (FOUR_OF_FIVE, 0.0055),
        (EIGHT_ON_ONE_SIDE, 0.0078),
        (SEVEN_ON_ONE_SIDE, 0.0156),
    ],
)
def test_false_alarms_of_zone_tests_are_as_published(rule, published) -> None:
    """Four decimals from memory: 0.0027, 3 p^2 (1 - p) + p^3 of p 0.0228 twice, and so on."""
    assert rule.false_alarm == pytest.approx(published, abs=6e-5)


SIX_ALTERNATING = RunRule("6 alternating", "", "alternating", 6, 6)


@pytest.mark.parametrize("rule", [TREND_OF_SIX, SIX_ALTERNATING])
def test_false_alarms_of_orders_by_counting_them_all(rule) -> None:
    orders = list(itertools.permutations(range(6)))
    drawn = standard_chart(range(6))
    hits = sum(len(violations(replace(drawn, points=each), [rule])) for each in orders)
    assert hits / len(orders) == pytest.approx(rule.false_alarm)


def test_false_alarm_of_alternation_is_twice_the_euler_number() -> None:
    """199360981 orders of 14 begin upward and go by turns (OEIS A000111, MEMORY), as many down."""
    assert ALTERNATING.false_alarm == pytest.approx(2 * 199360981 / math.factorial(14))
    assert TREND_OF_SEVEN.false_alarm == pytest.approx(2 / 5040)


def test_false_alarms_near_to_and_far_from_the_centre() -> None:
    """A normal value lies within one sigma with probability 0.6827, so 0.6827^15 and 0.3173^8."""
    assert HUGGING.false_alarm == pytest.approx(0.682689492**15)
    assert MIXTURE.false_alarm == pytest.approx(0.317310508**8)


@pytest.mark.parametrize("rule", [TWO_OF_THREE, FOUR_OF_FIVE, EIGHT_ON_ONE_SIDE])
def test_zone_tests_alarm_as_often_as_they_say(rule) -> None:
    """20,000 windows of normal values with points on the centre between: four deviations."""
    windows = np.random.default_rng(17).normal(size=(20_000, rule.window))
    points = np.hstack([windows, np.zeros_like(windows)]).ravel()
    hits = len(violations(drawn_over(points), [rule]))
    expected = rule.false_alarm * len(windows)
    assert hits == pytest.approx(expected, abs=4 * math.sqrt(expected))


def test_run_length_of_the_four_zone_tests_is_the_published_one() -> None:
    """91.75 points on average to a false alarm (Champ and Woodall 1987, MEMORY).

    Of 2000 lots of points; run lengths scatter about as much as they are long, so the mean is known
    to 2.1, and the tolerance is four of that.
    """
    rng = np.random.default_rng(23)
    drawn = drawn_over(np.zeros(1000))
    lengths = [
        violations(replace(drawn, points=rng.normal(size=1000)), ZONE_RULES)[0].seen_at + 1
        for _ in range(2000)
    ]
    assert np.mean(lengths) == pytest.approx(91.75, abs=8.4)
