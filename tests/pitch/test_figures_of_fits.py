"""The figures of a pluck from fits that are given: units, clocks, intervals, what is unknown."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from given_fits import NUMBERS, TIMES_S, fit_of, law_of, peaks_of

from analyzer.pitch.followed import Followed
from analyzer.pitch.phases import Rest
from analyzer.pitch.settle import _drift_cents, _glide_time_s, _late_slope, figures_of, slope_of
from analyzer.pitch.stiff_string import StringFit


def followed(numbers=NUMBERS, course=None, *, whole=True, clipped=False) -> Followed:
    count = len(numbers)
    course = 5 * np.exp(-(TIMES_S - TIMES_S[0]) / 0.4) if course is None else course
    string = StringFit(104.0, 0.3, 1e-4, 2e-5, 0.07, np.zeros(count), np.ones(count) / count)
    noise = 1e-3 * np.random.default_rng(1).normal(size=(count, TIMES_S.size))
    rest = Rest(1 + 1j * noise, np.full(count, 1e-6), TIMES_S)
    phases = fit_of(np.eye(count) * 1e-9, np.full(count, 1e-3), course)
    envelopes = law_of(numbers=numbers)
    return Followed(peaks_of(110.0, numbers), envelopes, phases, rest, string, 1.05, clipped, whole)


def test_figures_are_in_the_recorders_time() -> None:
    """A clock 1.05 times as fast: frequencies are higher by that, and times shorter."""
    found = figures_of(followed())
    assert found.settled_hz == pytest.approx(1.05 * 104.0)
    assert found.first_partial_hz == pytest.approx(1.05 * 110.0 * 1.001)
    assert found.glide_cents == pytest.approx(5.0)
    assert found.glide_time_s == pytest.approx(0.4 / 1.05, abs=0.03)
    assert (found.misfit_cents, found.stiffness, found.stiffness_uncertainty) == (0.07, 1e-4, 2e-5)
    assert (found.partials, found.clipped) == (6, False)
    assert found.course.times_s[-1] == pytest.approx(TIMES_S[-1] / 1.05, abs=1e-4)
    assert len(found.track.times_s) > 30
    line = figures_of(followed(course=2.0 - 0.5 * TIMES_S))
    assert line.late_slope_cents_per_s == pytest.approx(-0.5 * 1.05)


def test_interval_has_the_clocks_and_the_glides_share() -> None:
    """Independent: a clock known to 0.0005 cents, a glide's rest to 0.4 % of it, 1.96 times."""
    found = figures_of(followed(course=np.linspace(50.0, 30.0, TIMES_S.size)))
    expected = math.sqrt(0.3**2 + (1.96 * 0.0005) ** 2 + (1.96 * 0.004 * 30.0) ** 2)
    assert found.settled_uncertainty_cents == pytest.approx(expected)
    sure = followed(course=np.zeros(TIMES_S.size))
    sure = replace(sure, string=replace(sure.string, uncertainty_cents=0.0))
    assert figures_of(sure).settled_uncertainty_cents == pytest.approx(1.96 * 0.0005)


def test_what_was_not_heard_is_not_a_number() -> None:
    late = figures_of(followed(whole=False, clipped=True))
    assert late.clipped
    assert all(map(math.isnan, (late.glide_cents, late.glide_time_s, late.sustain_drift_cents)))
    two = figures_of(followed(numbers=[2.0, 3.0]))
    assert all(map(math.isnan, (two.stiffness, two.stiffness_uncertainty, two.first_partial_hz)))
    three = figures_of(followed(numbers=[1.0, 2.0, 3.0]))
    assert (three.stiffness, three.stiffness_uncertainty) == (1e-4, 2e-5)


def test_beating_is_in_the_recorders_time() -> None:
    """1.2 Hz on a clock 1.05 times as fast."""
    note = followed()
    turned = np.exp(2j * np.pi * NUMBERS[:, None] * 1.2 * TIMES_S)
    rest = replace(note.rest, values=np.exp(-0.8 * TIMES_S) * (1 + 0.4 * turned))
    assert figures_of(replace(note, rest=rest)).beat_hz == pytest.approx(1.2 * 1.05, abs=0.03)


def test_slope_is_that_of_a_straight_line() -> None:
    values = np.random.default_rng(2).normal(size=TIMES_S.size)
    assert slope_of(TIMES_S, values) == pytest.approx(np.polyfit(TIMES_S, values, 1)[0])


@pytest.mark.parametrize(("start_cents", "is_glide"), [(0.099, False), (0.1001, True)])
def test_less_than_a_tenth_of_a_cent_is_no_glide(start_cents, is_glide) -> None:
    course = start_cents * np.exp(-TIMES_S / 0.3)
    assert math.isfinite(_glide_time_s(TIMES_S, course * np.exp(TIMES_S[0] / 0.3))) == is_glide


@pytest.mark.parametrize(("start", "slope"), [(1.0, 4.0), (0.3, -4.0), (-1.0, -2.0)])
def test_a_course_that_rises_or_turns_is_not_drawn_out_backwards(start, slope) -> None:
    """From 0.2 s on, a line: before that its start is taken; the mean from 0.1 to 0.3 s."""
    times_s = 0.2 + 0.001 * np.arange(3000)
    mean = start + slope * 0.1 / 2 / 2
    assert _drift_cents(times_s, start + slope * (times_s - 0.2)) == pytest.approx(-mean, rel=0.02)


def test_a_course_is_drawn_out_backwards_as_its_first_tenth_of_a_second_falls() -> None:
    """0.2 + 0.4 e^(-t / 0.1 s) from 0.2 s on falls there by (0.2 + 0.4 / e) / 0.6, and on as that.

    In steps of 0.05 s, with straight lines between them; the mean from 0.1 to 0.3 s. Of the 41
    moments that it is taken over the ends count whole: 1 / 41 of what these are off is the error.
    """
    times_s = 0.2 + 0.05 * np.arange(60)
    course = 0.2 + 0.4 * np.exp(-(times_s - 0.2) / 0.1)
    t = np.linspace(0.1, 0.3, 4001)
    before = 0.6 * (0.6 / (0.2 + 0.4 / math.e)) ** ((0.2 - t) / 0.1)
    drawn = np.where(t < 0.2, before, np.interp(t, times_s, course))
    expected = np.mean(drawn)
    off = abs(0.5 * (drawn[0] + drawn[-1]) - expected) / 40
    assert _drift_cents(times_s, course) == pytest.approx(-expected, abs=off)


def test_time_of_a_glide_is_from_the_first_sample_to_the_first_below() -> None:
    """e^(-t / 0.25 s) in steps of 0.1 s."""
    times_s = 0.05 + 0.1 * np.arange(20)
    assert _glide_time_s(times_s, 6 * np.exp(-times_s / 0.25)) == pytest.approx(0.3)


@pytest.mark.parametrize(
    ("cents", "late"), [([9.0, 7.0, 1.0, 2.0, 5.0], 3), ([9.0, 7.0, 8.0, 1.0, 2.0, 4.0], 3)]
)
def test_late_is_from_the_middle_on(cents, late) -> None:
    times_s = 3.0 + np.arange(len(cents))
    expected = np.polyfit(times_s[-late:], cents[-late:], 1)[0]
    assert _late_slope(times_s, np.array(cents)) == pytest.approx(expected)
