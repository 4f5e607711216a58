"""One string behind the partials: against scipy's least squares and the published moments."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from scipy.optimize import least_squares

from analyzer.music import CENTS_PER_NEPER
from analyzer.pitch.partials import stretched
from analyzer.pitch.stiff_string import (
    PRIOR_STIFFNESS,
    PRIOR_STIFFNESS_SD,
    _freedom,
    _scatter,
    fit_string,
)

NUMBERS = np.array([1.0, 2, 3, 4, 6, 7, 8, 10, 11, 13])
ONES = np.ones(NUMBERS.size)


def covariance_of(rng, size_cents: float):
    """Partials that are known to differing degrees, and whose errors hang together."""
    mixed = np.eye(NUMBERS.size) + 0.3 * rng.normal(size=(NUMBERS.size, NUMBERS.size))
    sd = size_cents / CENTS_PER_NEPER * rng.uniform(0.3, 2, NUMBERS.size)
    return mixed @ np.diag(sd**2) @ mixed.T


def by_scipy(frequencies_hz, covariance):
    """Least squares of the law with what is believed of B beforehand; value and covariance."""
    whitened = np.linalg.inv(np.linalg.cholesky(covariance))

    def left(unknown: np.ndarray) -> np.ndarray:
        law_hz = stretched(NUMBERS, np.exp(unknown[0]), unknown[1] * 1e-4)
        prior = (unknown[1] * 1e-4 - PRIOR_STIFFNESS) / PRIOR_STIFFNESS_SD
        return np.append(whitened @ np.log(frequencies_hz / law_hz), prior)

    found = least_squares(
        left, [np.log(frequencies_hz[0]), 1.0], xtol=1e-15, ftol=1e-15, gtol=1e-15
    )
    return found.x * [1, 1e-4], np.linalg.inv(found.jac.T @ found.jac)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("stiffness", [3e-5, 4e-4])
def test_partials_that_keep_the_law_are_fitted_as_scipy_does(seed, stiffness) -> None:
    """Strays smaller than the noise show no scatter; then it is weighed least squares, 95 %."""
    rng = np.random.default_rng(seed)
    covariance = covariance_of(rng, 0.5)
    strays = 0.4 * np.linalg.cholesky(covariance) @ rng.normal(size=NUMBERS.size)
    heard_hz = stretched(NUMBERS, 146.8, stiffness) * np.exp(strays)
    found = fit_string(NUMBERS, heard_hz, covariance, ONES)
    (log_f1, b), spread = by_scipy(heard_hz, covariance)
    assert found.misfit_cents == 0
    assert np.log(found.f1_hz) == pytest.approx(log_f1, abs=1e-9)
    assert found.stiffness == pytest.approx(b, rel=1e-5)
    half = stats.norm.ppf(0.975) * np.sqrt(np.diag(spread))
    assert found.uncertainty_cents == pytest.approx(CENTS_PER_NEPER * half[0], rel=2e-3)
    assert found.stiffness_uncertainty == pytest.approx(1e-4 * half[1], rel=2e-3)
    law_hz = stretched(NUMBERS, found.f1_hz, found.stiffness)
    assert found.residuals_cents == pytest.approx(1200 * np.log2(heard_hz / law_hz), abs=1e-4)
    certain = 1 / np.diag(covariance)
    assert found.weights == pytest.approx(certain / np.sum(certain))


def test_what_is_believed_beforehand_rules_where_nothing_is_heard() -> None:
    """One partial says nothing of the stiffness."""
    found = fit_string(np.array([3.0]), np.array([330.0]), np.array([[1e-10]]), np.ones(1))
    assert found.stiffness == pytest.approx(PRIOR_STIFFNESS, rel=1e-6)
    assert found.stiffness_uncertainty == pytest.approx(1.96 * PRIOR_STIFFNESS_SD, rel=2e-3)
    law_hz = stretched(np.array([3.0]), found.f1_hz, found.stiffness)
    assert law_hz == pytest.approx([330.0], rel=1e-9)


def test_it_starts_anywhere() -> None:
    """The first partial far off the others, as a resonating body may have it."""
    heard_hz = stretched(NUMBERS, 196.0, 2e-4)
    heard_hz[0] *= 2 ** (40 / 1200)
    found = fit_string(NUMBERS, heard_hz, np.eye(NUMBERS.size) * (0.02 / 1731) ** 2, ONES)
    assert 1200 * np.log2(found.f1_hz / 196.0) == pytest.approx(0, abs=2.5)
    assert found.residuals_cents[0] == pytest.approx(40, abs=3)


def test_no_stiffness_below_none() -> None:
    heard_hz = 196.0 * NUMBERS * (1 - 2e-5 * NUMBERS**2)
    covariance = np.eye(NUMBERS.size) * (1.0 / 1731) ** 2
    assert fit_string(NUMBERS, heard_hz, covariance, ONES).stiffness == 0.0


def test_a_partial_without_standing_has_no_say_against_the_scatter() -> None:
    rng = np.random.default_rng(3)
    heard_hz = stretched(NUMBERS, 110.0, 1e-4) * np.exp(rng.normal(size=NUMBERS.size) * 0.5 / 1731)
    covariance = np.eye(NUMBERS.size) * (0.01 / 1731) ** 2
    standing = np.where(NUMBERS == 7, 1e-4, 1.0)
    away_hz = np.where(NUMBERS == 7, heard_hz * 2 ** (3 / 1200), heard_hz)
    found, moved = (fit_string(NUMBERS, each, covariance, standing) for each in (heard_hz, away_hz))
    assert 1200 * np.log2(moved.f1_hz / found.f1_hz) == pytest.approx(0, abs=0.01)
    assert found.weights[NUMBERS == 7] < 1e-3 * np.max(found.weights)


@pytest.mark.parametrize("seed", range(5))
def test_scatter_is_that_of_dersimonian_and_laird(seed) -> None:
    """(Q - (k - 1)) / (sum w - sum w^2 / sum w), not below nought, where a mean is all there is.

    R. DerSimonian and N. Laird, Controlled Clinical Trials 7, 177, 1986, eq. (8); from memory.
    """
    rng = np.random.default_rng(seed)
    own = rng.uniform(0.5, 2, 9)
    values = rng.normal(size=9) * np.sqrt(own + 1.5)
    w = 1 / own
    mean = np.sum(w * values) / np.sum(w)
    q = np.sum(w * (values - mean) ** 2)
    expected = max((q - 8) / (np.sum(w) - np.sum(w**2) / np.sum(w)), 0.0)
    design = np.ones((9, 1))
    found = _scatter(values - mean, design, np.diag(own), np.ones(9), 0.0)
    assert found == pytest.approx(expected)


def test_two_partials_show_no_scatter() -> None:
    assert _scatter(np.array([1.0, -1.0]), np.ones((2, 1)), np.eye(2), np.ones(2), 0.0) == 0.0


def test_scatter_that_is_there_already_changes_weights_and_not_what_is_found() -> None:
    """On average: of many draws with equal variances it is what they were drawn with."""
    rng = np.random.default_rng(1)
    design = np.stack([np.ones(30), np.linspace(0, 1, 30)], axis=1)
    kept = np.eye(30) - design @ np.linalg.pinv(design)
    drawn = np.sqrt(0.5 + 2.0) * rng.normal(size=(400, 30))
    own = 0.5 * np.eye(30)
    found = [_scatter(kept @ each, design, own, np.ones(30), 2.0) for each in drawn]
    # A variance from 28 values, 400 times: 2.5 sqrt(2 / 28) / 20, three times.
    assert np.mean(found) == pytest.approx(2.0, abs=3 * 2.5 * np.sqrt(2 / 28) / 20)


@pytest.mark.parametrize(
    ("partials", "scatter", "own", "freedom"),
    [(14, 1.0, 0.0, 12.0), (14, 1.0, 1.0, 48.0), (14, 0.0, 1.0, 12_000.0), (2, 1.0, 0.0, 1.0),
     (3, 1.0, 0.0, 1.0)],
)  # fmt: skip
def test_an_interval_has_few_degrees_of_freedom_where_scatter_rules_it(
    partials, scatter, own, freedom
) -> None:
    """Those of the partials less two unknowns, by the scatter's share (Satterthwaite)."""
    assert _freedom(partials, scatter, np.full(partials, own)) == pytest.approx(freedom)
