"""Moments and one-way analysis of variance: missing values, unequal groups, reasons."""

from __future__ import annotations

import math

import pytest
from lot_figures import groups_of, one_way_of

from analyzer.lot.statistics.figure import NotGiven
from analyzer.lot.statistics.moments import moments
from analyzer.lot.statistics.one_way import one_way, repeatability


def test_missing_values_are_counted_and_not_guessed() -> None:
    found = moments([1.0, math.nan, 3.0, math.inf])
    assert (found.count, found.missing, found.mean, found.sd) == (2, 2, 2.0, math.sqrt(2))
    assert moments([]).mean is None
    assert moments([4.0]).sd is None
    assert moments([4.0, 4.0, 4.0]).lag1_autocorrelation is None


def test_one_way_of_unequal_groups_has_the_sums_worked_by_hand() -> None:
    """Groups (1, 3), (5, 7, 9), (4): means 2, 7, 4, all 29/6; n0 = (6 - 14/6) / 2."""
    found = one_way_of([[1.0, 3.0], [5.0, 7.0, 9.0], [4.0]])
    between = 2 * (2 - 29 / 6) ** 2 + 3 * (7 - 29 / 6) ** 2 + (4 - 29 / 6) ** 2
    assert found.within_squares == pytest.approx(10)
    assert found.between_squares == pytest.approx(between)
    assert found.between_variance == pytest.approx((between / 2 - 10 / 3) / (11 / 6))


def test_one_way_without_repeats_or_others_says_so() -> None:
    lone, single = one_way(groups_of([[1.0, 2.0]])), one_way(groups_of([[1.0], [2.0]]))
    assert isinstance(lone, NotGiven)
    assert "two are the least" in lone.reason
    assert isinstance(single, NotGiven)
    assert "no group has a repeat" in single.reason
    assert repeatability(groups_of([[1.0], [2.0]])).value is None
