"""The linear programs and the least squares within limits, against textbooks and plane geometry."""

from __future__ import annotations

import numpy as np
import pytest

from analyzer.bridge.corners import lowest, reach
from analyzer.bridge.within import least_squares_within

# Two products in three plants, of Hillier and Lieberman, Introduction to Operations Research: most
# of 3 x + 5 y with x <= 4, 2 y <= 12, 3 x + 2 y <= 18, none negative is 36 at (2, 6). From memory;
# the corner is where the second and third limit cross.
PLANTS = np.array([[1.0, 0.0], [0.0, 2.0], [3.0, 2.0], [-1.0, 0.0], [0.0, -1.0]])
HOURS = np.array([4.0, 12.0, 18.0, 0.0, 0.0])
PROFIT = np.array([3.0, 5.0])


def test_textbook_program() -> None:
    assert lowest(-PROFIT, PLANTS, HOURS) == pytest.approx([2, 6])
    assert lowest(PROFIT, PLANTS, HOURS) == pytest.approx([0, 0])


@pytest.mark.parametrize("idle", [1, 20, 60])
def test_limits_that_do_not_bind_change_nothing(idle) -> None:
    """However many: a few are tried corner by corner, many go to the solver."""
    rows = np.vstack([PLANTS, np.tile([1.0, 1.0], (idle, 1))])
    bounds = np.concatenate([HOURS, 20.0 + np.arange(idle)])
    assert lowest(-PROFIT, rows, bounds) == pytest.approx([2, 6])


def test_parallel_limits_have_no_corner() -> None:
    """x <= 4 and x <= 3 never cross; the nearer one counts."""
    rows = np.vstack([PLANTS, [[1.0, 0.0]]])
    assert lowest(np.array([-1.0, 0.0]), rows, np.append(HOURS, 3.0))[0] == pytest.approx(3)


def test_reach_of_a_triangle() -> None:
    """x >= 1, y >= -1, x + 2 y <= 4."""
    rows = np.array([[-1.0, 0.0], [0.0, -1.0], [1.0, 2.0]])
    least, largest = reach(rows, np.array([-1.0, 1.0, 4.0]))
    assert least == pytest.approx([1, -1])
    assert largest == pytest.approx([6, 1.5])


PLANE = np.eye(2)


@pytest.mark.parametrize(
    ("point", "rows", "bounds", "nearest"),
    [
        ((3, 4), [(0.6, 0.8)], [2], (1.2, 1.6)),  # 5 from the origin, straight back to 2
        ((3, 4), [(0.6, 0.8)], [7], (3, 4)),  # within already
        ((3, -4), [(1, 0), (-1, 0), (0, 1), (0, -1)], [1, 1, 2, 2], (1, -2)),  # a box
        ((0, 0), [(-1, -1)], [-2], (1, 1)),  # the origin itself is outside
    ],
)
def test_nearest_point_within_limits(point, rows, bounds, nearest) -> None:
    found = least_squares_within(
        PLANE, np.array(point, float), np.array(rows, float), np.array(bounds, float)
    )
    assert found == pytest.approx(nearest, abs=1e-6)


def test_weighted_least_squares_against_the_normal_equations() -> None:
    e = np.array([[1.0, 0.0], [1.0, 1.0], [1.0, 3.0]])
    f = np.array([1.0, 2.0, 5.0])
    far = np.array([[1.0, 0.0]]), np.array([100.0])
    assert least_squares_within(e, f, *far) == pytest.approx(
        np.linalg.solve(e.T @ e, e.T @ f), abs=1e-6
    )


def test_of_two_that_undo_each_other_neither_moves_further_than_needed() -> None:
    """x - y = 2 leaves a line open; its point nearest to nothing is (1, -1)."""
    far = np.array([[1.0, 0.0]]), np.array([100.0])
    found = least_squares_within(np.array([[1.0, -1.0]]), np.array([2.0]), *far)
    assert found == pytest.approx([1, -1], abs=1e-6)


def test_limits_that_exclude_each_other_leave_nothing() -> None:
    rows, bounds = np.array([[1.0, 0.0], [-1.0, 0.0]]), np.array([-1.0, -1.0])
    assert least_squares_within(PLANE, np.zeros(2), rows, bounds) is None
