"""The best setting of a bridge against scipy's linear and nonlinear solvers."""

from __future__ import annotations

import numpy as np
import pytest
from made_bridges import two_posts
from scipy.optimize import linprog, minimize

from analyzer.bridge.effect import LengthEffect
from analyzer.bridge.problem import Need
from analyzer.bridge.setting import set_bridge

SOLVERS = "scipy.optimize, linprog and SLSQP"
pytestmark = pytest.mark.source(
    SOLVERS, "reference library", "best setting of a bridge on two posts"
)


def need(error_cents: float, uncertainty_cents: float) -> Need:
    return Need(error_cents, LengthEffect(647.7), uncertainty_cents)


@pytest.mark.parametrize("seed", range(20))
def test_best_place_is_that_of_general_solvers(seed) -> None:
    """Least worst error by scipy's linear solver, then least squares by its SLSQP."""
    rng = np.random.default_rng([seed, 7])
    strings = tuple(range(int(rng.integers(2, 8)), 0, -1))
    ends = two_posts(strings, (1.0, 2.0) if seed % 2 else (9.0, 9.0))
    needs = {string: need(rng.uniform(-9, 9), rng.choice([0.2, 3.0])) for string in strings}
    (part,) = set_bridge(ends, needs)
    problem, found = part.problem, part.wanted_mm
    jacobian = problem.jacobian(found)
    at_zero = problem.residuals_cents(found) - jacobian @ found
    doubts, weights = problem.doubts_cents, 1 / (1 + problem.doubts_cents)
    limits = list(zip(problem.low_mm, problem.high_mm, strict=True))
    one = -np.ones((len(strings), 1))
    rows = np.block([[jacobian, one], [-jacobian, one]])
    bounds = np.concatenate([doubts - at_zero, doubts + at_zero])
    program = linprog([0, 0, 1], rows, bounds, bounds=[*limits, (None, None)])
    worst = float(problem.worst_cents(problem.residuals_cents(found)))
    assert worst == pytest.approx(program.fun, abs=2e-5)
    squares = minimize(
        lambda x: np.sum((weights * (at_zero + jacobian @ x)) ** 2),
        program.x[:2],
        method="SLSQP",
        bounds=limits,
        constraints={
            "type": "ineq",
            "fun": lambda x: bounds + program.fun + 1e-6 - rows[:, :2] @ x,
        },
    )
    assert np.sum((weights * problem.residuals_cents(found)) ** 2) <= squares.fun + 1e-3
