"""What stands in the partials' envelopes, noise, waves and decay, against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest

from analyzer.pitch import envelopes as envelopes_module
from analyzer.pitch.envelopes import (
    Envelopes,
    block_means,
    block_size,
    decaying_powers,
    first_noise,
    noise_of_steps,
    passed,
    slow_waves,
    smoothed,
)

STEP_S = 0.005
TIMES_S = np.arange(400) * STEP_S


def envelopes(values, half_hz=None, centres_hz=None) -> Envelopes:
    values = np.atleast_2d(np.asarray(values, dtype=complex))
    centres = 100.0 * np.arange(1, len(values) + 1) if centres_hz is None else centres_hz
    return Envelopes(values, centres, np.arange(values.shape[1]) * STEP_S, half_hz)


@pytest.mark.parametrize("steps", [(3, 1, 2, 4), (3, 1, 2, 4, 5)])
def test_noise_from_second_differences(steps) -> None:
    """Of independent samples they hold six times the noise; |z|^2 has its median at 2 ln 2 var."""
    values = np.cumsum(np.concatenate([[0, 0], np.cumsum(steps)]))
    median = np.median(np.square(np.array(steps, dtype=float)))
    assert first_noise(envelopes(values * 1e3))[0] == pytest.approx(
        1e6 * median / (2 * math.log(2) * 6)
    )


def test_noise_of_white_noise_beside_a_steady_partial() -> None:
    rng = np.random.default_rng(1)
    noise = 0.3 * (rng.normal(size=(2, 30_000)) + 1j * rng.normal(size=(2, 30_000)))
    assert first_noise(envelopes(5 + noise)) == pytest.approx([0.09, 0.09], rel=0.05)
    steps = noise_of_steps(noise, np.ones((2, 1)), 1.0)
    assert steps == pytest.approx([0.09, 0.09], rel=0.05)


def test_no_recording_is_cleaner_than_80_db() -> None:
    assert noise_of_steps(np.ones((1, 9)) + 0j, np.array([[3.0, 20.0]]), 1.0) == pytest.approx(4e-6)


def test_steps_of_one_and_minus_one() -> None:
    """Half the mean square step, over the share that steps show."""
    turned = 1j * np.array([[0.0, 1, 0, 1, 0]])
    assert noise_of_steps(turned, np.ones((1, 1)), 0.25) == pytest.approx([2.0])


def test_a_phase_that_swings_by_a_tenth_is_a_slow_wave() -> None:
    """sin^2 of 0.1 rad is (1 - cos 0.2) / 2: of a normal phase of variance -ln(cos 0.2) / 2."""
    size = 60
    swing = np.repeat(0.1 * np.array([1, -1, 1, 1, -1, -1, 1, -1]), size)
    turned = np.array([[2.0], [5.0]]) * np.exp(1j * swing)
    colour, wave = slow_waves(turned, np.full(2, 1e-12), size, np.ones(2))
    assert colour == pytest.approx(np.ones((2, 1)))
    assert wave == pytest.approx(np.full((2, 1), -0.5 * math.log(math.cos(0.2)) * size), rel=1e-6)


def test_no_partial_is_taken_for_steadier_than_most() -> None:
    """One of ten that does not swing at all is given what the others have."""
    size = 60
    swing = np.repeat(0.1 * np.array([1, -1, 1, 1, -1, -1, 1, -1]), size)
    turned = np.exp(1j * np.array([0.0] + [1.0] * 9)[:, None] * swing)
    _, wave = slow_waves(turned, np.full(10, 1e-12), size, np.ones(10))
    assert wave[0] == pytest.approx(wave[9], rel=1e-6)


def test_one_decay_is_an_exponential_and_so_is_what_may_lie_above_it() -> None:
    """0, 0.3, 0.6 and all of what an ideal string has above: one partial stands for as much."""
    power = 9.0 * np.exp(-2 * 1.5 * TIMES_S)
    found = decaying_powers(envelopes(3.0 * np.exp(-1.5 * TIMES_S)), np.full(1, 1e-9))
    assert found[0] == pytest.approx(power, rel=1e-6)
    assert found == pytest.approx(np.array([1, 1.3, 1.6, 2])[:, None] * power, rel=1e-6)


def test_power_above_is_that_of_an_ideal_plucked_string() -> None:
    """Powers at the start go as 1 / k^2, decays along a line: summed over 20,000 partials."""
    k = np.arange(1, 20_001)[:, None]
    heard = slice(0, 20)
    powers = np.exp(-(0.5 + 0.08 * k) * TIMES_S[::40]) / k**2
    of_heard = np.sqrt(np.exp(-(0.5 + 0.08 * k[heard]) * TIMES_S) / k[heard] ** 2)
    found = decaying_powers(envelopes(of_heard), np.full(20, 1e-12))
    assert found[0, ::40] == pytest.approx(np.sum(powers[heard], axis=0), rel=1e-6)
    above = (found[3] - found[0])[::40]
    assert above[0] == pytest.approx(np.sum(powers[20:, 0]), rel=0.05)
    later = slice(1, 4)  # then the highest have died, however few they are taken for
    assert above[later] == pytest.approx(np.sum(powers[20:], axis=0)[later], rel=0.3)


def test_a_partial_that_is_hardly_heard_has_no_power() -> None:
    """Four samples above the noise are no decay."""
    faint = np.where(np.arange(400) < 4, 1.0, 1e-6)
    found = decaying_powers(envelopes([np.full(400, 2.0), faint]), np.full(2, 1e-3))
    assert found[0] == pytest.approx(np.full(400, 4.0), rel=1e-6)


def test_what_a_band_passes_of_a_partial_beside_its_middle() -> None:
    """A raised cosine: all in the middle, half at half its half-width, never less than 0.3."""
    at = envelopes(np.ones((3, 400)), half_hz=40.0)
    phases = 2 * np.pi * np.array([[0.0], [20.0], [39.0]]) * TIMES_S
    assert passed(phases, at) == pytest.approx(np.tile([[1.0], [0.5], [0.3]], (1, 400)), abs=1e-6)
    assert np.all(passed(phases, envelopes(np.ones((3, 400)))) == 1)


def test_blocks() -> None:
    assert block_size(envelopes(np.ones(9))) == (1, 1.0)
    assert block_size(envelopes(np.ones(9), half_hz=40.0)) == (6, pytest.approx((6 - 9 / 8) / 6))
    assert block_means(np.arange(11.0), 3) == pytest.approx([1, 4, 7])


def test_steps_of_block_means_show_the_share_that_is_said() -> None:
    """Of noise with the autocorrelation 3/8, 1/4, 1/16, 0: the raised cosine's, its own square."""
    rng = np.random.default_rng(2)
    white = rng.normal(size=600_000)
    coloured = np.convolve(white, [0.25, 0.5, 0.25])  # variance 3/8, then 1/4, 1/16
    size, share = block_size(envelopes(np.ones(9), half_hz=40.0))
    steps = np.diff(block_means(coloured, size))
    assert 0.5 * np.mean(steps**2) == pytest.approx(share / size, rel=0.02)


