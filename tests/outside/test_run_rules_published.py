"""How often run rules cry wolf: published run lengths, and probability."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from lot_figures import drawn_over, standard_chart

from analyzer.lot.statistics.run_rules import (
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

NORMAL = "Normal distribution and orders counted, closed form"
CHAMP_WOODALL = "Champ, Woodall, Technometrics 29, 393 (1987)"
pytestmark = pytest.mark.source(NORMAL, "published formula", "false alarms of run rules")


@pytest.mark.source(
    "Four decimals of false alarms of zone tests", "from memory", "false alarms of run rules"
)
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


@pytest.mark.source("OEIS A000111, Euler numbers", "from memory", "false alarms of run rules")
def test_false_alarm_of_alternation_is_twice_the_euler_number() -> None:
    """199360981 orders of 14 begin upward and alternate (OEIS A000111, recalled), as many down."""
    assert ALTERNATING.false_alarm == pytest.approx(2 * 199360981 / math.factorial(14))
    assert TREND_OF_SEVEN.false_alarm == pytest.approx(2 / 5040)


def test_false_alarms_near_to_and_far_from_the_centre() -> None:
    """A normal value lies within one sigma with probability 0.6827, so 0.6827^15 and 0.3173^8."""
    assert HUGGING.false_alarm == pytest.approx(0.682689492**15)
    assert MIXTURE.false_alarm == pytest.approx(0.317310508**8)


@pytest.mark.source(CHAMP_WOODALL, "from memory", "points to a false alarm, four zone tests")
def test_run_length_of_the_four_zone_tests_is_the_published_one() -> None:
    """91.75 points on average to a false alarm (Champ and Woodall 1987, from memory).

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
