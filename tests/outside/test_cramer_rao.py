"""The least scatter that noise allows a frequency, and how near the program comes.

D. C. Rife, R. R. Boorstyn, IEEE Trans. Inf. Theory 20, 591 (1974), of a complex tone, 2nd-hand. A
real tone has half the information, so twice the variance (computed: the full information matrix of
amplitude, decay, phase and frequency agrees).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from benchmark_bound import bound_hz, ratio_to_bound
from made_checks import tone

from analyzer.lot.station_check.tone import Tone, measure_tone
from analyzer.lot.station_check.tone_phase import cramer_rao_hz

RIFE_BOORSTYN = "Rife, Boorstyn, IEEE Trans. Inf. Theory 20, 591 (1974), 2nd-hand"
pytestmark = pytest.mark.source(
    RIFE_BOORSTYN, "published formula", "scatter of the pitch of tones in noise"
)


@pytest.mark.source(RIFE_BOORSTYN, "published example", "the bound itself")
@pytest.mark.parametrize(
    ("variance", "published"), [(0.1, 8888.547569), (1, 88885.475687), (10, 888854.756866)]
)
def test_bound_is_the_published_one(variance, published) -> None:
    """Published, 2nd-hand: A 1, s^2 in each part, 1e-6 s, 513 samples, in (rad/s)^2.

    That is a complex tone; the real one's variance is twice as large.
    """
    found = 2 * math.pi * bound_hz(1e6, 513, 1e9, 1 / math.sqrt(variance))
    assert found**2 / 2 == pytest.approx(published, rel=1e-6)


@pytest.mark.source(
    "Yao, Pandit (1995), information of a damped tone", "from memory", "the bound itself"
)
@pytest.mark.parametrize(
    ("count", "decay", "information"),
    [
        (50, 0.98, 3761.98776),
        (1000, 0.9995, 5.01624187e7),
        (96_000, math.exp(-1 / 72_000), 1.86400902e13),
    ],
)
def test_information_of_a_damped_tone(count, decay, information) -> None:
    """S2 - S1^2 / S0 in samples; a real tone's frequency has half of it, times (A / s)^2."""
    bound = bound_hz(1.0, count, -1 / math.log(decay), 1.0)
    assert 2 / (2 * math.pi * bound) ** 2 == pytest.approx(information, rel=1e-8)


@pytest.mark.parametrize(("seconds", "hz"), [(1, 3.559e-5), (2, 1.258e-5)])
@pytest.mark.source(RIFE_BOORSTYN, "published formula", "the bound that a station's check states")
def test_bound_of_a_station_for_worked_examples(seconds, hz) -> None:
    """Undamped, A/s = 100 at 48 kHz: white noise of variance s^2 has 2 s^2 / 48000 per Hz."""
    assert cramer_rao_hz(2 * 1e-4 / 48_000, 1.0, seconds) == pytest.approx(hz, rel=2e-4)


# Worked apart from this project, A/s = 100, 48 kHz: 1 s undamped, 1 s and 2 s at tau 1 s, in Hz.
@pytest.mark.source(RIFE_BOORSTYN, "published formula", "the bound itself")
@pytest.mark.parametrize(
    ("seconds", "decay_s", "hz"),
    [
        (1, 1e9, 3.559e-5),
        (2, 1e9, 1.258e-5),
        (1, 1.0, 5.949e-5),
        (2, 1.0, 3.516e-5),
        (2, 0.3, 1.769e-4),
    ],
)
def test_bound_of_worked_examples(seconds, decay_s, hz) -> None:
    assert bound_hz(48_000, seconds * 48_000, decay_s, 100.0) == pytest.approx(hz, rel=2e-3)


@pytest.mark.source(RIFE_BOORSTYN, "published example", "the bound that a station's check states")
def test_the_bound_is_the_published_one() -> None:
    """A = 1, variance 0.1 in each part, T_s = 1e-6 s, N = 513: 8888.547569 (rad/s)^2.

    That is of a complex tone; a real one has twice the variance. With N for sqrt(N^2 - 1), which
    the bound by density has, it comes out 4e-6 smaller.
    """
    step_s, count, variance = 1e-6, 513, 0.1
    density = 2 * variance * step_s
    found = (2 * math.pi * cramer_rao_hz(density, 1.0, count * step_s)) ** 2
    assert found == pytest.approx(2 * 8888.547569, rel=5e-6)


@pytest.mark.parametrize("snr_db", [10, 25, 40, 60])
def test_decaying_tone_in_noise_is_measured_near_the_bound(tmp_path, snr_db) -> None:
    """Within 1.5 times the bound, and not below it, each but for three sampling errors."""
    tries = 40
    ratio = ratio_to_bound(snr_db, tries, tmp_path / "tone.wav")
    sampling = 3 / math.sqrt(2 * tries)
    assert 1 - sampling <= ratio <= 1.5 * (1 + sampling)


RATE_HZ = 44100


def measured(samples, tone_hz=440.0, rate_hz=RATE_HZ) -> Tone:
    return measure_tone(samples, rate_hz, tone_hz, (1, 1), "tone.wav")


@pytest.mark.source(RIFE_BOORSTYN, "published formula", "scatter of a station's reference tone")
@pytest.mark.parametrize("noise", [0.001, 0.1])
def test_the_error_is_near_the_bound_and_within_its_uncertainty(noise) -> None:
    """120 tones; 13 % is two standard deviations of a root mean square of so many."""
    rng = np.random.default_rng(7)
    length_s, amplitude, ratios, covered = 5.0, 0.3, [], 0
    for seed in range(120):
        true_hz = rng.uniform(439, 441)
        samples = tone(
            true_hz,
            length_s=length_s,
            amplitude=amplitude,
            noise=noise,
            seed=seed,
            phase=rng.uniform(0, 2 * np.pi),
        )
        found = measured(samples)
        count = found.used_s * RATE_HZ
        variance = 24 * noise**2 * RATE_HZ**2 / ((2 * np.pi * amplitude) ** 2 * count**3)
        ratios.append((found.frequency_hz - true_hz) / math.sqrt(variance))
        covered += abs(found.frequency_hz - true_hz) < 1.96 * found.standard_uncertainty_hz
        assert found.bound_hz == pytest.approx(math.sqrt(variance), rel=0.15)
    assert 0.87 < np.sqrt(np.mean(np.square(ratios))) < 1.25  # 10 % for the tapered ends
    assert covered >= 108  # 95 % of 120 less 2.5 standard deviations of a binomial
