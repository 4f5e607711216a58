"""Partials and fits of them that are given, right on the law, for the stages that come after."""

from __future__ import annotations

import numpy as np

from analyzer.pitch.envelopes import Envelopes
from analyzer.pitch.partials import Peaks, stretched
from analyzer.pitch.phases import PhaseFit

NUMBERS = np.arange(1.0, 7.0)
TIMES_S = 0.05 + 0.03 * np.arange(100)


def peaks_of(f1_hz: float, numbers=NUMBERS, clear_db: float = 40.0) -> Peaks:
    ones = np.ones(len(numbers))
    return Peaks(np.array(numbers), f1_hz * np.array(numbers), clear_db * ones, ones)


def fit_of(covariance, offsets=None, course=None, times_s=TIMES_S) -> PhaseFit:
    count = len(covariance)
    return PhaseFit(
        np.zeros(count) if offsets is None else offsets,
        np.asarray(covariance),
        times_s,
        np.zeros(times_s.size) if course is None else course,
        np.zeros((count, times_s.size)),
        np.ones(1),
    )


def law_of(f1_hz=110.0, b=1e-4, numbers=NUMBERS) -> Envelopes:
    """Right on the law, at the stiffness that is expected beforehand, which then draws nothing."""
    empty = np.ones((len(numbers), TIMES_S.size)) + 0j
    return Envelopes(empty, stretched(np.array(numbers), f1_hz, b), TIMES_S, 40.0)
