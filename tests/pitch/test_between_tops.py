"""How partials of a clipped note are followed: each stage by its closed form, then a made note."""

from __future__ import annotations

import numpy as np
import pytest
from clipped_waves import (
    FOLLOWED,
    OMEGA,
    TIMES_S,
    all_seen,
    believed,
    fitting_of,
)

from analyzer.pitch.between_tops import (
    _give_up,
    _left,
    _look,
    _lost,
    _own_course,
    _wavering,
)
from analyzer.pitch.true_samples import normal_equations

RNG_SEED = 4
EYE = np.eye(FOLLOWED)


# --- what one frame's equations rest on


def test_equations_are_those_of_the_present_belief() -> None:
    course = 1e-3 * np.exp(-TIMES_S / 0.2)
    fitting = fitting_of(believed(course=course))
    waves = fitting.waves
    found = fitting.equations(7)
    slope = (course[8] - course[6]) / (TIMES_S[8] - TIMES_S[6])
    expected = normal_equations(fitting.frames, 7, waves.omega, -waves.slope, course[7], slope)
    assert found.matrix == pytest.approx(expected.matrix, rel=1e-9)
    assert found.values == pytest.approx(expected.values, rel=1e-9)
    assert found.omega == pytest.approx(waves.omega * (1 + course[7]))


@pytest.mark.parametrize(("turn", "anew"), [(0.0199, False), (-0.0199, False), (0.0201, True)])
@pytest.mark.parametrize("sign", [1, -1])
def test_equations_are_kept_until_a_wave_turns_by_a_fiftieth(turn, anew, sign) -> None:
    """Radians at the frame's end; the highest wave turns most, which here is not followed."""
    fitting = fitting_of(believed(course=np.full(TIMES_S.size, 0.004)))
    first = fitting.equations(3)
    assert fitting.equations(3) is first
    half_s = fitting.frames.from_middle_s[-1]
    fitting.waves.course[3] += sign * turn / (np.max(OMEGA) * half_s)
    assert (fitting.equations(3) is not first) == anew


def test_a_frame_without_true_samples_is_passed_over() -> None:
    fitting = fitting_of()
    fitting.frames.true[[6, 9]] = False
    assert fitting.equations(6) is None
    assert fitting.equations(6) is None  # and stays so
    numbers, seen = _look(fitting, 5)
    assert numbers.tolist() == [n for n in range(5, TIMES_S.size) if n not in {6, 9}]
    assert len(seen) == numbers.size


# --- what is left of the phases, and what a partial does by itself


def some_information(frames: int):
    rng = np.random.default_rng(RNG_SEED)
    half = rng.normal(size=(frames, FOLLOWED, FOLLOWED))
    return half @ half.transpose(0, 2, 1) + 50 * EYE, rng


def test_what_is_left_is_what_is_seen_less_what_is_fitted() -> None:
    """Matrix by matrix; of each phase a hundredth is known at least."""
    information, rng = some_information(6)
    score, turned = rng.normal(size=(6, FOLLOWED)), rng.normal(size=(FOLLOWED, 6))
    left, variance = _left(information, score, turned)
    for frame in range(6):
        covariance = np.linalg.inv(information[frame] + 1e-2 * EYE)
        assert left[frame] == pytest.approx(covariance @ score[frame] - turned[:, frame])
        assert variance[frame] == pytest.approx(np.diag(covariance))


def test_what_nothing_is_known_of_has_a_variance_of_a_hundred() -> None:
    _, variance = _left(np.zeros((2, 3, 3)), np.zeros((2, 3)), np.zeros((3, 2)))
    assert variance == pytest.approx(np.full((2, 3), 100.0))
    large = np.diag([1e13, 0.0, 0.0])[None]  # beside it 1e-11 of the trace can be told
    assert _left(large, np.zeros((1, 3)), np.zeros((3, 1)))[1][0, 1] == pytest.approx(1 / 100.01)


def test_own_course_is_the_mean_of_a_process_given_what_was_seen() -> None:
    """Conditional normal of the joint one, each partial alone: correlation e^(-|dt| / 0.3 s)."""
    rng = np.random.default_rng(RNG_SEED)
    seen_s, times_s = TIMES_S[[2, 3, 8, 9, 15]], TIMES_S
    left, variance = rng.normal(size=(5, 2)), rng.uniform(0.01, 0.5, (5, 2))
    size = np.array([0.3, 0.02])
    found = _own_course(left, variance, size, seen_s, times_s)
    at_s = np.concatenate([times_s, seen_s])
    prior = np.exp(-np.abs(at_s[:, None] - at_s) / 0.3)
    count = times_s.size
    for k in range(2):
        joint = size[k] * prior
        among = joint[count:, count:] + np.diag(variance[:, k])
        expected = joint[:count, count:] @ np.linalg.inv(among) @ left[:, k]
        assert found[k] == pytest.approx(expected)


