"""The figures that are read off the fitted course of the pitch, where the course is known."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pluck_model import PluckModel

from analyzer.pitch.note import cut_note
from analyzer.pitch.settle import (
    SettledPitch,
    _course,
    _drift_cents,
    _faint_from_s,
    _glide_time_s,
    _late_slope,
    settle,
)
from analyzer.plucks import find_pluck
from analyzer.recording.reading import open_recording

TIMES_S = np.linspace(0.05, 3.05, 601)


def settled(path) -> SettledPitch:
    take = open_recording(path)
    return settle(cut_note(take, find_pluck(take)))


def falling(cents: float, tau_s: float, times_s=TIMES_S) -> np.ndarray:
    return cents * np.exp(-times_s / tau_s)


def test_glide_and_first_partial_of_a_pluck(write_pluck) -> None:
    """12 cents with 0.3 s; what is heard begins some hundredths of a second after the onset."""
    found = settled(write_pluck("p.wav", PluckModel(196.0, 1e-4, 12.0, 0.3)))
    assert 1200 * math.log2(found.first_partial_hz / 196.0) == pytest.approx(0, abs=0.1)
    assert found.glide_time_s == pytest.approx(0.3, rel=0.1)
    at_s, cents = np.array(found.course.times_s), np.array(found.course.cents)
    assert cents == pytest.approx(falling(12.0, 0.3, at_s), abs=0.3)
    assert found.glide_cents == pytest.approx(falling(12.0, 0.3, at_s[0]), abs=0.3)


def test_note_without_a_glide_has_no_time_of_it(write_pluck) -> None:
    assert math.isnan(settled(write_pluck("p.wav", PluckModel(196.0, 1e-4, 0.0))).glide_time_s)


def test_note_without_its_first_partial_says_so(write_pluck) -> None:
    model = PluckModel(82.4, 1e-4, 4.0, first_partial_db=-90)
    found = settled(write_pluck("p.wav", model))
    assert math.isnan(found.first_partial_hz)
    assert 1200 * math.log2(found.settled_hz / 82.4) == pytest.approx(0, abs=0.1)


@pytest.mark.parametrize("tau_s", [0.1, 0.25, 1.0])
def test_time_of_a_glide_is_to_one_over_e(tau_s) -> None:
    assert _glide_time_s(TIMES_S, falling(6.0, tau_s)) == pytest.approx(tau_s, abs=0.006)


def test_a_glide_that_never_falls_so_far_has_no_time() -> None:
    assert math.isnan(_glide_time_s(TIMES_S, np.linspace(6, 4, TIMES_S.size)))


@pytest.mark.parametrize("first_s", [0.05, 0.14])
def test_drift_of_an_exponential_is_its_mean_from_0_1_to_0_3_s(first_s) -> None:
    """Closed form; on the clock of a low string it is drawn out backwards from 0.14 s."""
    times_s = np.linspace(first_s, first_s + 3, 6001)
    mean = 6.0 * 0.25 / 0.2 * (math.exp(-0.1 / 0.25) - math.exp(-0.3 / 0.25))
    assert _drift_cents(times_s, falling(6.0, 0.25, times_s)) == pytest.approx(-mean, rel=2e-3)


def test_late_slope_is_that_of_the_second_half() -> None:
    middle_s = 0.5 * (TIMES_S[0] + TIMES_S[-1])
    course = np.where(middle_s > TIMES_S, 50.0, -0.7 * TIMES_S)
    assert _late_slope(TIMES_S, course) == pytest.approx(-0.7)


def test_course_is_finest_where_it_falls() -> None:
    found = _course(TIMES_S, falling(6.0, 0.25))
    at_s = np.array(found.times_s)
    assert (at_s[0], at_s[-1]) == pytest.approx((0.05, 3.05))
    assert found.cents == pytest.approx(falling(6.0, 0.25, at_s), abs=2e-3)
    assert len(at_s) == len(found.cents) == 32
    for values in (found.times_s, found.cents):  # to 0.1 ms and 0.0001 cents, neither more nor less
        assert [round(each, 4) for each in values] == list(values)
        assert [round(each, 3) for each in values] != list(values)
    steps = np.diff(at_s)
    assert steps[-1] > 10 * steps[0]
    assert np.diff(steps) == pytest.approx(np.mean(np.diff(steps)), abs=2e-4)  # as a square


def test_a_note_ends_where_its_partials_have_died_away() -> None:
    """Power e^(-2 t / 0.3): the last sample whose mean over 0.155 s is within 45 dB of the first's.

    Means over 31 samples are the power times a sum of its ratios; of the first half only at first.
    """
    values = np.exp(-TIMES_S / 0.3) * np.ones((2, 1)) + 0j
    ratio = math.exp(-2 * 0.005 / 0.3)
    within = sum(ratio**n for n in range(-15, 16)) / 31
    first = sum(ratio**n for n in range(16)) / 16
    steps = int(math.log(10**-4.5 * first / within) / math.log(ratio))
    assert _faint_from_s(values, TIMES_S) == TIMES_S[steps]