def test_moving_average_is_shorter_at_the_ends() -> None:
    """0.15 s of samples 0.015 s apart: five to either side."""
    t = 0.015 * np.arange(41)
    assert smoothed(np.ones((2, 41)), t) == pytest.approx(np.ones((2, 41)))
    pulse = np.zeros((2, 41))
    pulse[:, 20] = 1
    expected = np.where(np.abs(np.arange(41) - 20) <= 5, 1 / 11, 0)
    assert smoothed(pulse, t) == pytest.approx(np.tile(expected, (2, 1)))
    ramp = smoothed(np.arange(41.0)[None], t)[0]
    assert (ramp[0], ramp[20], ramp[40]) == pytest.approx((2.5, 20, 37.5))


def test_noise_is_taken_off_before_a_wave_is_seen() -> None:
    """Sums of 60 samples of a swing by 0.1 rad: (60 sin 0.1)^2 less the noise's 60 times 0.1."""
    size = 60
    swing = np.repeat(0.1 * np.array([1, -1, 1, 1, -1, -1, 1, -1]), size)
    share = ((size * math.sin(0.1)) ** 2 - size * 0.1) / size**2
    _, wave = slow_waves(np.exp(1j * swing)[None], np.array([0.1]), size, np.ones(1))
    assert wave[0, 0] == pytest.approx(-0.5 * math.log(1 - 2 * share) * size)


def test_the_usual_spread_is_a_triangles_mean() -> None:
    """Of even values from 0 to 1 weighed by a triangle from 0.2 to 0.9: its middle, 0.55.

    Of squares it is the triangle's second moment, 0.55^2 + 0.7^2 / 24.
    """
    values = np.random.default_rng(2).permutation(np.linspace(0, 1, 4001))
    weights = np.ones(4001)
    assert envelopes_module._usual_spread(values, weights) == pytest.approx(0.55, abs=1e-3)
    squared = envelopes_module._usual_spread(values**2, weights)
    assert squared == pytest.approx(0.55**2 + 0.7**2 / 24, abs=1e-3)
    # Twice the weight below a half is as if those values were there twice.
    double = np.where(values < 0.5, 2.0, 1.0)
    twice = np.concatenate([values, values[values < 0.5]])
    assert envelopes_module._usual_spread(values, double) == pytest.approx(
        envelopes_module._usual_spread(twice, np.ones(twice.size)), abs=1e-3
    )