def test_wavering_of_pieces_that_stand_off() -> None:
    """Pieces of n = 8 frames at +-c with variance v: n (c^2 - v / n), and none below the median.

    Two frames at the beginning, which fill no piece, do not count.
    """
    t = 0.038 * np.arange(26)  # 0.3 s are 7.9 frames
    signs = np.concatenate([[50.0, 50.0], np.repeat([1.0, -1.0, 1.0], 8)])
    off, variance = np.array([0.01, 0.3, 0.2]), np.array([0.002, 0.01, 0.004])
    found = _wavering(signs[:, None] * off, np.tile(variance, (26, 1)), t)
    expected = 8 * off**2 - variance
    assert found == pytest.approx(np.maximum(expected, np.median(expected)))
    assert found[0] == found[2] < found[1]


def test_wavering_beside_noise_alone_is_none() -> None:
    """Less than the noise lets expect: nothing, and not less than nothing."""
    t = 0.038 * np.arange(24)
    signs = np.repeat([1.0, -1.0, 1.0], 8)[:, None]
    assert np.all(_wavering(signs * [0.01, 0.02, 0.01], np.full((24, 3), 0.05), t) == 0)


def test_wavering_heeds_known_phases_alone_by_their_weights() -> None:
    """sum (w x)^2 - sum w over (sum w)^2, piece by piece, by a loop."""
    rng = np.random.default_rng(RNG_SEED)
    t = 0.1 * np.arange(12)
    left, variance = rng.normal(size=(12, 1)), rng.uniform(0.02, 0.18, (12, 1))
    pull, known = [], []
    for first in (0, 3, 6, 9):
        piece = [n for n in range(first, first + 3) if variance[n, 0] < 0.1]
        pull.append(sum(left[n, 0] / variance[n, 0] for n in piece))
        known.append(sum(1 / variance[n, 0] for n in piece))
    pull, known = np.array(pull), np.array(known)
    expected = 3 * np.sum(pull**2 - known) / np.sum(known**2)
    assert _wavering(left, variance, t) == pytest.approx(expected)
    assert _wavering(left, np.full((12, 1), 0.11), t) == 0  # nothing is known


def test_frames_further_apart_than_a_piece_are_one_each() -> None:
    left, variance = np.array([[0.5], [-0.5], [0.5]]), np.full((3, 1), 0.01)
    assert _wavering(left, variance, np.array([0.0, 1.0, 2.0])) == pytest.approx(0.25 - 0.01)
    close = _wavering(np.full((3, 1), 0.5), variance, np.array([0.0, 0.04, 0.08]))  # one piece
    assert close == pytest.approx(3 * 0.25 - 0.01)


# --- which are given up


def test_a_partial_is_lost_that_is_too_faint() -> None:
    """Below 300 radians^-2 over all frames."""
    fitting = fitting_of()
    seen = all_seen(fitting, np.diag([301.0, 299.0, 900.0]) / TIMES_S.size, np.zeros(3))
    for patient, moved in ((True, 1.0), (False, 0.05), (False, 1.0)):
        fitting.moved = moved
        assert _lost(fitting, seen, patient=patient).tolist() == [False, True, False]


@pytest.mark.parametrize(
    ("wavering", "lost"),
    [
        ([0.01, 0.26, 0.02], [False, True, False]),
        ([0.01, 0.24, 0.02], [False, False, False]),  # not a quarter
        ([0.01, 0.46, 0.05], [False, True, False]),  # over nine times the median
        ([0.06, 0.62, 0.07], [False, False, False]),  # not nine times it
        ([0.06, 0.64, 0.07], [False, True, False]),
    ],
)
def test_a_partial_is_lost_that_keeps_the_others_from_settling(wavering, lost) -> None:
    fitting = fitting_of()
    fitting.wavering = np.array(wavering)
    seen = all_seen(fitting, 1e4 * EYE, np.zeros(3))
    fitting.moved = 0.11
    assert _lost(fitting, seen, patient=False).tolist() == lost
    assert not np.any(_lost(fitting, seen, patient=True))
    fitting.moved = 0.09
    assert not np.any(_lost(fitting, seen, patient=False))


def test_a_partial_given_up_leaves_the_belief() -> None:
    fitting = fitting_of()
    fitting.wavering, fitting.standing = np.array([1.0, 2.0, 3.0]), np.array([0.1, 0.2, 0.3])
    fitting.equations(2)
    _give_up(fitting, np.array([True, False, False]))
    assert (fitting.wavering.tolist(), fitting.standing.tolist()) == ([2, 3], [0.2, 0.3])
    assert fitting.waves.followed == 2
    assert fitting.waves.numbers.tolist() == [2, 3, 1, 4, 0]
    assert fitting.equations(2).omega == pytest.approx(OMEGA[[1, 2, 0, 3, 4]])
