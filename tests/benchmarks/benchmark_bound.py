"""How near the pitch of a decaying tone in white noise comes to the Cramer-Rao bound.

    python tests/benchmarks/benchmark_bound.py [--tries 200]

``test_cramer_rao.py`` holds the bound itself to published values.
"""

from __future__ import annotations

import argparse
import math
import tempfile
from pathlib import Path

import _paths  # noqa: F401
import numpy as np
import soundfile
from benchmark_pitch import measure

F_HZ, DECAY_S, RATE_HZ, LENGTH_S, PEAK = 110.0, 1.5, 44_100, 3, 0.3


def bound_hz(rate_hz: float, samples: int, decay_s: float, amplitude_over_sd: float) -> float:
    """Least standard deviation of the frequency of a real decaying tone in white noise, Hz.

    var(f) = 2 s^2 / (A^2 (2 pi)^2 (S2 - S1^2 / S0)), S_k the sums of t^k e^(-2t/tau) (Rife and
    Boorstyn 1974 for the complex tone without decay; a real one has half the information).
    """
    t = np.arange(samples) / rate_hz
    weight = np.exp(-2 * t / decay_s)
    spread = np.sum(t**2 * weight) - np.sum(t * weight) ** 2 / np.sum(weight)
    return math.sqrt(2 / spread) / amplitude_over_sd / (2 * math.pi)


def ratio_to_bound(snr_db: float, tries: int, path: Path) -> float:
    """Root mean square of what the frequency is off over the bound."""
    t = np.arange(LENGTH_S * RATE_HZ) / RATE_HZ
    rng = np.random.default_rng(round(snr_db))
    off = []
    for _ in range(tries):
        phase = rng.uniform(0, 2 * np.pi)
        tone = PEAK * np.exp(-t / DECAY_S) * np.sin(2 * np.pi * F_HZ * t + phase)
        take = np.concatenate([np.zeros(RATE_HZ // 4), tone])
        take += rng.normal(0, PEAK / math.sqrt(2) * 10 ** (-snr_db / 20), take.size)
        soundfile.write(path, take, RATE_HZ, subtype="FLOAT")
        off.append(measure(path).settled_hz - F_HZ)
    amplitude_over_sd = math.sqrt(2) * 10 ** (snr_db / 20)
    bound = bound_hz(RATE_HZ, t.size, DECAY_S, amplitude_over_sd)
    return math.sqrt(np.mean(np.square(off))) / bound


def main() -> None:
    options = argparse.ArgumentParser()
    options.add_argument("--tries", type=int, default=200)
    tries = options.parse_args().tries
    print(
        "| signal to noise, dB | over the bound (aim 1.5) | sampling error |\n| --- | --- | --- |"
    )
    with tempfile.TemporaryDirectory() as folder:
        for snr_db in (10, 20, 30, 40, 50, 60):
            ratio = ratio_to_bound(snr_db, tries, Path(folder) / "tone.wav")
            print(f"| {snr_db} | {ratio:.2f} | {ratio / math.sqrt(2 * tries):.2f} |", flush=True)


if __name__ == "__main__":
    main()
