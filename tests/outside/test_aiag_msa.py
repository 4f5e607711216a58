"""Measurement system analysis, both methods, against the published study of ``gauge_studies``.

Its tables are those of AIAG, Measurement Systems Analysis, 4th ed. (2nd-hand, from several accounts
that agree); its analysis of variance as printed by B. McNeese, "Three ways to analyze a gage
R&R study" (2015; read 2nd-hand), in more digits computed apart from this project.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from gauge_studies import AIAG, AIAG_MSA
from lot_figures import anova_of, range_of, rows_of
from made_lot_frames import study_of

from analyzer.lot.statistics.one_way import repeatability
from analyzer.lot.statistics.subgroups import Subgroup

MCNEESE = "McNeese, Three ways to analyze a gage R&R study (2015), 2nd-hand"
BY_ANOVA = pytest.mark.source(MCNEESE, "published example", "gauge study by analysis of variance")
pytestmark = pytest.mark.source(AIAG_MSA, "published example", "average and range method")


@BY_ANOVA
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


@BY_ANOVA
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


@BY_ANOVA
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
    """As printed, with four digits; the fifth and sixth computed."""
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
    """Operator B, part 4: 1.02 against 0.88, published. Counted from 0 here, as it was entered."""
    assert range_of(AIAG).beyond == (("3", "1"),)


def test_the_same_data_have_other_categories_by_the_other_method() -> None:
    assert (anova_of(AIAG).shares.categories, range_of(AIAG).shares.categories) == (4, 5)


def test_share_of_the_tolerance_is_six_standard_deviations() -> None:
    by_anova = anova_of(AIAG, tolerance_width=4.0).shares.gauge
    by_range = range_of(AIAG, tolerance_width=4.0).shares.gauge
    assert by_anova.tolerance_percent == pytest.approx(100 * 6 * 0.3023715 / 4, abs=1e-4)
    assert by_range.tolerance_percent == pytest.approx(100 * 6 * 0.305766 / 4, rel=2e-4)


@BY_ANOVA
def test_parts_and_operators_are_told_apart() -> None:
    """Turned over, what parts did is what operators did."""
    turned = anova_of(AIAG.transpose(1, 0, 2))
    rows = rows_of(turned)
    assert rows["operator"].squares == pytest.approx(88.361934, abs=5e-7)
    assert rows["part"].squares == pytest.approx(3.167262, abs=5e-7)


@BY_ANOVA
def test_repeatability_of_uneven_groups_and_its_interval() -> None:
    """AIAG's repeats pooled over the 30 cells: MS 0.0459822 of 60 degrees (computed).

    The bounds are those of chi-square: 40.4817 and 83.2977 for 60 degrees of freedom (tables).
    """
    cells = [Subgroup(str(i), cell) for i, cell in enumerate(AIAG.reshape(30, 3))]
    found = repeatability([*cells, Subgroup("single", np.array([55.0]))])
    assert found.value == pytest.approx(math.sqrt(0.0459822), abs=2e-7)
    assert found.lower == pytest.approx(math.sqrt(60 * 0.0459822 / 83.2977), abs=1e-6)
    assert found.upper == pytest.approx(math.sqrt(60 * 0.0459822 / 40.4817), abs=1e-6)


@pytest.mark.source(AIAG_MSA, "published example", "both methods of a lot, in its JSON")
@pytest.mark.parametrize("by", ["operator", "station"])
def test_aiag_study_is_the_published_one_by_both_methods(by) -> None:
    """AIAG, Measurement Systems Analysis, 4th ed.: the same data, 4 categories and 5."""
    (study,) = study_of(AIAG, by)
    assert (study["string"], study["parts"], study["unused_parts"]) == (1, 10, 0)
    assert study["operators_are"] == f"{by}s"
    anova, by_range = study["anova"]["result"], study["average_and_range"]["result"]
    rows = {row["source"]: row for row in anova["table"]}
    assert rows["part"]["squares_cents2"] == pytest.approx(88.361934, abs=5e-7)
    assert rows["operator"]["f"] == pytest.approx(39.617, abs=5e-4)
    assert (anova["pooled"], anova["shares"]["categories"]) == (True, 4)
    assert anova["shares"]["gauge"]["study_percent"] == pytest.approx(27.861, abs=5e-4)
    assert anova["shares"]["gauge"]["sd_cents"] == pytest.approx(0.3023715, abs=5e-8)
    assert anova["shares"]["gauge"]["tolerance_percent"] == pytest.approx(
        100 * 6 * 0.3023715 / 40, rel=1e-6
    )
    assert "interaction pooled" in study["anova"]["method"]
    assert study["average_and_range"]["method"] == "average and range"
    assert by_range["mean_range_cents"] == pytest.approx(0.3417, abs=5e-5)
    assert by_range["shares"]["gauge"]["study_percent"] == pytest.approx(26.678, abs=5e-3)
    assert by_range["shares"]["categories"] == 5
    assert by_range["beyond"] == [{"part": "part 3", "operator": f"{by} 1"}]


@pytest.mark.source(AIAG_MSA, "published example", "both methods of a lot, in its JSON")
def test_strings_are_parts_of_their_own_where_all_are_taken_together() -> None:
    """Two strings alike: 20 parts, twice the squares between repeats, the same repeatability."""
    six, five, together = study_of(AIAG, strings=2)
    assert (six["string"], five["string"], together["string"]) == (2, 1, None)
    assert six["anova"] == five["anova"]
    assert together["parts"] == 20
    error = {row["source"]: row for row in together["anova"]["result"]["table"]}["error (pooled)"]
    # SS of repeats and of the interaction of one string (published), twice.
    assert error["squares_cents2"] == pytest.approx(2 * 3.117916, abs=2e-6)
    assert "strings" in together["caution"]
