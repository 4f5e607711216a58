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
_RATES = 1500  # to either side
_EXPLAINED = 0.7  # of what the partials do beside an even decay: real notes without reach 0.6
_DEPTH = 0.05  # of the second line against the first


def beat_hz(rest: Rest, peaks: Peaks) -> float:
    """The rate b of equation (1), Hz, on the clock of ``rest``; NaN where no beating is heard."""
    numbers, standing = peaks.numbers, peaks.standing
    loud = np.abs(rest.values) ** 2 > _HEARD_POWER * np.quantile(rest.noise, _QUIET_SHARE)
    heard = np.logical_and.accumulate(loud, axis=1)
    used = np.sum(heard, axis=1) >= _FEWEST_SAMPLES
    if np.sum(used) < _FEWEST_PARTIALS:
        return math.nan
    counts = np.sum(heard[used], axis=1, keepdims=True)
    uneven = _uneven(rest.values[used], heard[used], rest.times_s)
    lines = np.abs(fft.fft(uneven, _SIZE, axis=1) / counts) ** 2
    power = np.sum(np.abs(uneven) ** 2, axis=1, keepdims=True) / counts
    rates = np.linspace(0, _MOST_CYCLES / float(np.min(numbers[used])), _RATES + 1)[1:]
    cycles = np.concatenate([rates, -rates]) * numbers[used, None]
    say = standing[used, None] * _told_apart(cycles, counts)
    share = _share(lines, power, cycles, say)
    best = int(np.argmax(share))
    step_s = float(rest.times_s[1] - rest.times_s[0])
    return float(rates[best % _RATES] / step_s) if share[best] > _EXPLAINED else math.nan


def _told_apart(cycles: Real, counts: NDArray[np.int_]) -> NDArray[np.bool_]:
    """Whether a second line so many cycles a sample away can be told from the first."""
    away = np.abs(cycles)
    return np.asarray((away <= _MOST_CYCLES) & (away * counts >= _LEAST_CYCLES))


def _share(lines: Real, power: Real, cycles: Real, say: Real) -> Real:
    """How much of what the partials do beside an even decay second lines explain; (rates,)."""
    index = np.clip(np.round(cycles * _SIZE), -_SIZE // 2, _SIZE // 2 - 1).astype(int)
    line = np.take_along_axis(lines, index, axis=1)
    total = np.sum(say, axis=0)
    share = np.sum(say * line / power, axis=0) / np.maximum(total, _FEWEST_PARTIALS - 0.5)
    depth = np.sum(say * np.sqrt(line), axis=0)
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
