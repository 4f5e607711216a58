"""Lines through phases whose errors hang together, against one dense generalised least squares."""

from __future__ import annotations

import numpy as np
import pytest

from analyzer.pitch.coupled import _roots, coupled_terms
from analyzer.pitch.shared import solve_all

PARTIALS, MOMENTS, HATS = 3, 30, 3
OMEGA = np.array([2.0, 3.0, 5.0])
T = 0.1 + np.linspace(0, 2.0, MOMENTS)
RNG = np.random.default_rng(8)
_HALF = RNG.normal(size=(MOMENTS, PARTIALS, PARTIALS))
INFORMATION = 4e3 * (_HALF @ _HALF.transpose(0, 2, 1) + 0.5 * np.eye(PARTIALS))  # none diagonal
EXPECTED = RNG.normal(size=(PARTIALS, MOMENTS))
SCORE = 1e3 * RNG.normal(size=(MOMENTS, PARTIALS))
ROWS = np.concatenate([
    np.maximum(1 - np.abs(T - np.array([[0.1], [1.1], [2.1]])), 0),
    np.exp(-T / np.array([[0.2], [0.6]])),
])  # fmt: skip


def dense(values, columns=()):
    """Constants, slopes (held by 0.02) and ``columns``, through phases (partials, moments)."""
    design = []
    for k in range(PARTIALS):
        for shape in (np.ones(MOMENTS), T):
            own = np.zeros((PARTIALS, MOMENTS))
            own[k] = OMEGA[k] * shape
            design.append(own)
    design = [*design[::2], *design[1::2], *(OMEGA[:, None] * each for each in columns)]
    x = np.stack([each.T.ravel() for each in design], axis=1)  # moment by moment
    weight = np.zeros((x.shape[0], x.shape[0]))
    for m in range(MOMENTS):
        at = slice(m * PARTIALS, (m + 1) * PARTIALS)
        weight[at, at] = INFORMATION[m]
    held = np.zeros(x.shape[1])
    held[PARTIALS : 2 * PARTIALS] = 0.02**-2
    covariance = np.linalg.inv(x.T @ weight @ x + np.diag(held))
    return covariance @ x.T @ weight @ values.T.ravel(), covariance


def terms():
    return coupled_terms(INFORMATION, SCORE, EXPECTED, OMEGA, T, ROWS, HATS)


def seen():
    """Expected, and by how much the score says that they are off."""
    off = np.linalg.solve(INFORMATION, SCORE[:, :, None])[:, :, 0]
    return EXPECTED + off.T


def test_lines_and_their_covariance() -> None:
    """What is assumed to be known of a phase at least, 0.001, is 1e-6 of what is."""
    found, lines = terms()
    expected, covariance = dense(seen())
    slopes = slice(PARTIALS, 2 * PARTIALS)
    assert found.mean == pytest.approx(expected[:PARTIALS], rel=1e-4, abs=1e-5)
    assert found.slope == pytest.approx(expected[slopes], rel=1e-4, abs=1e-5)
    assert np.all(found.mean_s == 0)  # about the onset
    assert lines == pytest.approx(covariance[slopes, slopes], rel=1e-4)
    assert found.spread == pytest.approx(1 / np.diag(covariance[slopes, slopes]), rel=1e-4)


def test_lines_through_the_rows() -> None:
    found, _ = terms()
    for row, values in enumerate(ROWS):
        expected, _ = dense(OMEGA[:, None] * values)
        assert found.row_mean[:, row] == pytest.approx(expected[:PARTIALS], rel=1e-4, abs=1e-5)
        assert found.row_slope[:, row] == pytest.approx(
            expected[PARTIALS : 2 * PARTIALS], rel=1e-4, abs=1e-5
        )
    assert found.row_mean.shape == found.row_slope.shape == (PARTIALS, len(ROWS))
    assert found.hats == HATS


def test_glide_beside_the_lines() -> None:
    """Its size, with a prior so wide that it says nothing, and the slopes that are left."""
    found, _ = terms()
    solved = solve_all(found, 1e6, np.eye(HATS)[None], np.array([1.0]))
    for glide in range(2):
        expected, covariance = dense(seen(), [ROWS[HATS + glide]])
        assert solved.sizes[0, 1 + glide] == pytest.approx(expected[-1], rel=1e-4)
        assert solved.variances[0, 1 + glide] == pytest.approx(covariance[-1, -1], rel=1e-4)
        assert solved.slopes[:, 0, 1 + glide] == pytest.approx(
            expected[PARTIALS : 2 * PARTIALS], rel=1e-3, abs=1e-5
        )


def test_roots_are_of_information_and_a_little_more() -> None:
    """0.001 radians^-2, and of all that is known 1e-11, which rounding may have lost."""
    for information in (INFORMATION, 1e12 * INFORMATION, 0 * INFORMATION):
        root = _roots(information)
        trace = np.trace(information, axis1=1, axis2=2)[:, None, None]
        expected = information + (1e-3 + 1e-11 * trace) * np.eye(PARTIALS)
        assert root @ root.transpose(0, 2, 1) == pytest.approx(expected, rel=1e-12, abs=1e-12)
        assert np.all(np.triu(root, 1) == 0)


def test_what_rounding_has_made_less_than_nothing_has_a_root() -> None:
    """One direction known to 1e13, and the others to a hair less than nothing."""
    direction = np.array([1.0, -1.0, 0.5])
    information = 1e13 * np.outer(direction, direction) - 1.0 * np.eye(3)
    assert np.min(np.linalg.eigvalsh(information)) < 0
    root = _roots(information[None])[0]
    assert root @ root.T == pytest.approx(information + 225.0 * np.eye(3), rel=1e-9)
