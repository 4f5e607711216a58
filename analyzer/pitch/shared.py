"""The linear problem behind the phases: a line for each partial, and terms that all share.

For values y_k(t) with weights w_k(t), and rows r(t),

    y_k(t) = c_k + e_k t + sum_i x_i r_i(t)                                                 (1)

The lines are taken out of the values and the rows, and what is left is brought to a triangle once
(QR). Each candidate, a subset of rows with its normal prior, is then solved on the small triangle.
Orthogonal steps throughout: on a clean recording the information is so large that differences of
sums of squares would lose every digit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_triangular

from analyzer.pitch.spectrum import Real

_SLOPE_SD = 0.02  # relative; a line whose slope is known no better than this is not fitted


@dataclass(frozen=True)
class SharedTerms:
    """Equation (1) without its lines.

    ``triangle`` (n, hats + glides + 1): hats of the wander first, then candidates of the glide,
    then the values. ``mean`` and ``slope`` (partials,) are the lines through the values about
    ``mean_s``; ``row_mean`` and ``row_slope`` (partials, rows) those through the rows; ``spread``
    (partials,) is the information on a slope.
    """

    triangle: Real
    hats: int
    mean: Real
    slope: Real
    mean_s: Real
    row_mean: Real
    row_slope: Real
    spread: Real


@dataclass(frozen=True)
class Solutions:
    """Fits of all glides, 'no glide' first, under one prior of the wander.

    ``evidence``, ``sizes`` and ``variances`` (candidates,) are of the glide; ``hats`` (hats,
    candidates); ``slopes`` (partials, candidates) are the e_k; ``tilts``, the same shape, says how
    a slope leans on the glide's size; ``base`` (partials, partials) is the covariance of the
    slopes that the wander brings.
    """

    evidence: Real
    sizes: Real
    variances: Real
    hats: Real
    slopes: Real
    tilts: Real
    base: Real


def share_terms(
    values: Real, weights: Real, times_s: Real, hats: Real, glides: Real
) -> SharedTerms:
    """Take the lines out: ``values`` and ``weights`` (partials, samples), rows (rows, samples)."""
    rows = np.concatenate([hats, glides])
    weights, mean_s = _informative(weights, times_s)
    total = np.maximum(np.sum(weights, axis=1), 1.0)
    centred = times_s - mean_s[:, None]
    spread = np.maximum(np.sum(weights * centred**2, axis=1), _SLOPE_SD**-2)
    mean = np.sum(weights * values, axis=1) / total
    slope = np.sum(weights * centred * values, axis=1) / spread
    row_mean = (weights @ rows.T) / total[:, None]
    row_slope = ((weights * centred) @ rows.T) / spread[:, None]
    left = rows - row_mean[:, :, None] - row_slope[:, :, None] * centred[:, None, :]
    rest = values - mean[:, None] - slope[:, None] * centred
    columns = np.concatenate([left, rest[:, None, :]], axis=1) * np.sqrt(weights)[:, None, :]
    flat = columns.transpose(0, 2, 1).reshape(-1, rows.shape[0] + 1)
    triangle = np.asarray(np.linalg.qr(flat[np.any(flat != 0, axis=1)], mode="r"))
    return SharedTerms(triangle, hats.shape[0], mean, slope, mean_s, row_mean, row_slope, spread)


def _informative(weights: Real, times_s: Real) -> tuple[Real, Real]:
    """The weights without those of lines that cannot be fitted, and the lines' mean times."""
    total = np.maximum(np.sum(weights, axis=1), 1.0)
    mean_s = np.sum(weights * times_s, axis=1) / total
    spread = np.sum(weights * (times_s - mean_s[:, None]) ** 2, axis=1)
    return np.where((spread > _SLOPE_SD**-2)[:, None], weights, 0.0), mean_s


def solve_without_wander(terms: SharedTerms, glide_sd: float) -> Solutions:
    """All glides, their size normal about 0 with ``glide_sd``, and no wander."""
    columns = terms.triangle[:, terms.hats :]
    nothing = np.zeros((terms.slope.size, 0))
    return _solutions(terms, glide_sd, columns, 0.0, np.zeros((0, columns.shape[1])), nothing)


def solve_with_wander(terms: SharedTerms, glide_sd: float, root: Real) -> Solutions:
    """The same, with hats whose inverse prior covariance is ``root``' ``root``."""
    hats = terms.hats
    stacked = np.concatenate([terms.triangle[:, :hats], root])
    others = np.pad(terms.triangle[:, hats:], ((0, hats), (0, 0)))
    basis, corner = np.linalg.qr(stacked)
    inside = basis.T @ others
    columns = others - basis @ inside
    log_ratio = np.sum(np.log(np.abs(np.diag(root)))) - np.sum(np.log(np.abs(np.diag(corner))))
    solved = solve_triangular(corner, inside)
    reach = solve_triangular(corner, terms.row_slope[:, :hats].T, trans="T").T
    return _solutions(terms, glide_sd, columns, float(log_ratio), solved, reach)


def _solutions(
    terms: SharedTerms, glide_sd: float, columns: Real, log_ratio: float, solved: Real, reach: Real
) -> Solutions:
    """Finish from what the hats leave of the glides and the values.

    ``columns`` holds them, ``solved`` the hats that each would take, ``reach`` the root of the
    covariance that the hats bring to the slopes.
    """
    glides, values = columns[:, :-1], columns[:, -1]
    precision = np.sum(glides**2, axis=0) + glide_sd**-2
    sizes = np.pad((values @ glides) / precision, (1, 0))
    gain = 0.5 * sizes[1:] ** 2 * precision - 0.5 * np.log(precision * glide_sd**2)
    hat_slope = terms.row_slope[:, : solved.shape[0]]
    tilts = np.pad(terms.row_slope[:, terms.hats :] - hat_slope @ solved[:, :-1], ((0, 0), (1, 0)))
    alone = terms.slope - hat_slope @ solved[:, -1]
    taken = np.pad(solved[:, :-1], ((0, 0), (1, 0)))
    return Solutions(
        log_ratio - 0.5 * float(values @ values) + np.pad(gain, (1, 0)),
        sizes,
        np.pad(1 / precision, (1, 0)),
        solved[:, -1:] - taken * sizes,
        alone[:, None] - tilts * sizes,
        tilts,
        reach @ reach.T,
    )
