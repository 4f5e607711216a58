"""Second lines found and taken out of a fit, or left alone: truth, coverage, and what stays."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from second_lines_made import (
    CENT,
    OMEGA,
    RATIOS,
    TIMES_S,
    bends_of_their_own,
    envelopes,
    noise_of,
    two_lines,
)

from analyzer.pitch import second_lines
from analyzer.pitch.phases import Rest, fit_phases
from analyzer.pitch.second_lines import with_second_lines


def found_with(values, standing=None):
    """The fit with second lines, and without."""
    say = np.ones(8) if standing is None else standing
    given = envelopes(values)
    fit, rest = fit_phases(given, say)
    again, left = with_second_lines(given, fit, rest, say)
    return fit, again, rest, left


@pytest.mark.parametrize("cents", [0.4, -0.6, 0.9])
def test_slopes_are_those_of_the_first_line_and_as_sure_as_said(cents) -> None:
    """24 seeds of noise: the errors over their standard deviations have a mean square near 1.

    Of 24 x 8 that share some of their noise; a factor of two in any variance is far outside.
    """
    true, ratios = 0.8 * CENT, []
    for seed in range(24):
        fit, again, _, _ = found_with(two_lines(cents * CENT, offset=true) + noise_of(seed, 1e-4))
        assert again is not fit
        error = again.offsets - true
        ratios.append(error / np.sqrt(np.diag(again.covariance)))
        assert np.max(np.abs(fit.offsets - true)) > 10 * np.max(np.abs(error))
    assert np.mean(np.square(ratios)) == pytest.approx(1.0, abs=0.45)
    assert abs(np.mean(ratios)) < 0.5


def test_what_is_left_has_both_lines_and_stands_still() -> None:
    """The first line's run is taken out; amplitudes stay as they were."""
    values = two_lines(0.6 * CENT, offset=0.8 * CENT) + noise_of(1, 1e-4)
    _, again, rest, left = found_with(values)
    assert np.abs(left.values) == pytest.approx(np.abs(rest.values), rel=1e-9)
    both = 1 + RATIOS * np.exp((0.6j * CENT * OMEGA - 0.2) * TIMES_S)
    turned = np.angle(left.values / both)
    assert turned - np.mean(turned, axis=1, keepdims=True) == pytest.approx(0.0, abs=0.1)
    assert again.course_cents == pytest.approx(np.zeros(100), abs=0.02)


def test_one_line_is_left_as_it_is() -> None:
    values = two_lines(0.0, ratios=0.0 * RATIOS, offset=0.8 * CENT) + noise_of(1, 1e-3)
    fit, again, rest, left = found_with(values)
    assert (again, left) == (fit, rest)


def test_second_lines_that_explain_too_little_are_not_taken() -> None:
    """They are there, and a start is found; but a tenth of the square is something else."""
    values = two_lines(0.9 * CENT) * bends_of_their_own(8, 0.09) + noise_of(1, 1e-4)
    given = envelopes(values)
    fit, rest = fit_phases(given, np.ones(8))
    none = second_lines._Second(0.0, 0.2, np.zeros((8, 1), complex))
    alone = second_lines._left(
        rest.values, replace(given, values=rest.values), none, np.ones((8, 1))
    )
    assert second_lines._start(alone, replace(given, values=rest.values)) is not None
    assert with_second_lines(given, fit, rest, np.ones(8))[0] is fit


def test_slow_waves_of_single_partials_are_in_the_covariance() -> None:
    """Ten times the noise and more, but slow: without them the square would be tens and more."""
    ratios = []
    for seed in range(12):
        bends = bends_of_their_own(seed, 0.01)
        _, again, _, _ = found_with(
            two_lines(0.9 * CENT, offset=0.8 * CENT) * bends + noise_of(seed, 1e-4)
        )
        ratios.append((again.offsets - 0.8 * CENT) / np.sqrt(np.diag(again.covariance)))
    assert np.mean(np.square(ratios)) < 4


def test_a_partial_without_a_say_changes_nothing() -> None:
    values = two_lines(0.6 * CENT) + noise_of(1, 1e-3)
    say = np.array([1.0, 1, 1, 1, 1, 1, 1, 1e-9])
    _, one, _, _ = found_with(values, say)
    values[-1] = values[-1][::-1]
    _, other, _, _ = found_with(values, say)
    assert one.offsets[:7] == pytest.approx(other.offsets[:7], abs=1e-9)


def test_rest_of_another_pitch_is_the_same_but_turned() -> None:
    """The kind of what is given is kept: its times and its noise."""
    values = two_lines(0.6 * CENT) + noise_of(1, 1e-3)
    _, _, rest, left = found_with(values)
    assert isinstance(left, Rest)
    assert left.times_s is rest.times_s
    assert left.noise is rest.noise
