"""Lines and shared terms of phases whose errors hang together.

As in ``shared``, for phases y_k(t) of frequency w_k,

    y_k(t) / w_k = c_k + e_k t + sum_i x_i r_i(t)                                           (1)

but each moment has an information matrix over the partials in place of their own weights.
"""

from __future__ import annotations

import numpy as np

from analyzer.pitch.shared import SharedTerms
from analyzer.pitch.spectrum import Real

_LEAST = 1e-3  # radians^-2; no phase is known less
_LEAST_SHARE = 1e-11  # of a moment's whole information, beyond which nothing is known
_SLOPE_SD = 0.02  # relative


def with_waves(information: Real, score: Real, wave: Real) -> tuple[Real, Real]:
    """Information (moments, partials, partials) and score where phases waver by themselves.

    ``wave`` (partials,) is the variance that this adds.
    """
    mixed = np.eye(wave.size) + information * wave
    both = np.concatenate([information, score[:, :, None]], axis=2)
    solved = np.linalg.solve(mixed, both)
    less = solved[:, :, :-1]
    return 0.5 * (less + less.transpose(0, 2, 1)), solved[:, :, -1]


def coupled_terms(
    information: Real,
    score: Real,
    expected: Real,
    omega: Real,
    times_s: Real,
    rows: Real,
    hats: int,
) -> tuple[SharedTerms, Real]:
    """Take the lines out of the phases ``expected`` (partials, moments) plus what the score adds.

    ``omega`` (partials,), ``times_s`` (moments,), ``rows`` (rows, moments), the first ``hats`` of
    them the wander's. Returns what is left, the lines about the onset, and the covariance
    (partials, partials) of the lines' slopes.
    """
    partials = omega.size
    root = _roots(information)
    values = np.linalg.solve(root, score[:, :, None])[:, :, 0]
    upper = root.transpose(0, 2, 1)
    values = values + (upper @ expected.T[:, :, None])[:, :, 0]
    lines = upper * omega
    shared = np.sum(lines, axis=2)[:, :, None] * rows.T[:, None, :]
    columns = [lines, lines * times_s[:, None, None], shared, values[:, :, None]]
    flat = np.concatenate(columns, axis=2).reshape(-1, 2 * partials + rows.shape[0] + 1)
    held = np.zeros((partials, flat.shape[1]))
    held[:, partials : 2 * partials] = np.eye(partials) / _SLOPE_SD
    triangle = np.asarray(np.linalg.qr(np.concatenate([flat, held]), mode="r"))
    return _without_lines(triangle, partials, hats)


def _roots(information: Real) -> Real:
    """Lower triangles whose squares are the information."""
    least = _LEAST + _LEAST_SHARE * np.trace(information, axis1=1, axis2=2)
    eye = np.eye(information.shape[1])
    return np.asarray(np.linalg.cholesky(information + least[:, None, None] * eye))


def _without_lines(triangle: Real, partials: int, hats: int) -> tuple[SharedTerms, Real]:
    """From the triangle of constants, slopes, rows and values."""
    inverse = np.linalg.inv(triangle[: 2 * partials, : 2 * partials])
    through = inverse @ triangle[: 2 * partials, 2 * partials :]
    constants, slopes = through[:partials], through[partials:]
    covariance = inverse[partials:] @ inverse[partials:].T
    terms = SharedTerms(
        triangle[2 * partials :, 2 * partials :],
        hats,
        constants[:, -1],
        slopes[:, -1],
        np.zeros(partials),
        constants[:, :-1],
        slopes[:, :-1],
        1 / np.diag(covariance),
    )
    return terms, covariance
