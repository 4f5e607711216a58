"""A pitch that glides to its rest, made in this test by a published law.

K. Lee, J. Smith, J. Abel, D. Berger, DAFx-09 (abstract): all partials relax exponentially to rest,
with a time constant tied to the decay of the transverse wave. An amplitude e^(-t/tau) gives a glide
e^(-2t/tau), since the stretch goes with its square: f(t) = f_rest 2^((g/1200) e^(-2t/tau)).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import soundfile
from benchmark_pitch import measure

LAW = "Lee, Smith, Abel, Berger, DAFx-09, abstract: exponential glide"
pytestmark = pytest.mark.source(LAW, "published formula", "settled pitch and drift under a glide")

RATE_HZ, LENGTH_S, BEFORE_S = 22_050, 4.0, 0.25


def write(path, f_hz: float, glide_cents: float, tau_s: float) -> None:
    t_s = np.arange(round(LENGTH_S * RATE_HZ)) / RATE_HZ
    pitch_hz = f_hz * 2 ** (glide_cents / 1200 * np.exp(-2 * t_s / tau_s))
    turns = np.cumsum(pitch_hz) / RATE_HZ
    k = np.arange(1, 11)[:, None]
    tone = (np.exp(-t_s / tau_s) * np.sin(2 * np.pi * k * turns + k) / k).sum(axis=0)
    sound = np.random.default_rng(4).normal(0, 1e-4, round(BEFORE_S * RATE_HZ) + t_s.size)
    sound[-t_s.size :] += 0.3 * tone
    soundfile.write(path, sound, RATE_HZ, subtype="PCM_24")


@pytest.mark.parametrize("tau_s", [0.3, 1.0, 3.0])
@pytest.mark.parametrize("glide_cents", [2.0, 10.0, 50.0])
@pytest.mark.parametrize("f_hz", [110.0, 329.63])
def test_settled_pitch_is_that_of_rest(tmp_path, f_hz, glide_cents, tau_s) -> None:
    path = tmp_path / "glide.wav"
    write(path, f_hz, glide_cents, tau_s)
    found = measure(path)
    # A note that still falls by more than a cent as it ends says how little is known of its rest.
    still_cents = glide_cents * math.exp(-2 * LENGTH_S / tau_s)
    allowed_cents = max(0.1, found.settled_uncertainty_cents if still_cents > 1 else 0.0)
    assert abs(1200 * math.log2(found.settled_hz / f_hz)) < allowed_cents
    early_s = np.linspace(0.1, 0.3, 2001)
    drift_cents = -glide_cents * np.mean(np.exp(-2 * early_s / tau_s))
    assert found.sustain_drift_cents == pytest.approx(drift_cents, abs=max(0.1, 0.02 * glide_cents))
