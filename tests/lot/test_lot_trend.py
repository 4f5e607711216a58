"""Degrees of freedom and drift by hand, and what a trend's interval promises."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from analyzer.lot.statistics.figure import NotGiven
from analyzer.lot.statistics.trend import Trend, trend
from analyzer.lot.statistics.uncertainty import combined_uncertainty


def test_known_without_doubt_takes_the_normal_factor() -> None:
    found = combined_uncertainty([3.0, 4.0], [math.inf, math.inf])
    assert found.standard == 5.0
    assert found.coverage_factor() == pytest.approx(1.959964, abs=1e-6)


@pytest.mark.parametrize(
    ("components", "freedoms", "message"),
    [([1.0], [1, 2], "1 components but 2"), ([-1.0], [3], "below zero"), ([1.0], [0], "without")],
)
def test_components_that_make_no_sense_are_refused(components, freedoms, message) -> None:
    with pytest.raises(ValueError, match=message):
        combined_uncertainty(components, freedoms)


def test_a_drift_is_seen_with_its_sign() -> None:
    """0.5 cents a day with residuals that balance: by hand, slope 0.5 exactly, Sxx 60."""
    days = np.arange(9.0)
    residuals = np.array([1.0, -1, -1, 1, 0, 1, -1, -1, 1]) * 0.1  # no mean, no slope
    found = trend(738000 + days, 440 - 0.5 * days + residuals)
    assert isinstance(found, Trend)
    assert found.slope_per_day == pytest.approx(-0.5)
    assert found.residual_sd == pytest.approx(math.sqrt(0.08 / 7))
    assert found.slope_uncertainty_per_day == pytest.approx(math.sqrt(0.08 / 7 / 60))
    half = 2.364624 * math.sqrt(0.08 / 7 / 60)  # Student's t, 7 degrees of freedom (tables)
    bounds = (found.lower_per_day, found.upper_per_day)
    assert bounds == pytest.approx((-0.5 - half, -0.5 + half), abs=1e-6)
    assert found.sure
    assert found.at(738000 + 8)[0] == pytest.approx(436)


def test_order_does_not_matter_and_missing_pairs_are_left_out() -> None:
    rng = np.random.default_rng(6)
    days, values = np.arange(30.0), rng.normal(size=30)
    order = rng.permutation(30)
    with_gaps = trend([*days[order], math.nan, 99.0], [*values[order], 1.0, math.nan])
    plain = trend(days, values)
    assert with_gaps.count == 30
    assert with_gaps.slope_per_day == pytest.approx(plain.slope_per_day)
    assert with_gaps.p == pytest.approx(stats.pearsonr(days, values).pvalue)


def test_a_steady_station_is_called_drifting_as_seldom_as_promised() -> None:
    """Of 3000 made without drift 5 % are called so: 0.4 % is one standard deviation."""
    rng = np.random.default_rng(8)
    called = [trend(np.arange(12.0), rng.normal(size=12)).sure for _ in range(3000)]
    assert np.mean(called) == pytest.approx(0.05, abs=0.016)


def test_neighbours_that_hang_together_are_cautioned() -> None:
    walk = np.cumsum(np.random.default_rng(4).normal(size=100))
    assert "hang together" in trend(np.arange(100.0), walk).caution


@pytest.mark.parametrize(
    ("days", "values", "reason"),
    [([1.0, 2.0], [1.0, 2.0], "2 values"), ([1.0] * 3, [1.0, 2.0, 3.0], "of one time")],
)
def test_no_line_without_a_reason(days, values, reason) -> None:
    found = trend(days, values)
    assert isinstance(found, NotGiven)
    assert reason in found.reason
