"""The linear problem of the phases against Bayes' rule written out with one dense matrix.

Normal errors and priors: with A = X' W X + P and b = X' W y the posterior is A^-1 b with the
covariance A^-1, and the logarithm of the evidence is (b' A^-1 b - ln |A| + ln |P|) / 2 but for
what all fits have in common. Lines have no prior.
"""

from __future__ import annotations

import numpy as np
import pytest

from analyzer.pitch.coupled import coupled_terms, with_waves
from analyzer.pitch.shared import Solutions, share_terms, solve_all

PARTIALS, SAMPLES, HATS, GLIDES = 3, 80, 4, 2
T = np.linspace(0, 2.0, SAMPLES)
GLIDE_SD, SIZES = 0.8, np.array([0.3, 1.1])
RNG = np.random.default_rng(6)
# What must lie well outside the lines, so that the expected values are sure to many digits.
HAT_ROWS = np.maximum(1 - np.abs(T - np.linspace(0, 2, HATS)[:, None]) / 0.66, 0)
GLIDE_ROWS = np.exp(-T / np.array([[0.1], [0.5]]))
WEIGHTS = RNG.uniform(5, 40, (PARTIALS, SAMPLES))
VALUES = (
    np.array([[0.4], [-1.0], [2.0]]) + np.array([[0.3], [0.1], [-0.5]]) * T
    + 0.5 * GLIDE_ROWS[0] + 0.2 * HAT_ROWS[2] + 0.1 * RNG.normal(size=(PARTIALS, SAMPLES))
)  # fmt: skip
APART = np.abs(np.subtract.outer(np.arange(HATS), np.arange(HATS)))
ROOTS = np.stack([np.linalg.cholesky(np.exp(-APART)), np.diag([2.0, 1.0, 0.5, 0.5])])
WANDERS = [None, *((kind, size) for kind in ROOTS for size in SIZES)]


def solved() -> Solutions:
    return solve_all(share_terms(VALUES, WEIGHTS, T, HAT_ROWS, GLIDE_ROWS), GLIDE_SD, ROOTS, SIZES)


def dense(
    wander, glide: int | None, values=VALUES, weights=WEIGHTS, slope_sd: float = np.inf
) -> dict[str, np.ndarray | float]:
    """The same fit with every unknown in one vector: constants, slopes, hats, the glide."""
    rows = [] if wander is None else list(HAT_ROWS)
    rows += [] if glide is None else [GLIDE_ROWS[glide]]
    lines = np.concatenate([np.kron(np.eye(PARTIALS), np.ones((SAMPLES, 1))),
                            np.kron(np.eye(PARTIALS), T[:, None])], axis=1)  # fmt: skip
    shared = np.tile(np.array(rows).reshape(len(rows), SAMPLES).T, (PARTIALS, 1))
    x = np.concatenate([lines, shared], axis=1)
    first = 2 * PARTIALS
    held = np.zeros(x.shape[1])
    held[PARTIALS:first] = slope_sd**-2
    prior = np.diag(held)
    if wander is not None:
        root = wander[0] * wander[1]
        prior[first : first + HATS, first : first + HATS] = np.linalg.inv(root @ root.T)
    if glide is not None:
        prior[-1, -1] = GLIDE_SD**-2
    w, y = weights.ravel(), values.ravel()
    a, b = x.T @ (w[:, None] * x) + prior, x.T @ (w * y)
    covariance = np.linalg.inv(a)
    found = covariance @ b
    own = prior[first:, first:]
    evidence = 0.5 * (b @ found - np.linalg.slogdet(a)[1])
    evidence += 0.5 * np.linalg.slogdet(own)[1] if own.size else 0.0
    return {
        "evidence": evidence,
        "slopes": found[PARTIALS:first],
        "size": found[-1] if glide is not None else 0.0,
        "variance": covariance[-1, -1] if glide is not None else 0.0,
        "hats": found[first : first + HATS] if wander is not None else np.zeros(HATS),
        "slope_covariance": covariance[PARTIALS:first, PARTIALS:first],
    }


@pytest.mark.parametrize("wander", range(5))
@pytest.mark.parametrize("glide", [None, 0, 1])
def test_every_fit_is_bayes_rule(wander, glide) -> None:
    found, expected = solved(), dense(WANDERS[wander], glide)
    at = wander, 0 if glide is None else glide + 1
    nothing = dense(None, None)["evidence"]
    told = found.evidence[at] - found.evidence[0, 0]
    assert told == pytest.approx(expected["evidence"] - nothing, abs=1e-6)
    assert found.sizes[at] == pytest.approx(expected["size"], abs=1e-8)
    assert found.variances[at] == pytest.approx(expected["variance"], abs=1e-10)
    assert found.slopes[:, *at] == pytest.approx(expected["slopes"], abs=1e-8)
    share = np.zeros_like(found.evidence)
    share[at] = 1
    assert found.hats(share) == pytest.approx(expected["hats"], abs=1e-8)


