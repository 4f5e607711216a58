"""Envelopes of two lines in each partial, as two planes of swinging make them: the truth known.

Equation (1) of ``analyzer.pitch.second_lines`` written out.
"""

from __future__ import annotations

import numpy as np

from analyzer.pitch.envelopes import Envelopes

CENT = np.log(2) / 1200
TIMES_S = 0.06 + 0.03 * np.arange(100)
OMEGA = 2 * np.pi * 82.4 * np.arange(1, 9)[:, None]
RATIOS = 0.4 * np.exp(1j * np.arange(1, 9))[:, None]


def envelopes(values) -> Envelopes:
    return Envelopes(values, OMEGA[:, 0] / (2 * np.pi), TIMES_S, None, 3.06)


def noise_of(seed: int, size: float):
    rng = np.random.default_rng(seed)
    return size * (rng.normal(size=(8, 100)) + 1j * rng.normal(size=(8, 100)))


def two_lines(detuning: float, damping: float = 0.2, ratios=RATIOS, offset: float = 0.0):
    """u_k of equation (1): a line that decays, ``offset`` off, and a second one beside it."""
    along = np.exp((1j * OMEGA * offset - 0.7) * TIMES_S) / np.arange(1, 9)[:, None]
    return along * (1 + ratios * np.exp((1j * OMEGA * detuning - damping) * TIMES_S))


def bends_of_their_own(seed: int, size: float):
    rng = np.random.default_rng(seed)
    rates, starts = rng.uniform(1.0, 5.0, (8, 1)), rng.uniform(0, 6.3, (8, 1))
    return np.exp(1j * size * np.sin(rates * TIMES_S + starts))
