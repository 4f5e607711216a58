"""Measurement system analysis, both methods, against published tables and cases worked by hand.

The first study and its tables are those of AIAG, Measurement Systems Analysis, 4th ed. (data SEEN
in several transcriptions); its analysis of variance as printed in a published account of that study
of 2015 (SEEN 2nd-hand), in more digits COMPUTED apart from this project.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from gauge_studies import AIAG, SECOND

from analyzer.lot.statistics.figure import NotGiven
from analyzer.lot.statistics.gauge_anova import GaugeAnova, gauge_anova
from analyzer.lot.statistics.gauge_model import GaugeTable, gauge_table
from analyzer.lot.statistics.gauge_range import GaugeRange, gauge_range
from analyzer.lot.statistics.one_way import repeatability
from analyzer.lot.statistics.subgroups import Subgroup


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


def designed(operators, interaction, trial) -> np.ndarray:
    parts, ops = np.array([10.0, 20.0, 30.0]), np.array(operators, dtype=float)
    cells = parts[:, None] + ops[None, :] + np.array(interaction, dtype=float)
    return np.stack([cells + trial, cells - trial], axis=2)


def test_pooled_analysis_of_variance_is_the_published_one() -> None:
    found = anova_of(AIAG)
    rows = rows_of(found)
    assert found.pooled
    assert "interaction pooled (alpha 0.25)" in found.method
    assert found.interaction_p == pytest.approx(0.97411, abs=5e-6)
    assert rows["part"].squares == pytest.approx(88.361934, abs=5e-7)
    assert rows["part"].f == pytest.approx(245.614, abs=5e-4)
    assert rows["operator"].squares == pytest.approx(3.167262, abs=5e-7)
    assert rows["operator"].f == pytest.approx(39.617, abs=5e-4)
    assert rows["error (pooled)"].squares == pytest.approx(3.117916, abs=5e-7)
    assert [row.freedom for row in found.table] == [9, 2, 78]
    assert sum(row.squares for row in found.table) == pytest.approx(94.647112, abs=5e-7)


def test_pooled_components_are_the_published_ones() -> None:
    shares = anova_of(AIAG).shares
    expected = {
        "repeatability": (0.03997328, 0.1999332, 3.394, 18.422),
        "reproducibility": (0.05145526, 0.2268375, 4.368, 20.901),
        "gauge": (0.09142854, 0.3023715, 7.762, 27.861),
        "part": (1.08644660, 1.0423275, 92.238, 96.041),
        "total": (1.17787514, 1.0852996, 100.0, 100.0),
    }
    for name, (variance, sd, contribution, study) in expected.items():
        share = getattr(shares, name)
        assert share.variance == pytest.approx(variance, abs=5e-9)
        assert share.sd == pytest.approx(sd, abs=5e-8)
        assert share.contribution_percent == pytest.approx(contribution, abs=6e-4)
        assert share.study_percent == pytest.approx(study, abs=6e-4)
        assert share.tolerance_percent is None
    assert shares.interaction is None
    assert shares.categories == 4


def test_analysis_without_pooling_is_the_published_one() -> None:
    found = anova_of(AIAG, alpha=1.0)
    rows, shares = rows_of(found), found.shares
    assert "not pooled" in found.method
    assert rows["part"].f == pytest.approx(492.291, abs=5e-4)
    assert rows["operator"].f == pytest.approx(79.406, abs=5e-4)
    assert rows["part by operator"].squares == pytest.approx(0.358982, abs=5e-7)
    assert rows["part by operator"].f == pytest.approx(0.43372, abs=5e-6)
    assert rows["repeatability"].squares == pytest.approx(2.758933, abs=5e-7)
    assert [row.freedom for row in found.table] == [9, 2, 18, 60]
    assert shares.repeatability.variance == pytest.approx(0.0459822, abs=5e-8)
    assert shares.operator.variance == pytest.approx(0.0521229, abs=5e-8)
    assert shares.interaction.variance == 0
    assert shares.part.variance == pytest.approx(1.0886721, abs=5e-8)
    assert shares.gauge.variance == pytest.approx(0.0981051, abs=5e-8)
    assert shares.total.variance == pytest.approx(1.1867773, abs=5e-8)


def test_average_and_range_is_the_published_one() -> None:
    """SEEN as printed, with four digits; the fifth and sixth COMPUTED."""
    found = range_of(AIAG)
    assert found.method == "average and range"
    operators = sorted(found.by_operator, key=lambda each: each.operator)
    mean_ranges, means = zip(*[(each.mean_range, each.mean) for each in operators], strict=True)
    assert mean_ranges == pytest.approx((0.184, 0.513, 0.328), abs=5e-4)
    assert means == pytest.approx((0.1903, 0.0683, -0.2543), abs=5e-5)
    assert found.mean_range == pytest.approx(0.3417, abs=5e-5)
    assert found.part_range == pytest.approx(3.5111, abs=5e-5)
    assert found.range_limit == pytest.approx(0.8795, abs=5e-4)  # by D4 2.574
    shares = found.shares
    expected = {
        "repeatability": (0.201857, 17.612),
        "operator": (0.229667, 20.038),
        "gauge": (0.305766, 26.678),
        "part": (1.104596, 96.376),
        "total": (1.146135, 100.0),
    }
    for name, (sd, study) in expected.items():
        # The book rounds K1 to K3 to four digits, 1.6e-4 at most; a share has two of them in it.
        assert getattr(shares, name).sd == pytest.approx(sd, rel=2e-4)
        assert getattr(shares, name).study_percent == pytest.approx(study, rel=3e-4)
    assert shares.categories == 5


def test_the_one_range_beyond_its_limit_is_named() -> None:
    """Operator B, part 4: 1.02 against 0.88 (SEEN). Counted from 0 here, as it was entered."""
    assert range_of(AIAG).beyond == (("3", "1"),)


def test_the_same_data_have_other_categories_by_the_other_method() -> None:
    assert (anova_of(AIAG).shares.categories, range_of(AIAG).shares.categories) == (4, 5)


def test_second_example_is_the_printed_one() -> None:
    found = anova_of(SECOND, alpha=1.0)
    rows, shares = rows_of(found), found.shares
    expected = {
        "operator": (1.630351, 2, 100.32244),
        "part": (28.909369, 4, 889.45823),
        "part by operator": (0.065004, 8, 0.14238),
        "repeatability": (1.712133, 30, None),
    }
    for source, (squares, freedom, f) in expected.items():
        assert rows[source].squares == pytest.approx(squares, abs=5e-7)
        assert rows[source].freedom == freedom
        assert rows[source].f == (None if f is None else pytest.approx(f, abs=5e-6))
    assert sum(row.squares for row in found.table) == pytest.approx(32.317, abs=5e-4)
    assert shares.operator.variance == pytest.approx(0.054, abs=5e-4)
    assert shares.part.variance == pytest.approx(0.802, abs=5e-4)
    assert shares.repeatability.variance == pytest.approx(0.057, abs=5e-4)
    assert shares.interaction.variance == 0
    assert shares.total.variance == pytest.approx(0.913, abs=5e-4)


def test_designed_case_with_interaction() -> None:
    """By hand: SS 1200, 300, 192, 18; variances 2, 23, 17, 42, 92, 134; two categories."""
    found = anova_of(designed([0, 5, -5], [[4, -4, 0], [-4, 0, 4], [0, 4, -4]], 1.0))
    assert not found.pooled
    assert [row.squares for row in found.table] == pytest.approx([1200, 300, 192, 18])
    shares = found.shares
    assert shares.repeatability.variance == pytest.approx(2)
    assert shares.interaction.variance == pytest.approx(23)
    assert shares.operator.variance == pytest.approx(17)
    assert shares.reproducibility.variance == pytest.approx(40)
    assert shares.gauge.variance == pytest.approx(42)
    assert shares.part.variance == pytest.approx(92)
    assert shares.total.variance == pytest.approx(134)
    assert shares.categories == 2


def test_designed_case_without_interaction() -> None:
    """By hand: repeats half a unit either way, 4.5 / 13 pooled."""
    found = anova_of(designed([0, 1, -1], np.zeros((3, 3)), 0.5))
    assert found.pooled
    assert found.shares.repeatability.variance == pytest.approx(4.5 / 13)


def test_share_of_the_tolerance_is_six_standard_deviations() -> None:
    by_anova = anova_of(AIAG, tolerance_width=4.0).shares.gauge
    by_range = range_of(AIAG, tolerance_width=4.0).shares.gauge
    assert by_anova.tolerance_percent == pytest.approx(100 * 6 * 0.3023715 / 4, abs=1e-4)
    assert by_range.tolerance_percent == pytest.approx(100 * 6 * 0.305766 / 4, rel=2e-4)


def test_shift_and_scale_leave_the_shares_alone() -> None:
    for study in (anova_of, range_of):
        one, two = study(AIAG).shares, study(1e6 - 8 * AIAG).shares
        assert two.gauge.sd == pytest.approx(8 * one.gauge.sd, rel=1e-8)
        assert two.gauge.study_percent == pytest.approx(one.gauge.study_percent, rel=1e-8)


def test_parts_and_operators_are_told_apart() -> None:
    """Turned over, what parts did is what operators did."""
    turned = anova_of(AIAG.transpose(1, 0, 2))
    rows = rows_of(turned)
    assert rows["operator"].squares == pytest.approx(88.361934, abs=5e-7)
    assert rows["part"].squares == pytest.approx(3.167262, abs=5e-7)


def test_one_operator_gives_repeatability_only() -> None:
    """By hand: repeats 1 apart, R-bar 1; parts 0, 10, 20, so MS_p 200, part (200 - 0.5) / 2."""
    cells = np.array([0.0, 10.0, 20.0])[:, None, None] + np.array([0.0, 1.0])
    anova, by_range = anova_of(cells), range_of(cells)
    for found in (anova, by_range):
        assert "repeatability only" in found.method
        assert found.shares.operator is found.shares.reproducibility is None
    assert anova.shares.repeatability.variance == pytest.approx(0.5)
    assert anova.shares.gauge.variance == pytest.approx(0.5)
    assert anova.shares.part.variance == pytest.approx(99.75)
    assert by_range.shares.repeatability.sd == pytest.approx(1 / 1.12838, rel=1e-5)
    # d2* of three for one range, 1.91155 (AIAG K2 .5231 is its inverse; SEEN 2nd-hand).
    assert by_range.shares.part.sd == pytest.approx(20 * 0.5231, rel=2e-4)


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


def test_repeatability_of_uneven_groups_and_its_interval() -> None:
    """AIAG's repeats pooled over the 30 cells: MS 0.0459822 of 60 degrees (COMPUTED).

    The bounds are those of chi-square: 40.4817 and 83.2977 for 60 degrees of freedom (tables).
    """
    cells = [Subgroup(str(i), cell) for i, cell in enumerate(AIAG.reshape(30, 3))]
    found = repeatability([*cells, Subgroup("single", np.array([55.0]))])
    assert found.value == pytest.approx(math.sqrt(0.0459822), abs=2e-7)
    assert found.lower == pytest.approx(math.sqrt(60 * 0.0459822 / 83.2977), abs=1e-6)
    assert found.upper == pytest.approx(math.sqrt(60 * 0.0459822 / 40.4817), abs=1e-6)
