"""The limits of the pitch in short: a few virtual strings of each case.

The whole tables come from ``benchmark_pitch.py``; these are the rows that are met there, on fewer
strings, so that a change that spoils one is seen at once.
"""

from __future__ import annotations

import numpy as np
import pytest
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


def test_rows_that_are_alike_have_a_root() -> None:
    """Where the lines leave a row next to nothing, rounding makes two of them more than alike."""
    level = np.array([[1.0, 1.0 + 1e-12], [1.0 + 1e-12, 1.0]])
    with pytest.raises(np.linalg.LinAlgError):
        _square_root(level.copy(), np.ones(2))
    root = _square_root(level.copy(), np.full(2, 1e4))
    assert root @ root.T == pytest.approx(level, abs=1e-10)
