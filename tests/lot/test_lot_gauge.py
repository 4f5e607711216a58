"""Gauge studies: what must hold for any, and what a study that says nothing gives as its reason."""

from __future__ import annotations

import math

import numpy as np
import pytest
from gauge_studies import AIAG
from lot_figures import anova_of, range_of, table_of

from analyzer.lot.statistics.figure import NotGiven
from analyzer.lot.statistics.gauge_anova import GaugeAnova, gauge_anova
from analyzer.lot.statistics.gauge_model import GaugeTable, gauge_table
from analyzer.lot.statistics.gauge_range import gauge_range


def test_shift_and_scale_leave_the_shares_alone() -> None:
    for study in (anova_of, range_of):
        one, two = study(AIAG).shares, study(1e6 - 8 * AIAG).shares
        assert two.gauge.sd == pytest.approx(8 * one.gauge.sd, rel=1e-8)
        assert two.gauge.study_percent == pytest.approx(one.gauge.study_percent, rel=1e-8)


def test_uneven_repeats_use_what_all_have_and_count_the_rest() -> None:
    part, operator, trial = np.indices(AIAG.shape)
    columns = [AIAG.ravel(), part.ravel(), operator.ravel()]
    more = [np.append(c, each) for c, each in zip(columns, (9.9, 0, 0), strict=True)]
    found = gauge_table(*more)
    assert isinstance(found, GaugeTable)
    assert found.unused == 1
    assert np.array_equal(found.values, AIAG)
    assert gauge_anova(found).unused == 1
    assert trial.max() == 2


@pytest.mark.parametrize(
    ("left_out", "message"),
    [
        ([0, 1], "part 0 by operator 0 has 1 repeats"),
        ([0, 1, 2, 3, 4], "part 0 by operator 0 has 0 repeats, and 1 more"),
    ],
)
def test_a_cell_without_repeats_is_named(left_out, message) -> None:
    values = AIAG.copy().ravel()
    values[left_out] = math.nan
    part, operator, _ = np.indices(AIAG.shape)
    found = gauge_table(values, part.ravel().tolist(), operator.ravel().tolist())
    assert isinstance(found, NotGiven)
    assert message in found.reason


def test_studies_that_say_nothing_have_a_reason() -> None:
    one_part = gauge_table([1.0, 2.0], ["a", "a"], ["x", "x"])
    alike = table_of(np.ones((3, 2, 2)))
    many = table_of(np.random.default_rng(1).normal(size=(26, 1, 2)))
    assert "two are the least" in one_part.reason
    assert "alike" in gauge_anova(alike).reason
    assert "alike" in gauge_range(alike).reason
    assert "26 in a range" in gauge_range(many).reason
    assert isinstance(gauge_anova(many), GaugeAnova)


def test_a_gauge_without_scatter_has_no_categories() -> None:
    found = gauge_anova(table_of(np.array([0.0, 1.0, 2.0])[:, None, None] * np.ones((1, 2, 2))))
    assert found.shares.categories is None
    assert found.shares.part.contribution_percent == 100
