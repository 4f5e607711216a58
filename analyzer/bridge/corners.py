"""Small linear programs, solved by trying every corner.

A linear cost is least at a corner of what is allowed: where as many of the limits as there are
unknowns hold at once. A bridge has few adjusters and few strings, so all corners are tried, which
takes a tenth of the time that a solver needs to be set up. Larger ones go to the solver.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import combinations
from math import comb

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog

from analyzer.bridge.effect import Array

_MOST_TRIED = 1000  # about a millisecond, when the solver takes two
_WITHIN = 1e-7  # of a cent or a mm: how far a corner may lie outside and still count
_PARALLEL = 1e-9  # the determinant of limits that do not cross


def lowest(cost: Array, rows: Array, bounds: Array) -> Array:
    """The x, (m,), of least cost x within rows x <= bounds; rows (n, m), bounds (n,).

    There must be one: the limits allow something, and the cost has an end.
    """
    if comb(*rows.shape) > _MOST_TRIED:
        return np.asarray(linprog(cost, A_ub=rows, b_ub=bounds, bounds=(None, None))["x"])
    corners = _corners(rows, bounds)
    return np.asarray(corners[np.argmin(corners @ cost)])


def reach(rows: Array, bounds: Array) -> tuple[Array, Array]:
    """The least and the largest value of each unknown, (m,), within rows x <= bounds."""
    axes = np.eye(rows.shape[1])
    least = [lowest(axis, rows, bounds) @ axis for axis in axes]
    largest = [lowest(-axis, rows, bounds) @ axis for axis in axes]
    return np.array(least), np.array(largest)


def _corners(rows: Array, bounds: Array) -> Array:
    """Every corner, (k, m)."""
    several = _choices(*rows.shape)
    crossing = np.abs(np.linalg.det(rows[several])) > _PARALLEL
    several = several[crossing]
    corners = np.linalg.solve(rows[several], bounds[several][..., None])[..., 0]
    outside = np.max(corners @ rows.T - bounds, axis=1)
    return np.asarray(corners[outside <= max(_WITHIN, float(np.min(outside)))])


@lru_cache(maxsize=64)
def _choices(limits: int, unknowns: int) -> NDArray[np.intp]:
    return np.array(list(combinations(range(limits), unknowns)), dtype=np.intp)
