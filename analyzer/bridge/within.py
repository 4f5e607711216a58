"""Least squares within straight limits, after Lawson and Hanson.

Of all x with rows x <= bounds, the one of least |E x - f|^2. A QR decomposition of E makes it the
search for the shortest vector within limits, and non-negative least squares solve that: Lawson and
Hanson, Solving Least Squares Problems, 1974, chapter 23 (recalled, not looked up).
"""

from __future__ import annotations

import numpy as np
from scipy.linalg import solve_triangular
from scipy.optimize import nnls

from analyzer.bridge.effect import Array

_TIE = 1e-4  # weight of x itself: of adjusters that undo each other, none moves further than needed
_NOTHING = 1e-12


def least_squares_within(e: Array, f: Array, rows: Array, bounds: Array) -> Array | None:
    """That x, (m,), for E (n, m), f (n,), rows (k, m), bounds (k,); None where there is none."""
    unknowns = e.shape[1]
    q, r = np.linalg.qr(np.vstack([e, _TIE * np.eye(unknowns)]))
    middle = q.T @ np.concatenate([f, np.zeros(unknowns)])
    limits = -solve_triangular(r, rows.T, trans="T").T  # of z = R x - middle: limits z >= ends
    ends = -bounds - limits @ middle
    system = np.vstack([limits.T, ends])
    target = np.append(np.zeros(unknowns), 1.0)
    weights, _ = nnls(system, target)
    left = system @ weights - target
    if abs(left[-1]) <= _NOTHING:
        return None
    return np.asarray(solve_triangular(r, middle - left[:-1] / left[-1]))
