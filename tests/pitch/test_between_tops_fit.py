"""What a round believes of a clipped note, from what every frame is made to say."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from clipped_waves import (
    FOLLOWED,
    TIMES_S,
    all_seen,
    believed,
    fitting_of,
)

from analyzer.music import CENTS_PER_NEPER
from analyzer.pitch.between_tops import (
    _fit,
    _renew,
)
from analyzer.pitch.glide import closer_time_constants, first_time_constants

RNG_SEED = 4
EYE = np.eye(FOLLOWED)


def shifted(fitting, known: float, shifts, wavering: float = 0.0):
    """A fit where all frames see each phase off by as much, known to ``known`` radians^-2."""
    count = TIMES_S.size
    fitting.wavering = np.full(FOLLOWED, wavering)
    information = np.tile(known * EYE, (count, 1, 1))
    score = np.tile(known * np.array(shifts), (count, 1))
    before = fitting.waves.phases
    return _fit(fitting, np.arange(count), information, score).phases - before


SHIFTS = [0.2, -0.1, 0.05]


@pytest.mark.parametrize("wavering", [0.0, 0.5])
def test_phases_go_where_they_are_seen(wavering) -> None:
    fitting = fitting_of()
    fitting.moved = 0.29
    found = shifted(fitting, 400.0, SHIFTS, wavering)
    assert found == pytest.approx(np.tile(SHIFTS, (TIMES_S.size, 1)).T, abs=1e-3)


def test_after_a_large_move_phases_are_held_back() -> None:
    """Known to i, 1 / (1/i + v) with a wavering v, beside 25 radians^-2: the share i / (i + 25)."""
    for known, wavering, share in ((75.0, 0.0, 3 / 4), (75.0, 0.04, 3 / 7)):
        fitting = fitting_of()
        fitting.moved = 0.31
        found = shifted(fitting, known, SHIFTS, wavering)
        assert found == pytest.approx(share * np.tile(SHIFTS, (TIMES_S.size, 1)).T, abs=1e-3)


def test_a_glide_that_follows_the_energy_is_taken_for_that() -> None:
    """Power of two decays, which no exponential is: the course is g times it, from 1 on."""
    waves = believed(level=np.array([-1.0, -1.2, -3.0, -4.0, -9.0]),
                     slope=np.array([-1.0, -9.0, -1.0, -1.0, 0.0]))  # fmt: skip
    fitting = fitting_of(waves)
    power = np.sum(np.exp(2 * (waves.level[:, None] + waves.slope[:, None] * TIMES_S)), axis=0)
    power /= power[0]
    steps = 0.5 * (power[1:] + power[:-1]) * np.diff(TIMES_S)
    integral = np.concatenate([[0.0], np.cumsum(steps)])
    turns = 3e-3 * waves.centres[:, None] * integral
    information = np.tile(1e7 * EYE, (TIMES_S.size, 1, 1))
    fitting.moved = 0.0
    numbers = np.arange(TIMES_S.size)
    fit = _fit(fitting, numbers, information, 1e7 * turns.T)
    assert fit.probabilities[-1] > 0.9
    assert fit.course_cents == pytest.approx(3e-3 * CENTS_PER_NEPER * power, abs=0.02)


def test_a_round_moves_the_belief_by_what_is_seen() -> None:
    """The root mean square over the frames of the partial that moves most; gains by polyfit."""
    fitting = fitting_of()
    before = fitting.waves.phases.copy()
    bump = 0.2 * np.sin(9 * TIMES_S) * np.array([[1.0], [0.5], [-1.0]])
    seen = all_seen(fitting, 1e6 * EYE, 1e6 * np.array([0.2, -0.06, 0.01]), bump)
    _renew(fitting, np.arange(TIMES_S.size), seen)
    turned = fitting.waves.phases - before
    assert turned == pytest.approx(np.tile([0.2, -0.06, 0.01], (TIMES_S.size, 1)).T, abs=1e-4)
    assert fitting.moved == pytest.approx(0.2, abs=1e-4)
    assert fitting.wavering == pytest.approx(np.zeros(3), abs=1e-6)
    logs = np.log(np.abs([each.amplitudes[:3] for each in seen])).T
    for k in range(3):
        line = np.polyfit(TIMES_S, logs[k], 1)
        assert fitting.waves.slope[k] == pytest.approx(line[0])
        assert fitting.waves.gains[k] == pytest.approx(
            logs[k] - np.polyval(line, TIMES_S), abs=1e-4
        )


def test_what_a_partial_does_by_itself_is_believed_of_it_alone() -> None:
    """Phases that sway each in its own way: known to 1e5 radians^-2, they are followed."""
    fitting = fitting_of()
    before = fitting.waves.phases.copy()
    sway = 0.1 * np.sin(np.array([[5.0], [7.0], [9.0]]) * TIMES_S + [[0.0], [2.0], [4.0]])
    seen = [replace(all_seen(fitting, 1e5 * EYE, 1e5 * row)[0]) for row in sway.T]
    _renew(fitting, np.arange(TIMES_S.size), seen)
    assert np.all(fitting.wavering > 1e-3)
    assert fitting.waves.phases - before == pytest.approx(sway, abs=0.02)


def test_gains_are_held_to_a_straight_decay_by_three_tenths() -> None:
    """The mean of a process of the variance 0.09 given logarithms known to one over 20."""
    fitting = fitting_of()
    bump = 0.2 * np.sin(9 * TIMES_S) * np.array([[1.0], [0.5], [-1.0]])
    seen = all_seen(fitting, 20.0 * EYE, np.zeros(FOLLOWED), bump)
    _renew(fitting, np.arange(TIMES_S.size), seen)
    prior = 0.09 * np.exp(-np.abs(TIMES_S[:, None] - TIMES_S) / 0.3)
    among = prior + np.eye(TIMES_S.size) / 20.01
    logs = np.log(np.abs([each.amplitudes[:3] for each in seen])).T
    for k in range(3):
        off = logs[k] - np.polyval(np.polyfit(TIMES_S, logs[k], 1), TIMES_S)
        assert fitting.waves.gains[k] == pytest.approx(
            prior @ np.linalg.solve(among, off), abs=1e-6
        )


@pytest.mark.parametrize(("shift", "closer"), [(0.12, False), (0.08, True)])
def test_glides_are_looked_for_closer_once_all_is_settled(shift, closer) -> None:
    """A tenth of a radian is the border."""
    fitting = fitting_of()
    fit = _renew(
        fitting, np.arange(TIMES_S.size), all_seen(fitting, 1e6 * EYE, 1e6 * shift * EYE[0])
    )
    row = first_time_constants()
    expected = closer_time_constants(row, fit.probabilities[1:-1]) if closer else row
    assert fitting.log_tau.tolist() == expected.tolist()
