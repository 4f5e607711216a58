"""The best place for the adjusters of a problem where any place can be had.

The least worst error is a linear program once the effects are taken as straight lines; they are
nearly straight, so a few rounds of it are exact. With one adjuster the program is solved by hand:
its optimum is where two lines cross.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.optimize import linprog, minimize

from analyzer.bridge.effect import Array
from analyzer.bridge.problem import Problem

_MOST_ROUNDS = 8
_SETTLED_MM = 2e-3  # what is left goes with its square over the scale length: under 1e-7
_AT_LIMIT_MM = 1e-7
_SAME_CENTS = 1e-6  # two worst errors so near are one


def least_worst_mm(problem: Problem) -> Array:
    """The settings, (m,) mm within the travel, of the least worst error, then least squares.

    Where all adjusters move in steps, whoever looks for these weighs the squares.
    """
    settings = np.clip(np.zeros(len(problem.adjusters)), problem.low_mm, problem.high_mm)
    one = len(problem.adjusters) == 1
    for _ in range(_MOST_ROUNDS):
        jacobian = problem.jacobian(settings)
        at_zero = problem.residuals_cents(settings) - jacobian @ settings
        found = (_where_lines_cross if one else _linear_program)(problem, at_zero, jacobian)
        settled = np.max(np.abs(found - settings)) < _SETTLED_MM
        settings = found
        if settled:
            break
    unique = one or problem.steps_mm is not None
    return settings if unique else _least_squares(problem, settings)


def _where_lines_cross(problem: Problem, at_zero: Array, jacobian: Array) -> Array:
    """One adjuster: the lowest point of the upper envelope of r - d and -r - d."""
    heights = np.concatenate([at_zero, -at_zero]) - np.tile(problem.doubts_cents, 2)
    slopes = np.concatenate([jacobian[:, 0], -jacobian[:, 0]])
    rise, apart = np.subtract.outer(heights, heights), -np.subtract.outer(slopes, slopes)
    crossing = rise[apart != 0] / apart[apart != 0]
    tries = np.minimum(np.maximum(crossing, problem.low_mm), problem.high_mm)
    envelope = np.max(heights + np.outer(tries, slopes), axis=1)
    return np.asarray(tries[[np.argmin(envelope)]])


def _linear_program(problem: Problem, at_zero: Array, jacobian: Array) -> Array:
    """Least t with r - d <= t and -r - d <= t."""
    rows, bound = rows_within(problem, at_zero, jacobian)
    rows = np.column_stack([rows, -np.ones(bound.size)])
    cost = np.append(np.zeros(jacobian.shape[1]), 1.0)
    limits = [*zip(problem.low_mm, problem.high_mm, strict=True), (None, None)]
    found = linprog(cost, A_ub=rows, b_ub=bound, bounds=limits, method="highs")
    return np.asarray(found["x"])[:-1]


def rows_within(problem: Problem, at_zero: Array, jacobian: Array) -> tuple[Array, Array]:
    """The rows (2n, m) and bounds (2n,) that say |r| - d <= 0 of straight-line effects."""
    bound = np.concatenate([problem.doubts_cents - at_zero, problem.doubts_cents + at_zero])
    return np.vstack([jacobian, -jacobian]), bound


def exact_reach_mm(problem: Problem, best_mm: Array, worst_cents: float) -> tuple[Array, Array]:
    """How far each setting can go, both ways, with no error worse than ``worst_cents``, (m,)."""
    jacobian = problem.jacobian(best_mm)
    at_zero = problem.residuals_cents(best_mm) - jacobian @ best_mm
    rows, bound = rows_within(problem, at_zero, jacobian)
    limits = list(zip(problem.low_mm, problem.high_mm, strict=True))
    furthest = [
        linprog(sign * cost, A_ub=rows, b_ub=bound + worst_cents, bounds=limits)["fun"]
        for cost in np.eye(best_mm.size)
        for sign in (1.0, -1.0)
    ]
    return np.array(furthest[::2]), -np.array(furthest[1::2])


def rough_reach_mm(problem: Problem, best_mm: Array, worst_cents: float) -> tuple[Array, Array]:
    """As ``exact_reach_mm``, but further, and quick: each residual can change by so much at most.

    Without an end where the adjusters can undo each other.
    """
    jacobian = problem.jacobian(best_mm)
    if np.linalg.matrix_rank(jacobian) < best_mm.size:
        return np.full(best_mm.size, -np.inf), np.full(best_mm.size, np.inf)
    at_best = float(problem.worst_cents(problem.residuals_cents(best_mm)))
    changes = np.maximum(worst_cents + at_best + 2 * problem.doubts_cents, 0.0)
    reach = np.abs(np.linalg.pinv(jacobian)) @ changes
    return best_mm - reach, best_mm + reach


def _least_squares(problem: Problem, settings: Array) -> Array:
    """Of all settings that share the least worst error, the one of least squares."""
    worst = float(problem.worst_cents(problem.residuals_cents(settings)))
    room = worst + problem.doubts_cents + _SAME_CENTS

    def squares(x: Array) -> float:
        return float(problem.squares(problem.residuals_cents(x)))

    def slack(x: Array) -> Array:
        residuals = problem.residuals_cents(x)
        return np.concatenate([room - residuals, room + residuals])

    def slack_slopes(x: Array) -> Array:
        return np.vstack([-problem.jacobian(x), problem.jacobian(x)])

    def slopes(x: Array) -> Array:
        weighted = problem.residuals_cents(x) / (1 + problem.doubts_cents) ** 2
        return np.asarray(2 * weighted @ problem.jacobian(x))

    options: dict[str, Any] = {
        "jac": slopes,
        "bounds": list(zip(problem.low_mm, problem.high_mm, strict=True)),
        "constraints": {"type": "ineq", "fun": slack, "jac": slack_slopes},
    }
    search: Any = minimize  # its stubs know arrays of one dimension only
    found = search(squares, settings, method="SLSQP", **options).x
    kept = float(problem.worst_cents(problem.residuals_cents(found))) <= worst + 10 * _SAME_CENTS
    return np.clip(found, problem.low_mm, problem.high_mm) if kept else settings


def settings_uncertainty_mm(problem: Problem, settings: Array) -> Array:
    """Half-widths of the settings' intervals, (m,) mm, from those of the errors.

    At the least worst error some strings are exactly as far off as the worst. While these stay
    the same, the settings follow their errors linearly; a setting at its limit stays there.
    """
    residuals, jacobian = problem.residuals_cents(settings), problem.jacobian(settings)
    beyond = np.abs(residuals) - problem.doubts_cents
    worst = np.max(beyond)
    near = [i for i in range(residuals.size) if beyond[i] > worst - 1000 * _SAME_CENTS]
    signs = [(i, s) for i in near for s in (1, -1) if s * residuals[i] > -1000 * _SAME_CENTS]
    free = (settings > problem.low_mm + _AT_LIMIT_MM) & (settings < problem.high_mm - _AT_LIMIT_MM)
    rows = np.array([[*(s * jacobian[i] * free), -1.0] for i, s in signs])
    drive = np.zeros((len(signs), residuals.size))
    for row, (i, s) in enumerate(signs):
        drive[row, i] = s
    follow = -np.linalg.pinv(rows)[:-1] @ drive
    return np.asarray(np.sqrt(follow**2 @ problem.uncertainties_cents**2))
