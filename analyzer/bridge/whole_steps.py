"""The best setting in whole steps of every adjuster, found about the best place of all.

Every whole-step setting that is as good as the one at hand (the best place, rounded) lies in a box
about the best place. Where the box is small enough all of it is tried, which is exact; else an
integer program on the straight-line effects finds it.
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

from analyzer.bridge.effect import Array
from analyzer.bridge.least_worst import exact_reach_mm, rough_reach_mm
from analyzer.bridge.problem import Problem

_MOST_TRIED = 200_000  # settings; some tens of milliseconds
_FEW = 4_000  # trying them takes less time than finding a smaller box
# Worst errors so near are one: nobody hears or measures the difference, but to earn it another
# string can come out half a cent worse.
_SAME_CENTS = 0.05
_ROUNDING = 1e-9  # of a step: a travel that is a whole number of steps is reached


def whole_steps_mm(problem: Problem, best_mm: Array, steps_mm: Array) -> Array:
    """The settings in whole steps, (m,) mm within the travel, of the least worst error.

    ``best_mm`` is the best place without steps. Among settings whose worst errors are within
    0.05 cents of the least, the one of least squares is taken.
    """
    low = np.ceil(problem.low_mm / steps_mm - _ROUNDING)
    high = np.floor(problem.high_mm / steps_mm + _ROUNDING)
    box = _box(problem, best_mm, steps_mm, low, high)
    if box is None:
        middle = _integer_program(problem, best_mm, steps_mm, low, high)
        near = 1 if 3**middle.size <= _MOST_TRIED else 0
        box = np.maximum(middle - near, low), np.minimum(middle + near, high)
    ranges = [np.arange(a, b + 1) for a, b in zip(*box, strict=True)]
    tries = np.stack(np.meshgrid(*ranges, indexing="ij"), axis=-1).reshape(-1, len(ranges))
    settings = tries * steps_mm + 0.0  # no minus nought
    residuals = problem.residuals_cents(settings)
    worst = problem.worst_cents(residuals)
    squares = np.where(worst <= np.min(worst) + _SAME_CENTS, problem.squares(residuals), np.inf)
    return np.asarray(settings[np.argmin(squares)])


def _box(
    problem: Problem, best_mm: Array, steps_mm: Array, low: Array, high: Array
) -> tuple[Array, Array] | None:
    """Ends of the box, in steps; None where it holds too much to try."""
    start = np.clip(np.round(best_mm / steps_mm), low, high)
    at_start = float(problem.worst_cents(problem.residuals_cents(start * steps_mm)))
    for reach_mm, most in ((rough_reach_mm, _FEW), (exact_reach_mm, _MOST_TRIED)):
        nearest, furthest = reach_mm(problem, best_mm, at_start + _SAME_CENTS)
        first = np.maximum(np.floor(nearest / steps_mm), low)
        last = np.minimum(np.ceil(furthest / steps_mm), high)
        if np.prod(last - first + 1) <= most:
            return first, last
    return None


def _integer_program(
    problem: Problem, best_mm: Array, steps_mm: Array, low: Array, high: Array
) -> Array:
    jacobian = problem.jacobian(best_mm)
    at_zero = problem.residuals_cents(best_mm) - jacobian @ best_mm
    per_step = jacobian * steps_mm
    rows = np.column_stack([np.vstack([per_step, -per_step]), -np.ones(2 * at_zero.size)])
    bound = np.concatenate([problem.doubts_cents - at_zero, problem.doubts_cents + at_zero])
    found = milp(
        np.append(np.zeros(steps_mm.size), 1.0),
        constraints=LinearConstraint(rows, -np.inf, bound),
        integrality=np.append(np.ones(steps_mm.size), 0.0),
        bounds=Bounds(np.append(low, -np.inf), np.append(high, np.inf)),
    )
    return np.asarray(np.round(np.asarray(found["x"])[:-1]))
