"""Whether two polarisations of a note beat.

A string that swings in two planes, in which its length or its ends differ a little, sounds as two
strings a fraction of a cent apart. Each partial is then two lines, and those of partial k lie k
times as far apart as those of the first: what the fit leaves of partial k turns as

    u_k(t) = a_k e^(-d_k t) [1 + r_k e^(2 pi i k b t)]                                      (1)

with b the rate at which the first partial beats (G. Weinreich, J. Acoust. Soc. Am. 62, 1474, 1977,
of piano strings; recalled). Hum, or another string, does that to single partials; only what does it
to all of them, each at its own multiple, is called beating.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from analyzer.pitch.partials import Peaks
from analyzer.pitch.phases import Rest
from analyzer.pitch.spectrum import Complex, Real

_HEARD_POWER = 60.0  # over the noise in either part; what is fainter says little
_QUIET_SHARE = 0.25  # of the partials, whose noise is that of all: beats look like noise in others
_FEWEST_SAMPLES = 12
_FEWEST_PARTIALS = 3
_LEAST_CYCLES = 1.0  # within what is heard of a partial; fewer are a line's slope
_MOST_CYCLES = 0.4  # a sample
_SIZE = 1024
_RATES = 600  # to either side
_EXPLAINED = 0.7  # of what the partials do beside an even decay: real notes without reach 0.6
_DEPTH = 0.05  # of the second line against the first


def beat_hz(rest: Rest, peaks: Peaks) -> float:
    """The rate b of equation (1), Hz, on the clock of ``rest``; NaN where no beating is heard."""
    numbers, standing = peaks.numbers, peaks.standing
    place = np.arange(rest.noise.size) / max(rest.noise.size - 1, 1)
    quiet = float(np.interp(_QUIET_SHARE, place, np.sort(rest.noise)))
    loud = rest.values.real**2 + rest.values.imag**2 > _HEARD_POWER * quiet
    heard = np.logical_and.accumulate(loud, axis=1)
    used = np.sum(heard, axis=1) >= _FEWEST_SAMPLES
    if np.sum(used) < _FEWEST_PARTIALS:
        return math.nan
    counts = np.sum(heard[used], axis=1)
    uneven = _uneven(rest.values[used], heard[used], rest.times_s)
    bins = fft.fft((uneven / counts[:, None]).astype(np.complex64), _SIZE, axis=1)
    lines = bins.real**2 + bins.imag**2
    power = np.sum(np.abs(uneven) ** 2, axis=1) / counts
    looks = _looks(tuple(numbers[used])).only_told_apart(counts)
    share = _share(lines, power, standing[used], looks)
    best = int(np.argmax(share))
    step_s = float(rest.times_s[1] - rest.times_s[0])
    fastest_hz = _MOST_CYCLES / float(np.min(numbers[used])) / step_s
    found_hz = fastest_hz * (best % _RATES + 1) / _RATES
    return found_hz if share[best] > _EXPLAINED else math.nan


@dataclass(frozen=True)
class _Looks:
    """Where second lines are looked for; (looks,) each, of all partials and rates.

    ``partial`` is the place of the partial, ``rate`` that of the rate: _RATES of them upwards,
    then as many downwards; ``bin`` is the line's, and ``away`` its distance, cycles a sample.
    """

    partial: NDArray[np.int_]
    rate: NDArray[np.int_]
    bin: NDArray[np.int_]
    away: Real

    def only_told_apart(self, counts: NDArray[np.int_]) -> _Looks:
        """Those far enough from the first line for partials heard in ``counts`` samples."""
        told = self.away * counts[self.partial] >= _LEAST_CYCLES
        return _Looks(self.partial[told], self.rate[told], self.bin[told], self.away[told])


@lru_cache(maxsize=64)
def _looks(numbers: tuple[float, ...]) -> _Looks:
    """All looks for partials of such numbers, which many notes of an instrument have alike."""
    ratio = np.array(numbers)[:, None] / min(numbers)
    upwards = ratio * np.linspace(0, _MOST_CYCLES, _RATES + 1)[1:]
    cycles = np.concatenate([upwards, -upwards], axis=1)
    partial, rate = np.nonzero(np.abs(cycles) <= _MOST_CYCLES)
    at = np.round(cycles[partial, rate] * _SIZE).astype(int)
    return _Looks(partial, rate, at % _SIZE, np.abs(cycles[partial, rate]))


def _share(lines: Real, power: Real, standing: Real, looks: _Looks) -> Real:
    """How much of what the partials do beside an even decay second lines explain; (rates,).

    ``lines`` (partials, bins) are powers, of which ``power`` (partials,) is the whole.
    """
    line, say = lines[looks.partial, looks.bin], standing[looks.partial]

    def summed(values: Real) -> Real:
        return np.asarray(np.bincount(looks.rate, values, 2 * _RATES), dtype=np.float64)

    total = summed(say)
    share = summed(say * line / power[looks.partial])
    share = share / np.maximum(total, _FEWEST_PARTIALS - 0.5)
    depth = summed(say * np.sqrt(line))
    return np.where(depth > _DEPTH * total, share, 0.0)


def _uneven(rest: Complex, heard: NDArray[np.bool_], times_s: Real) -> Complex:
    """What partials do beside a decay and a turning that are even; 0 where they are not heard."""
    counts = np.sum(heard, axis=1, keepdims=True)
    mean_s = np.sum(heard * times_s, axis=1, keepdims=True) / counts
    centred = np.where(heard, times_s - mean_s, 0.0)
    spread = np.sum(centred**2, axis=1, keepdims=True)
    logs = np.where(heard, np.log(np.abs(rest) + 1e-300), 0.0)
    decay = np.sum(logs, axis=1, keepdims=True) / counts
    decay = decay + np.sum(logs * centred, axis=1, keepdims=True) / spread * centred
    level = np.where(heard, rest * np.exp(-decay), 0.0)
    level -= heard * np.sum(level, axis=1, keepdims=True) / counts
    return np.asarray(level - np.sum(level * centred, axis=1, keepdims=True) / spread * centred)
