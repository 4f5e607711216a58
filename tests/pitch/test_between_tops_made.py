"""A made note is followed through its flat tops, from its end backwards: the truth is known."""

from __future__ import annotations

import numpy as np
import pytest
from clipped_waves import (
    FOLLOWED,
    GLIDE,
    OMEGA,
    SLOPE,
    TAU_S,
    TIMES_S,
    believed,
    fitting_of,
    free_frames,
    in_its_frames,
    note,
    phases_of,
)

from analyzer.music import CENTS_PER_NEPER
from analyzer.pitch import between_tops
from analyzer.pitch.between_tops import _fit_from, steps_backwards
from analyzer.pitch.glide import first_time_constants
from analyzer.pitch.phases import PhaseFit

OFF = 4e-4  # relative: where the bands took their centres
COUNT = TIMES_S.size
FIRST = COUNT - 10


def clipped_frames(glide: float = GLIDE, top: float = 0.22):
    return in_its_frames(np.clip(note(glide), -top, top))


def at_first(turn: float = 0.0):
    """What the note's end lets believe: a steady pitch, right there but for ``turn`` radians."""
    true = phases_of(GLIDE, OFF)
    slopes = -OFF * OMEGA[:FOLLOWED, None]
    line = true[:, -5:-4] + slopes * (TIMES_S - TIMES_S[-5]) + turn
    waves = believed(phases=line, off=OFF)
    waves.omega[3] *= 1.002  # the one that is not followed is not quite where it is thought
    return waves


@pytest.fixture(scope="module")
def done():
    frames = clipped_frames()
    assert frames.true_share[0] < 0.7  # much is clipped at first, and a little at the end
    assert frames.true_share[-1] < 1
    fitting = fitting_of(at_first(0.15), frames)
    return fitting, list(steps_backwards(fitting, FIRST))


def test_each_step_takes_half_as_much_again(done) -> None:
    """10 frames from the end, then 15, then 22 or 23, ..."""
    lengths = [10]
    while lengths[-1] < COUNT:
        lengths.append(min(COUNT, round(1.5 * lengths[-1])))
    assert done[1] == [COUNT - length for length in lengths]


def test_phases_course_and_pitch_are_found(done) -> None:
    waves = done[0].waves
    off = waves.phases - phases_of(GLIDE, OFF)
    turns = np.round(np.mean(off, axis=1) / (2 * np.pi))
    assert off - 2 * np.pi * turns[:, None] == pytest.approx(0, abs=0.02)
    cents = CENTS_PER_NEPER * GLIDE * np.exp(-TIMES_S / TAU_S)
    assert CENTS_PER_NEPER * waves.course == pytest.approx(cents, abs=0.1)
    assert CENTS_PER_NEPER * np.log(waves.omega[:3] / OMEGA[:3]) == pytest.approx(0, abs=0.1)
    assert CENTS_PER_NEPER * np.log(waves.omega[3] / OMEGA[3]) == pytest.approx(0, abs=0.5)  # law
    assert waves.slope[:3] == pytest.approx(SLOPE[:3], abs=0.05)
    assert waves.gains[:, FIRST:] == pytest.approx(0, abs=0.01)  # where least is clipped
    assert waves.gains == pytest.approx(0, abs=0.3)  # as it is expected beforehand


def test_it_ends_settled_with_glides_looked_for_closer(done) -> None:
    fitting = done[0]
    assert fitting.moved < 0.1
    assert fitting.log_tau.size < first_time_constants().size
    assert fitting.log_tau[0] < np.log(TAU_S) < fitting.log_tau[-1]


def test_noise_is_not_followed() -> None:
    rng = np.random.default_rng(3)
    fitting = fitting_of(at_first(), in_its_frames(rng.normal(size=8000)))
    assert list(steps_backwards(fitting, FIRST)) == []


def test_a_partial_that_is_not_there_is_given_up_and_the_others_are_found() -> None:
    """The belief is 0.15 radians off, so that there is more than one round."""
    samples = note(noise=2e-3)
    samples[:2] = 10.0, -10.0
    t = np.arange(samples.size) / 8000 - 0.05
    third = np.exp(-1.6 - 2.2 * t) * np.cos(2.0 + OMEGA[2] * t)
    fitting = fitting_of(believed(off=OFF, phases=phases_of(0.0, OFF) + 0.15),
                         in_its_frames(samples - np.where(t >= 0, third, 0)))  # fmt: skip
    assert _fit_from(fitting, 0)
    assert fitting.waves.numbers.tolist() == [1, 2, 3, 4, 0]
    assert fitting.waves.followed == 2
    assert CENTS_PER_NEPER * np.log(fitting.waves.omega[:4] / OMEGA[:4]) == pytest.approx(0, abs=1)


def test_a_belief_that_is_right_settles_in_place() -> None:
    fitting = fitting_of(believed(off=OFF, phases=phases_of(0.0, OFF)), free_frames())
    before = fitting.waves.phases.copy()
    assert _fit_from(fitting, 0)
    assert fitting.waves.phases == pytest.approx(before, abs=5e-3)
    assert fitting.moved < 5e-3


# --- when a step is over


def test_five_frames_are_the_fewest() -> None:
    fitting = fitting_of()
    assert not _fit_from(fitting, TIMES_S.size - 4)
    assert fitting.moved == np.inf  # nothing was renewed
    _fit_from(fitting, TIMES_S.size - 5)
    assert fitting.moved < np.inf


def rounds(monkeypatch, moved: float, wavering: float) -> tuple[bool, list[int]]:
    """Whether a step is taken whose rounds all move as much, and how many are followed in each.

    The first partial is unsteady, and half a percent sharp. The law that the rest follow, near
    enough that of all, must not heed it once it is given up.
    """
    fitting, followed = fitting_of(believed(off=OFF)), []

    def renew(fitting, _numbers, _seen) -> PhaseFit:
        if fitting.waves.followed < FOLLOWED and len(followed) == 5:
            assert fitting.waves.omega[3] == pytest.approx(OMEGA[3] * (1 + OFF), rel=1e-3)
        followed.append(fitting.waves.followed)
        fitting.moved = moved
        fitting.wavering = np.append(wavering, np.full(followed[-1] - 1, 0.01))
        nothing = np.zeros(0)
        offsets, covariance = np.zeros(followed[-1]), 1e-8 * np.eye(followed[-1])
        offsets[0] = 5e-3
        return PhaseFit(offsets, covariance, TIMES_S, nothing, nothing, nothing)

    monkeypatch.setattr(between_tops, "_renew", renew)
    return _fit_from(fitting, 5), followed


@pytest.mark.parametrize(("moved", "taken"), [(0.45, True), (0.55, False)])
def test_a_step_that_never_settles_is_taken_where_it_is_near(monkeypatch, moved, taken) -> None:
    found, followed = rounds(monkeypatch, moved, 0.01)
    assert found == taken
    assert followed == [3] * 12


def test_a_step_ends_with_the_round_that_settles(monkeypatch) -> None:
    assert rounds(monkeypatch, 0.09, 0.01) == (True, [3])


def test_an_unsteady_partial_has_four_rounds_to_settle(monkeypatch) -> None:
    """In the fifth the first is given up, then those that come first by now."""
    found, followed = rounds(monkeypatch, 0.2, 0.5)
    assert followed[:6] == [3, 3, 3, 3, 3, 2]
    assert found