@pytest.mark.parametrize("wander", range(1, 5))
def test_what_the_wander_adds_to_the_slopes_covariance(wander) -> None:
    root = solved().reach[wander - 1]
    with_it = dense(WANDERS[wander], None)["slope_covariance"]
    assert root.T @ root == pytest.approx(
        with_it - dense(None, None)["slope_covariance"], rel=1e-6, abs=1e-10
    )


def test_tilts_say_how_slopes_lean_on_the_glides_size() -> None:
    """Two glides held at the same size differ by what one of 1 takes: slope - tilt * size."""
    found = solved()
    for wander in range(5):
        flat = found.slopes[:, wander, 1:] + found.tilts[:, wander, 1:] * found.sizes[wander, 1:]
        assert flat == pytest.approx(np.repeat(found.slopes[:, wander, :1], GLIDES, axis=1))


def test_hats_are_averaged_by_their_probabilities() -> None:
    found = solved()
    share = np.zeros_like(found.evidence)
    share[1, 0], share[3, 2] = 0.25, 0.75
    expected = 0.25 * dense(WANDERS[1], None)["hats"] + 0.75 * dense(WANDERS[3], 1)["hats"]
    assert found.hats(share) == pytest.approx(expected, abs=1e-8)


def test_a_partial_without_weight_has_no_say() -> None:
    weights = WEIGHTS.copy()
    weights[1] = 0
    values = VALUES.copy()
    values[1] = 100.0
    found = solve_all(share_terms(values, weights, T, HAT_ROWS, GLIDE_ROWS), GLIDE_SD, ROOTS, SIZES)
    two = share_terms(VALUES[[0, 2]], WEIGHTS[[0, 2]], T, HAT_ROWS, GLIDE_ROWS)
    alone = solve_all(two, GLIDE_SD, ROOTS, SIZES)
    assert found.sizes == pytest.approx(alone.sizes)
    assert found.slopes[[0, 2]] == pytest.approx(alone.slopes)


def test_phases_that_do_not_hang_together_are_the_plain_problem() -> None:
    """Diagonal information w omega^-2 on phases omega y is the weights w on y.

    So much of it that the least that is assumed of a phase does not count. Slopes are held to
    nothing by 0.02, which keeps the wander from taking their part.
    """
    omega, weights = np.array([2.0, 3.0, 5.0]), 1e4 * WEIGHTS
    information = np.stack([np.diag(w / omega**2) for w in weights.T])
    rows = np.concatenate([HAT_ROWS, GLIDE_ROWS])
    scores = 1e2 * np.resize([1.0, -0.5, 0.2, 0.7], (SAMPLES, PARTIALS))  # adds score / information
    terms, covariance = coupled_terms(
        information, scores, omega[:, None] * VALUES, omega, T, rows, HATS
    )
    values = VALUES + scores.T * omega[:, None] / weights
    found = solve_all(terms, GLIDE_SD, ROOTS, SIZES)
    for wander, glide in ((0, None), (0, 1), (1, 0), (4, 1)):
        expected = dense(WANDERS[wander], glide, values, weights, 0.02)
        at = wander, 0 if glide is None else glide + 1
        assert found.sizes[at] == pytest.approx(expected["size"], abs=1e-5)
        assert found.slopes[:, *at] == pytest.approx(expected["slopes"], abs=1e-5)
    lines_alone = dense(None, None, values, weights, 0.02)["slope_covariance"]
    assert covariance == pytest.approx(lines_alone, rel=1e-4, abs=1e-12)


def test_waves_add_their_variance() -> None:
    """Information I with a variance v on top is (I^-1 + v)^-1, and so goes the score."""
    information = np.array([[[4.0, 1.0], [1.0, 3.0]]])
    wave, score = np.array([0.5, 0.2]), np.array([[1.0, -2.0]])
    less, smaller = with_waves(information, score, wave)
    expected = np.linalg.inv(np.linalg.inv(information[0]) + np.diag(wave))
    assert less[0] == pytest.approx(expected)
    assert smaller[0] == pytest.approx(expected @ np.linalg.inv(information[0]) @ score[0])
