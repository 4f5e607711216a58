"""Capability and yield: reasons in place of numbers, and how often the intervals hold."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hard_bake import WIDTHS
from lot_figures import hard_bake_capability, spread_of

from analyzer.lot.statistics.capability import capability
from analyzer.lot.statistics.constants import c4, shewhart_constants
from analyzer.lot.statistics.quantile_form import quantile_form
from analyzer.lot.statistics.shares import conforming_share
from analyzer.lot.statistics.spread import (
    Spread,
    moving_range_spread,
    overall_spread,
    within_spread,
)
from analyzer.lot.statistics.subgroups import Subgroup, subgroups_by_label, subgroups_in_runs
from analyzer.lot.statistics.tolerance import Tolerance


@pytest.mark.parametrize("size", [1, 26])
def test_no_constants_beyond_the_tables(size) -> None:
    with pytest.raises(ValueError, match="2 to 25"):
        shewhart_constants(size)


def test_one_limit_gives_cpk_and_no_cp() -> None:
    values = np.arange(20.0)
    upper = capability(values, Tolerance(upper=30.0), overall_spread(values))
    lower = capability(-values, Tolerance(lower=-30.0), overall_spread(values))
    assert upper.cp.value is None
    assert upper.cp.reason == "one limit only; Cpk judges by one"
    assert upper.cpk.value == pytest.approx((30 - 9.5) / (3 * np.std(values, ddof=1)))
    assert lower.cpk.value == pytest.approx(upper.cpk.value)
    assert lower.quantiles.ppk.value == pytest.approx(upper.quantiles.ppk.value)
    assert upper.cpm.reason == "needs two limits and a target"


def test_a_mean_beyond_the_limit_is_negative() -> None:
    values = np.arange(20.0)
    assert capability(values, Tolerance(0, 5), overall_spread(values)).cpk.value < 0


def test_shift_and_scale_leave_every_index_alone() -> None:
    first = hard_bake_capability()
    moved = -7.0 + 250.0 * WIDTHS
    groups = subgroups_in_runs(moved.ravel(), 5)
    limits = Tolerance(-7 + 250 * 1.0, -7 + 250 * 2.0, -7 + 250 * 1.5)
    second = capability(moved, limits, within_spread(groups, "range"))
    for name in ("cp", "cpk", "pp", "ppk", "cpm"):
        one, two = getattr(first, name), getattr(second, name)
        assert (one.lower, one.value, one.upper) == pytest.approx((two.lower, two.value, two.upper))


def test_within_ignores_shifts_between_subgroups_and_overall_does_not() -> None:
    groups = [Subgroup(str(i), row + i) for i, row in enumerate(WIDTHS)]
    shifted = np.concatenate([each.values for each in groups])
    found = capability(shifted, Tolerance(-40, 60), within_spread(groups, "range"))
    assert spread_of(found.within).sigma == pytest.approx(
        spread_of(hard_bake_capability().within).sigma
    )
    assert spread_of(found.overall).sigma > 50 * spread_of(found.within).sigma


def test_order_within_a_subgroup_does_not_matter() -> None:
    turned = subgroups_in_runs(WIDTHS[:, ::-1].ravel(), 5)
    for by in ("range", "sd"):
        straight = spread_of(within_spread(subgroups_in_runs(WIDTHS.ravel(), 5), by))
        assert spread_of(within_spread(turned, by)).sigma == pytest.approx(straight.sigma, 1e-14)


@pytest.mark.parametrize(
    ("values", "reason"),
    [
        ([5.0] * 20, "all values are alike"),
        ([1.0, 2.0, 3.0], "3 values; 10 are the least"),
        ([], "0 values"),
    ],
)
def test_a_reason_in_place_of_a_number(values, reason) -> None:
    found = capability(values, Tolerance(0, 10, 5), overall_spread(values))
    for each in (found.cpk, found.pp, found.ppk, found.cpm, found.quantiles.ppk):
        assert each.value is None
        assert reason in each.reason


def test_subgroups_that_cannot_serve_say_why() -> None:
    alone = subgroups_in_runs([1.0, 2.0, 3.0], 1)
    alike = subgroups_in_runs([1.0, 1.0, 2.0, 2.0], 2)
    large = subgroups_in_runs(np.arange(52.0), 26)
    reasons = [within_spread(each, "range").reason for each in (alone, alike, large)]
    assert "use moving ranges" in reasons[0]
    assert "all values are alike" in reasons[1]
    assert "a subgroup has 26 values" in reasons[2]
    assert spread_of(within_spread(large, "sd")).sigma > 0
    assert "2 values; three are the least" in moving_range_spread([1.0, 2.0]).reason


def test_subgroups_keep_order_and_lose_only_what_is_missing() -> None:
    groups = subgroups_by_label([1.0, 2.0, math.nan, 4.0], ["b", "a", "c", "b"])
    assert [(each.label, list(each.values)) for each in groups] == [("b", [1.0, 4.0]), ("a", [2.0])]
    assert [each.size for each in subgroups_in_runs(np.arange(7.0), 3)] == [3, 3, 1]
    with pytest.raises(ValueError, match="at least 1"):
        subgroups_in_runs([1.0], 0)


@pytest.mark.parametrize(
    ("limits", "message"),
    [
        ((None, None), "no limit"),
        ((2.0, 1.0), "not below"),
        ((math.nan, 1.0), "finite"),
        ((0.0, 1.0, 3.0), "target"),
    ],
)
def test_a_tolerance_that_makes_no_sense_is_refused(limits, message) -> None:
    with pytest.raises(ValueError, match=message):
        Tolerance(*limits)


# Intervals: how often they hold the truth, known because the values are made with it.


def coverage(index: str, truth: float, limits: Tolerance, size: int, made: int = 1500) -> float:
    """The share of made lots of normal values, mean 0 and sigma 1, whose interval holds it."""
    rng = np.random.default_rng(7)
    held = 0
    for _ in range(made):
        values = rng.normal(size=size)
        within = within_spread(subgroups_in_runs(values, 4), "range")
        figure = getattr(capability(values, limits, within), index)
        held += figure.lower <= truth <= figure.upper
    return held / made


# 1500 lots give the share to 0.0056 (one standard deviation): four of them are 0.023.
@pytest.mark.parametrize("index", ["cp", "pp"])
def test_interval_of_cp_holds_the_truth_as_often_as_it_says(index) -> None:
    assert coverage(index, 1.5, Tolerance(-4.5, 4.5), 40) == pytest.approx(0.95, abs=0.023)


@pytest.mark.parametrize("index", ["cpk", "ppk"])
def test_interval_of_cpk_holds_the_truth_as_often_as_it_says(index) -> None:
    assert coverage(index, 1.0, Tolerance(-3, 6), 40) == pytest.approx(0.95, abs=0.023)


def test_interval_of_cpm_holds_the_truth_as_often_as_it_says() -> None:
    truth = 8 / (6 * math.sqrt(1 + 2**2))
    assert coverage("cpm", truth, Tolerance(-3, 5, 2), 40) == pytest.approx(0.95, abs=0.023)


@pytest.mark.parametrize("kind", ["range", "sd", "moving"])
def test_within_spread_is_on_average_right_and_as_certain_as_it_says(kind) -> None:
    """Of 4000 made lots of 30 values, sigma 1: the mean, and the chi-square of its scatter."""
    rng = np.random.default_rng(11)

    def estimate(values) -> Spread:
        if kind == "moving":
            return spread_of(moving_range_spread(values))
        return spread_of(within_spread(subgroups_in_runs(values, 5), kind))

    found = [estimate(rng.normal(size=30)) for _ in range(4000)]
    sigmas = np.array([each.sigma for each in found])
    ratio = c4(found[0].degrees_of_freedom + 1)
    expected_sd = math.sqrt(1 / ratio**2 - 1)
    assert np.mean(sigmas) == pytest.approx(1, abs=4 * expected_sd / math.sqrt(4000))
    # The standard deviation of 4000 values is known to 1.1 %; Patnaik's match to another 1 %.
    assert np.std(sigmas) == pytest.approx(expected_sd, rel=0.055)


# The quantile form.


def test_half_of_the_values_alike_is_a_reason() -> None:
    values = np.array([1.0] * 15 + [2.0, 3.0, 4.0, 5.0, 6.0])
    assert "half of the values" in quantile_form(values, Tolerance(0, 9), 10).ppk.reason


# Yield.


def test_a_yield_of_nothing_has_a_reason() -> None:
    assert conforming_share(0, 0).reason == "nothing was decided yet"
    with pytest.raises(ValueError, match="3 conforming of 2"):
        conforming_share(3, 2)


def test_values_that_hang_together_are_said_to() -> None:
    values = np.cumsum(np.random.default_rng(2).normal(size=200))
    found = capability(values, Tolerance(-100, 100), overall_spread(values))
    assert "hang together" in found.ppk.caution
