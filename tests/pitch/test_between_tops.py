"""Parts of the fit between flat tops: regression and sums written out, thresholds and order."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from analyzer.pitch import between_tops
from analyzer.pitch.true_samples import Seen

RNG = np.random.default_rng(3)
SEEN_S = np.array([0.1, 0.16, 0.2, 0.31, 0.5])
ALL_S = np.linspace(0.0, 0.6, 13)


def test_what_is_left_is_the_turn_that_was_seen_less_the_one_fitted() -> None:
    """Of frames that know much; of a phase that nothing is known of nothing is left, unsurely."""
    roots = RNG.normal(size=(5, 3, 3))
    information = 1e6 * (roots @ roots.transpose(0, 2, 1) + np.eye(3))
    seen, fitted = RNG.normal(size=(5, 3)), RNG.normal(size=(3, 5))
    score = np.einsum("fij,fj->fi", information, seen)
    left, variance = between_tops._left(information, score, fitted)
    assert left == pytest.approx(seen - fitted.T, abs=1e-6)
    expected = np.array([np.diag(np.linalg.inv(each)) for each in information])
    assert variance == pytest.approx(expected, rel=1e-6)
    none = np.diag([1e6, 0.0])[None]
    left, variance = between_tops._left(none, np.array([[1e6, 0.0]]), np.zeros((2, 1)))
    assert left[0] == pytest.approx([1.0, 0.0], abs=1e-6)
    assert variance[0] == pytest.approx([1e-6, 1 / (0.01 + 1e-5)], rel=1e-6)


def test_own_course_is_the_mean_of_a_process_given_what_was_seen() -> None:
    """k* (K + V)^-1 y with K = s e^(-|dt| / 0.3 s), one partial after the other."""
    left, variance = RNG.normal(size=(5, 2)), RNG.uniform(0.01, 0.5, (5, 2))
    size = np.array([0.3, 0.05])
    found = between_tops._own_course(left, variance, size, SEEN_S, ALL_S)
    for k in range(2):
        among = size[k] * np.exp(-np.abs(np.subtract.outer(SEEN_S, SEEN_S)) / 0.3)
        across = size[k] * np.exp(-np.abs(np.subtract.outer(ALL_S, SEEN_S)) / 0.3)
        expected = across @ np.linalg.inv(among + np.diag(variance[:, k])) @ left[:, k]
        assert found[k] == pytest.approx(expected)


def test_wavering_is_what_pieces_of_0_3_seconds_have_beside_noise() -> None:
    """Six frames of 0.05 s to a piece, the last whole ones: (sum^2 - noise) over its square."""
    t = 0.05 * np.arange(26)
    left = np.repeat([[9.0], [0.2], [-0.2], [0.2], [0.2]], [2, 6, 6, 6, 6], axis=0)
    variance = np.full((26, 1), 0.012)
    # Means of six have the variance 0.002; their square is 0.04, and a frame's share six times.
    assert between_tops._wavering(left, variance, t) == pytest.approx([6 * (0.04 - 0.002)])


def test_no_partial_wavers_less_than_most_and_what_is_hardly_known_tells_nothing() -> None:
    t = 0.05 * np.arange(24)
    left = np.tile([0.1, 0.2, 0.0, 0.5], (24, 1))
    variance = np.tile([0.006, 0.006, 0.006, 0.2], (24, 1))
    found = between_tops._wavering(left, variance, t)
    waves = np.array([0.01 - 0.001, 0.04 - 0.001, -0.001, 0.0])
    middle = np.median(waves)
    assert found == pytest.approx(6 * np.maximum(waves, middle))


def fitting(wavering, moved) -> SimpleNamespace:
    return SimpleNamespace(wavering=np.array(wavering), moved=moved)


def seen(*information: list[float]) -> list[Seen]:
    return [Seen(np.diag(each), np.zeros(len(each)), np.zeros(1), 1.0) for each in information]


@pytest.mark.parametrize(
    ("wavering", "moved", "patient", "lost"),
    [
        ([0.01, 0.01, 9.0], 1.0, True, [False, True, False]),  # too faint, whatever else
        ([0.01, 0.01, 9.0], 0.05, False, [False, True, False]),  # it settles
        ([0.01, 0.01, 0.26], 1.0, False, [False, True, True]),  # over 0.25, and 9 x 0.01
        ([0.01, 0.01, 0.24], 1.0, False, [False, True, False]),
        ([0.1, 0.1, 0.8], 1.0, False, [False, True, False]),  # not 9 times the others'
        ([0.1, 0.1, 0.95], 1.0, False, [False, True, True]),
    ],
)
def test_what_is_given_up(wavering, moved, patient, lost) -> None:
    """Information below 300 over all frames: here 301, 299 and 500."""
    told = seen([200.0, 150.0, 250.0], [101.0, 149.0, 250.0])
    found = between_tops._lost(fitting(wavering, moved), told, patient=patient)
    assert found.tolist() == lost


@pytest.mark.parametrize(
    ("first", "fails_at", "starts"),
    [
        (30, None, [30, 25, 18, 7, 0]),  # 10, 15, 22, 33 of 40 frames, then all
        (30, 18, [30, 25]),
        (0, None, [0]),
        (30, 30, []),
    ],
)
def test_it_goes_backwards_while_it_settles(monkeypatch, first, fails_at, starts) -> None:
    monkeypatch.setattr(between_tops, "_fit_from", lambda _, start: start != fails_at)
    of = SimpleNamespace(frames=SimpleNamespace(times_s=np.arange(40)))
    assert list(between_tops.steps_backwards(of, first)) == starts
