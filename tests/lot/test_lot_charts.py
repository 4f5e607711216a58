"""Control charts and run rules: patterns drawn by hand, reasons, and how often they alarm."""

from __future__ import annotations

import math

import numpy as np
import pytest
from lot_figures import STANDARD, charts_of, drawn_over, hard_bake_charts, standard_chart

from analyzer.lot.statistics.charts import (
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
    TREND_OF_SEVEN,
    TREND_OF_SIX,
    TWO_OF_THREE,
    violations,
)
from analyzer.lot.statistics.subgroups import Subgroup, subgroups_in_runs


def places(points, rule) -> list[tuple[int, ...]]:
    return [each.places for each in violations(standard_chart(points), [rule])]


def test_mean_of_unequal_subgroups_is_that_of_all_values() -> None:
    groups = [Subgroup("a", np.array([0.0, 1.0])), Subgroup("b", np.array([10.0, 11, 12, 13]))]
    assert charts_of(mean_charts(groups, "sd")).process.mean == pytest.approx(47 / 6)


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
    assert hard_bake_charts().location.caution is None


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


@pytest.mark.parametrize("rule", [TWO_OF_THREE, FOUR_OF_FIVE, EIGHT_ON_ONE_SIDE])
def test_zone_tests_alarm_as_often_as_they_say(rule) -> None:
    """20,000 windows of normal values with points on the centre between: four deviations."""
    windows = np.random.default_rng(17).normal(size=(20_000, rule.window))
    points = np.hstack([windows, np.zeros_like(windows)]).ravel()
    hits = len(violations(drawn_over(points), [rule]))
    expected = rule.false_alarm * len(windows)
    assert hits == pytest.approx(expected, abs=4 * math.sqrt(expected))
