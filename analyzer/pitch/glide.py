"""The glide at the start of a note: shapes it may have, and which of them the phases bear out.

A plucked string starts sharp, since its displacement stretches it, and settles. The shape of that
is not known beforehand. Candidates are: no glide at all; exponentials of many time constants; and
the string's own decaying energy as the envelopes show it, since tension modulation goes with the
square of the amplitude (K. Legge and N. Fletcher, J. Acoust. Soc. Am. 76, 5, 1984; recalled). Of
that energy there are several, since partials that are not heard have a share in it as well.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyzer.music import CENTS_PER_NEPER
from analyzer.pitch.spectrum import Real

SIZE_PRIOR = 8.0 / CENTS_PER_NEPER  # standard deviation, relative: plucks start 0 to 10 cents sharp
NO_GLIDE_PRIOR = 0.3  # probabilities; the exponentials share the rest
_ENERGY = 0.3
_SHORTEST_S, _LONGEST_S = 0.04, 3.0
_EXPONENTIALS = 17  # over the whole range, so that none falls between two
_CLOSER = 13  # about the likely ones


@dataclass(frozen=True)
class Shapes:
    """Candidates for the glide's course and their integrals from the onset.

    ``courses`` and ``integrals`` have shape (candidates, samples): the exponentials first, in even
    steps of ``log_tau`` (the logarithm of the time constant in seconds), the energies last.
    ``prior`` (candidates,) holds their probabilities; what is left to 1 is for no glide.
    """

    log_tau: Real
    courses: Real
    integrals: Real
    prior: Real


def first_time_constants() -> Real:
    """The whole range, in even steps of the logarithm."""
    return np.linspace(np.log(_SHORTEST_S), np.log(_LONGEST_S), _EXPONENTIALS)


def closer_time_constants(log_tau: Real, probabilities: Real) -> Real:
    """A finer row about the likely ones, so that no glide falls between two candidates."""
    total = float(np.sum(probabilities))
    if total < 1e-6:
        return log_tau
    mean = float(np.sum(probabilities * log_tau) / total)
    spread = float(np.sqrt(np.sum(probabilities * (log_tau - mean) ** 2) / total))
    reach = 4 * max(spread, 0.4 * float(log_tau[1] - log_tau[0]))
    low, high = max(mean - reach, np.log(_SHORTEST_S)), min(mean + reach, np.log(_LONGEST_S))
    return np.linspace(low, high, _CLOSER) if high > low else log_tau


def candidate_shapes(log_tau: Real, powers: Real, times_s: Real) -> Shapes:
    """Shapes over ``times_s`` (samples,), from the onset; ``powers`` (energies, samples)."""
    tau = np.exp(log_tau)[:, None]
    energy = powers / np.mean(powers[:, : max(1, times_s.size // 50)], axis=1, keepdims=True)
    steps = 0.5 * (energy[:, 1:] + energy[:, :-1]) * np.diff(times_s)
    running = np.zeros_like(energy)
    np.cumsum(steps, axis=1, out=running[:, 1:])
    density = (log_tau[1] - log_tau[0]) / np.log(_LONGEST_S / _SHORTEST_S)
    prior = np.full(log_tau.size + len(powers), (1 - NO_GLIDE_PRIOR - _ENERGY) * density)
    prior[log_tau.size :] = _ENERGY / len(powers)
    falling = np.exp(-times_s / tau)
    return Shapes(
        log_tau,
        np.concatenate([falling, energy]),
        np.concatenate([tau * (1 - falling), running]),
        prior,
    )
