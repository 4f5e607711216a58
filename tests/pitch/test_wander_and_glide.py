"""Shapes that a course may have, over times of other lengths and steps: counts and closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from analyzer.pitch.glide import (
    SIZE_PRIOR,
    candidate_shapes,
    closer_time_constants,
    first_time_constants,
)
from analyzer.pitch.wander import wander_over


@pytest.mark.parametrize(
    ("first_s", "samples", "step_s", "knots"),
    [
        (0.06, 309, 0.01, 22),  # 3.08 s are 20.53 of 0.15 s
        (0.5, 308, 0.01, 21),  # 20.47
        (0.06, 12, 0.03, 3),  # 0.33 s are 2.2
        (0.2, 5, 0.03, 3),  # never fewer
        (0.2, 13, 0.03, 3),  # 2.4
        (0.2, 14, 0.03, 4),  # 2.6
    ],
)
def test_hats_stand_about_every_0_15_s(first_s, samples, step_s, knots) -> None:
    times_s = first_s + step_s * np.arange(samples)
    found = wander_over(times_s)
    assert found.courses.shape == found.integrals.shape == (knots, samples)
    at_s = np.linspace(times_s[0], times_s[-1], knots)
    for knot in range(knots):
        hat = np.interp(times_s, at_s, np.eye(knots)[knot])
        assert found.courses[knot] == pytest.approx(hat, abs=1e-9)
        trapezoids = np.append(0.0, np.cumsum(0.5 * (hat[1:] + hat[:-1])) * step_s)
        assert found.integrals[knot] == pytest.approx(trapezoids, abs=1e-9)


def test_freest_is_the_largest_beside_none() -> None:
    """3 cents, ten times as much at the onset; seven tenths of the probability."""
    times_s = 0.05 + 0.03 * np.arange(80)
    found = wander_over(times_s).freest
    at_s = np.linspace(times_s[0], times_s[-1], len(found.courses))
    gain = 1 + 9 * np.exp(-at_s / 0.25)
    expected = np.outer(gain, gain) * np.exp(-np.abs(at_s[:, None] - at_s) / 0.4)
    (root,) = found.roots
    assert root @ root.T == pytest.approx(expected)
    assert found.sizes == pytest.approx([np.log(2) / 1200 * 3.0])
    assert found.prior == pytest.approx([0.7])


def test_sizes_of_the_wander_leave_no_gap() -> None:
    """From a standard deviation of 0.003 to 3 cents, each about a half of a power of ten on."""
    cents = 1200 / np.log(2) * wander_over(0.05 + 0.03 * np.arange(80)).sizes
    assert (cents[0], cents[-1]) == pytest.approx((0.003, 3.0))
    assert np.diff(np.log10(cents)) == pytest.approx(np.full(cents.size - 1, 0.5), abs=0.03)


@pytest.mark.parametrize(("samples", "first"), [(2450, 49), (99, 1), (100, 2), (40, 1)])
def test_energies_are_one_over_the_first_fiftieth(samples, first) -> None:
    times_s = 0.05 + 0.01 * np.arange(samples)
    powers = np.stack([7.0 * np.exp(-3 * times_s), 0.2 / (1 + times_s)])
    found = candidate_shapes(first_time_constants(), powers, times_s).courses[-2:]
    assert found == pytest.approx(powers / np.mean(powers[:, :first], axis=1)[:, None])


def test_size_of_a_glide_is_expected_in_cents() -> None:
    """Plucks start 0 to 10 cents sharp: that lies within one to two standard deviations."""
    assert 5 <= 1200 / np.log(2) * SIZE_PRIOR <= 10


def test_a_row_of_one_place_stays_as_it_is() -> None:
    """Beyond the longest time constant nothing is looked for, so there is nothing closer."""
    beyond = np.log(3.0) + np.linspace(5.0, 5.1, 13)
    found = closer_time_constants(beyond, np.full(13, 0.01))
    assert found.tolist() == beyond.tolist()
    hardly = first_time_constants()
    assert closer_time_constants(hardly, np.full(17, 0.9e-6 / 17)).tolist() == hardly.tolist()
    assert closer_time_constants(hardly, np.full(17, 1.1e-6 / 17)).size == 13
