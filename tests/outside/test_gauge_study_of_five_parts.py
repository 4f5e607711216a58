"""A second published gauge study, and designed ones whose sums are worked by hand."""

from __future__ import annotations

import numpy as np
import pytest
from gauge_studies import SECOND
from lot_figures import anova_of, range_of, rows_of
from made_lot_frames import study_of

SECOND_STUDY = "A published gauge study, 3 operators, 5 parts, 3 repeats"
BY_HAND = pytest.mark.source(
    "Two-way analysis of variance, sums by hand", "published formula", "gauge studies"
)
pytestmark = pytest.mark.source(
    SECOND_STUDY, "published example", "gauge study by analysis of variance"
)


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


def test_second_study_is_the_printed_one() -> None:
    (study,) = study_of(SECOND)
    anova = study["anova"]["result"]
    rows = {row["source"]: row for row in anova["table"]}
    assert rows["operator"]["squares_cents2"] == pytest.approx(1.630351, abs=5e-7)
    assert rows["part"]["squares_cents2"] == pytest.approx(28.909369, abs=5e-7)
    assert rows["part"]["freedom"] == 4


def designed(operators, interaction, trial) -> np.ndarray:
    parts, ops = np.array([10.0, 20.0, 30.0]), np.array(operators, dtype=float)
    cells = parts[:, None] + ops[None, :] + np.array(interaction, dtype=float)
    return np.stack([cells + trial, cells - trial], axis=2)


@BY_HAND
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


@BY_HAND
def test_designed_case_without_interaction() -> None:
    """By hand: repeats half a unit either way, 4.5 / 13 pooled."""
    found = anova_of(designed([0, 1, -1], np.zeros((3, 3)), 0.5))
    assert found.pooled
    assert found.shares.repeatability.variance == pytest.approx(4.5 / 13)


@BY_HAND
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
    # d2* of three for one range, 1.91155 (AIAG K2 .5231 is its inverse; read 2nd-hand).
    assert by_range.shares.part.sd == pytest.approx(20 * 0.5231, rel=2e-4)
