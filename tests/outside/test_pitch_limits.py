"""The limits of the pitch in short: a few virtual strings of each case, and the Cramer-Rao bound.

The whole tables come from ``benchmark_pitch.py``; these are the rows that are met there, on fewer
strings, so that a change that spoils one is seen at once.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from benchmark_bound import bound_hz, ratio_to_bound
from benchmark_pitch import CASES, try_string

from analyzer.pitch.shared import _square_root

STRINGS = 8
DRIFT_OFF = 0.3  # the aim for all


@pytest.mark.parametrize("case", CASES, ids=str)
def test_case(case) -> None:
    found = [try_string(case, seed) for seed in range(STRINGS)]
    off = np.array([each.error_off for each in found])
    rms, worst = case.limits
    assert np.max(np.abs(off)) <= worst
    assert np.sqrt(np.mean(off**2)) <= rms
    assert max(abs(each.drift_off) for each in found) <= DRIFT_OFF
    assert np.mean([abs(each.error_off) <= each.claimed for each in found]) >= 0.7


def test_bound_is_the_published_one() -> None:
    """Published, 2nd-hand: A 1, s^2 0.1 in each part, 1e-6 s, 513 samples: 8888.547569 (rad/s)^2.

    That is a complex tone; the real one's variance is twice as large.
    """
    found = 2 * math.pi * bound_hz(1e6, 513, 1e9, 1 / math.sqrt(0.1))
    assert found**2 / 2 == pytest.approx(8888.547569, rel=1e-6)


# Worked apart from this project, A/s = 100, 48 kHz: 1 s undamped, 1 s and 2 s at tau 1 s, in Hz.
@pytest.mark.parametrize(
    ("seconds", "decay_s", "hz"), [(1, 1e9, 3.559e-5), (1, 1.0, 5.949e-5), (2, 1.0, 3.516e-5)]
)
def test_bound_of_worked_examples(seconds, decay_s, hz) -> None:
    assert bound_hz(48_000, seconds * 48_000, decay_s, 100.0) == pytest.approx(hz, rel=2e-3)


@pytest.mark.parametrize("snr_db", [10, 25, 40, 60])
def test_decaying_tone_in_noise_is_measured_near_the_bound(tmp_path, snr_db) -> None:
    """Within 1.5 times the bound, and not below it, each but for three sampling errors."""
    tries = 40
    ratio = ratio_to_bound(snr_db, tries, tmp_path / "tone.wav")
    sampling = 3 / math.sqrt(2 * tries)
    assert 1 - sampling <= ratio <= 1.5 * (1 + sampling)


def test_rows_that_are_alike_have_a_root() -> None:
    """Where the lines leave a row next to nothing, rounding makes two of them more than alike."""
    level = np.array([[1.0, 1.0 + 1e-12], [1.0 + 1e-12, 1.0]])
    with pytest.raises(np.linalg.LinAlgError):
        _square_root(level.copy(), np.ones(2))
    root = _square_root(level.copy(), np.full(2, 1e4))
    assert root @ root.T == pytest.approx(level, abs=1e-10)
