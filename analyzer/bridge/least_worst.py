"""The best place for the adjusters of a problem where any place can be had.

The least worst error is a linear program once the effects are taken as straight lines, and the
least squares that it leaves room for are a search within straight limits. The effects are nearly
straight, so a few rounds of both are exact.
"""

from __future__ import annotations

import numpy as np

from analyzer.bridge.corners import lowest, reach
from analyzer.bridge.effect import Array
from analyzer.bridge.problem import Problem
from analyzer.bridge.within import least_squares_within

_MOST_ROUNDS = 8
_SETTLED_MM = 0.02  # what is left goes with its square over the scale length: under 1e-6
_AT_LIMIT_MM = 1e-7
_SAME_CENTS = 1e-6  # two worst errors so near are one
_NEARLY_WORST_CENTS = 1e-3
_NO_RANK = 1e-9  # a singular value against the largest


def least_worst_mm(problem: Problem) -> Array:
    """The settings, (m,) mm within the travel, of the least worst error, then least squares."""
    settings = np.clip(np.zeros(len(problem.adjusters)), problem.low_mm, problem.high_mm)
    for _ in range(_MOST_ROUNDS):
        found = _of_straight_lines(problem, settings)
        settled = np.max(np.abs(found - settings)) < _SETTLED_MM
        settings = found
        if settled:
            break
    return settings


def _of_straight_lines(problem: Problem, about_mm: Array) -> Array:
    """The best settings where the effects go on as straight as they are about ``about_mm``."""
    jacobian = problem.jacobian(about_mm)
    at_zero = problem.residuals_cents(about_mm) - jacobian @ about_mm
    rows, bounds = _rows_within(problem, at_zero, jacobian)
    best = _least_worst_corner(rows, bounds, 2 * at_zero.size)
    if best.size == 2:  # one adjuster, with one best place
        return best[:-1]
    room = np.zeros(bounds.size)
    room[: 2 * at_zero.size] = best[-1] + _SAME_CENTS
    weights = 1 / (1 + problem.doubts_cents)
    squares = weights[:, None] * jacobian, -weights * at_zero
    found = least_squares_within(*squares, rows, bounds + room)
    return best[:-1] if found is None else np.clip(found, problem.low_mm, problem.high_mm)


def _rows_within(problem: Problem, at_zero: Array, jacobian: Array) -> tuple[Array, Array]:
    """The rows (2n + 2m, m) and bounds that say |r| - d <= 0 and, after these, the travel."""
    one_each = np.eye(jacobian.shape[1])
    rows = np.vstack([jacobian, -jacobian, one_each, -one_each])
    doubts = problem.doubts_cents
    travel = [problem.high_mm, -problem.low_mm]
    return rows, np.concatenate([doubts - at_zero, doubts + at_zero, *travel])


def _least_worst_corner(rows: Array, bounds: Array, errors: int) -> Array:
    """The settings and, last, the least t with r - d <= t and -r - d <= t, the first rows."""
    worst = np.zeros(bounds.size)
    worst[:errors] = -1.0
    cost = np.append(np.zeros(rows.shape[1]), 1.0)
    return lowest(cost, np.column_stack([rows, worst]), bounds)


def exact_reach_mm(problem: Problem, best_mm: Array, worst_cents: float) -> tuple[Array, Array]:
    """How far each setting can go, both ways, with no error worse than ``worst_cents``, (m,)."""
    jacobian = problem.jacobian(best_mm)
    at_zero = problem.residuals_cents(best_mm) - jacobian @ best_mm
    rows, bounds = _rows_within(problem, at_zero, jacobian)
    bounds[: 2 * at_zero.size] += worst_cents
    return reach(rows, bounds)


def rough_reach_mm(problem: Problem, best_mm: Array, worst_cents: float) -> tuple[Array, Array]:
    """As ``exact_reach_mm``, but further, and quick: each residual can change by so much at most.

    Without an end where the adjusters can undo each other.
    """
    inverse, left_open = _solved(problem.jacobian(best_mm))
    if left_open.size:
        return np.full(best_mm.size, -np.inf), np.full(best_mm.size, np.inf)
    at_best = float(problem.worst_cents(problem.residuals_cents(best_mm)))
    changes = np.maximum(worst_cents + at_best + 2 * problem.doubts_cents, 0.0)
    furthest = np.abs(inverse) @ changes
    return best_mm - furthest, best_mm + furthest


def settings_uncertainty_mm(problem: Problem, settings: Array) -> Array:
    """Half-widths of the settings' intervals, (m,) mm, from those of the errors.

    At the least worst error some strings are exactly as far off as the worst. While these stay
    the same, the settings follow their errors linearly; what that leaves open follows the least
    squares of all strings, and a setting at its limit stays there.
    """
    free = (settings > problem.low_mm + _AT_LIMIT_MM) & (settings < problem.high_mm - _AT_LIMIT_MM)
    jacobian = problem.jacobian(settings)[:, free]
    held, drive = _worst_rows(problem, settings, jacobian)
    inverse, directions = _solved(held)
    by_worst, left_open = (-inverse @ drive)[:-1], directions[:-1]
    weights = 1 / (1 + problem.doubts_cents)[:, None]
    changed = weights * (np.eye(weights.size) + jacobian @ by_worst)
    by_squares = -left_open @ np.linalg.pinv(weights * jacobian @ left_open) @ changed
    follow = np.zeros((settings.size, weights.size))
    follow[free] = by_worst + by_squares
    return np.asarray(np.sqrt(follow**2 @ problem.uncertainties_cents**2))


def _worst_rows(problem: Problem, settings: Array, jacobian: Array) -> tuple[Array, Array]:
    """Rows (k, m + 1) and (k, n) of what holds where k strings are worst.

    sign (J x)_i - t + sign e_i = 0, in changes of the settings x, the worst t and the errors e.
    """
    residuals = problem.residuals_cents(settings)
    beyond = np.abs(residuals) - problem.doubts_cents
    worst = np.flatnonzero(beyond > np.max(beyond) - _NEARLY_WORST_CENTS)
    drive = np.zeros((worst.size, residuals.size))
    drive[np.arange(worst.size), worst] = np.sign(residuals[worst])
    return np.column_stack([drive @ jacobian, -np.ones(worst.size)]), drive


def _solved(rows: Array) -> tuple[Array, Array]:
    """The pseudo-inverse of ``rows``, and as columns the directions in which they do not change."""
    u, sizes, directions = np.linalg.svd(rows)
    rank = int(np.sum(sizes > _NO_RANK * sizes[0]))
    inverse = (directions[:rank].T / sizes[:rank]) @ u[:, :rank].T
    return inverse, np.asarray(directions[rank:].T)
