"""Which partials of the note stand clear of the noise, and roughly where each lies.

A stiff string's partials lie at ``k f1 sqrt((1 + B k^2) / (1 + B))`` (Fletcher 1964). The pair
(f1, B) under which most peaks of the spectrum fall is found on a grid, since twenty partials up
the stretch may be worth more than the distance to the next partial; each is then taken from the
nearest peak.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from analyzer.pitch.spectrum import LineSpectrum, Real

MOST_PARTIALS = 20
HIGHEST_PARTIAL_HZ = 10_000.0
CLEAR_DB = 14.0  # over the median between partials: white noise reaches it once in 3e7 bins
_HIGHEST_SHARE_OF_RATE = 0.45
_FULLY_CLEAR_DB = 12.0  # above CLEAR_DB, from where a partial has its full say
_FULLY_BELOW = 0.1  # the highest frequency over its own, less 1, likewise
_FULLY_INSIDE = 0.7  # of the reach, from its end, likewise
_GRID_CENTS = np.arange(-40.0, 40.1, 2.0)
_GRID_STIFFNESS = np.concatenate([[0.0], np.geomspace(5e-6, 1.2e-3, 28)])
_GRID_PARTIALS = 12
_SCORE_CAP_DB = 90.0
_REACH_CENTS = 20.0
_HIGHEST_OWN = 10  # number up to which a clipped note's lines are taken for the string's


@dataclass(frozen=True)
class Peaks:
    """Partials found, arrays of shape (partials,): numbers, rough frequencies (Hz), levels (dB).

    ``standing``, from 0 to 1, is how far each is from being left out, as too faint, too high or
    too far off the law: a partial that comes or goes by a hair must not move the figure.
    """

    numbers: Real
    rough_hz: Real
    clear_db: Real
    standing: Real

    def at_pace(self, pace: float) -> Peaks:
        """The same partials on a clock that runs ``pace`` times as fast."""
        return replace(self, rough_hz=self.rough_hz / pace)

    def only(self, kept: NDArray[np.bool_]) -> Peaks:
        """Those partials for which ``kept`` (partials,) is true."""
        arrays = (self.numbers, self.rough_hz, self.clear_db, self.standing)
        return Peaks(*(each[kept] for each in arrays))


def stretched(numbers: Real, f1_hz: float | Real, stiffness: float | Real) -> Real:
    """Frequencies of partials ``numbers`` of a stiff string whose first lies at ``f1_hz``, Hz."""
    stretch = np.sqrt((1 + stiffness * numbers**2) / (1 + stiffness))
    return np.asarray(numbers * f1_hz * stretch)


def find_partials(lines: LineSpectrum, rough_hz: float, rate_hz: float) -> Peaks:
    """The partials that stand clear of what lies between them, near ``rough_hz`` times 1, 2, ...

    ``rate_hz`` is the recording's sample rate, which bounds what can be heard of them.
    """
    top_hz = min(HIGHEST_PARTIAL_HZ, _HIGHEST_SHARE_OF_RATE * rate_hz)
    return _found(lines, *_best_on_grid(lines, rough_hz, top_hz), top_hz)


def find_again(lines: LineSpectrum, peaks: Peaks, rate_hz: float) -> Peaks:
    """The same partials in another spectrum of the note."""
    top_hz = min(HIGHEST_PARTIAL_HZ, _HIGHEST_SHARE_OF_RATE * rate_hz)
    if peaks.numbers.size < 3:
        return find_partials(lines, float(peaks.rough_hz[0] / peaks.numbers[0]), rate_hz)
    return _found(lines, *_straight_line(peaks), top_hz)


def _found(lines: LineSpectrum, f1_hz: float, stiffness: float, top_hz: float) -> Peaks:
    numbers = np.arange(1.0, MOST_PARTIALS + 1)
    expected_hz = stretched(numbers, f1_hz, stiffness)
    floor_db = lines.floor_db(expected_hz, f1_hz)
    peaks = _nearest_peaks(lines, numbers, expected_hz, floor_db, top_hz)
    if peaks.numbers.size < 3:
        return peaks
    expected_hz = stretched(numbers, *_straight_line(peaks))
    return _nearest_peaks(lines, numbers, expected_hz, floor_db, top_hz)


def lawful(peaks: Peaks) -> Peaks:
    """The same partials where the lowest of them say that they should be.

    For a clipped note, whose upper lines may be sums of lower ones and not the string's own.
    """
    low = peaks.numbers <= _HIGHEST_OWN
    if np.sum(low) < 3:
        return peaks
    f1_hz, stiffness = _straight_line(peaks.only(low))
    expected_hz = stretched(peaks.numbers, f1_hz, stiffness)
    return replace(peaks, rough_hz=expected_hz)


def _best_on_grid(lines: LineSpectrum, rough_hz: float, top_hz: float) -> tuple[float, float]:
    """(f1, B) under which the most level lies at the expected partials."""
    f1_hz = rough_hz * 2 ** (_GRID_CENTS / 1200)
    numbers = np.arange(1.0, _GRID_PARTIALS + 1)
    at_hz = rough_hz * _grid()
    reach = round(0.5 / lines.bin_hz)
    looked = lines.level_db[: round(at_hz[-1, -1, -1] / lines.bin_hz) + reach + 1]
    near_db = ndimage.maximum_filter1d(looked, 1 + 2 * reach)
    index = np.minimum(np.rint(at_hz / lines.bin_hz).astype(int), near_db.size - 1)
    over_db = near_db.take(index)
    over_db -= lines.floor_db(numbers * rough_hz, rough_hz)[:, None, None]
    np.clip(over_db, 0, _SCORE_CAP_DB, out=over_db)
    if at_hz[-1, -1, -1] >= top_hz:
        over_db[at_hz >= top_hz] = 0
    score = np.sum(over_db, axis=0)
    i, j = np.unravel_index(int(np.argmax(score)), score.shape)
    return float(f1_hz[i]), float(_GRID_STIFFNESS[j])


@cache
def _grid() -> Real:
    """Partials over the rough pitch, for each (f1, B) of the grid: (partials, cents, B)."""
    numbers = np.arange(1.0, _GRID_PARTIALS + 1)
    f1 = 2 ** (_GRID_CENTS / 1200)
    return stretched(numbers[:, None, None], f1[None, :, None], _GRID_STIFFNESS)


def _nearest_peaks(
    lines: LineSpectrum, numbers: Real, expected_hz: Real, floor_db: Real, top_hz: float
) -> Peaks:
    """The highest bin near each expected frequency, refined by a parabola through three."""
    inside = expected_hz < top_hz
    numbers, expected_hz, floor_db = numbers[inside], expected_hz[inside], floor_db[inside]
    level_db, bin_hz = lines.level_db, lines.bin_hz
    reach = np.ceil((0.8 + expected_hz * _REACH_CENTS / 1731) / bin_hz).astype(int)
    widest = np.arange(-int(np.max(reach)), int(np.max(reach)) + 1)
    index = np.round(expected_hz / bin_hz).astype(int)[:, None] + widest
    index = np.clip(index, 1, level_db.size - 2)
    near = np.where(np.abs(widest) <= reach[:, None], level_db[index], -np.inf)
    best = index[np.arange(numbers.size), np.argmax(near, axis=1)]
    left, middle, right = level_db[best - 1], level_db[best], level_db[best + 1]
    bend = left - 2 * middle + right
    shift = np.where(bend < 0, 0.5 * (left - right) / np.where(bend < 0, bend, -1.0), 0.0)
    clear_db = middle - floor_db
    kept = (clear_db >= CLEAR_DB) & (np.abs(shift) <= 1)
    standing = np.clip((clear_db - CLEAR_DB) / _FULLY_CLEAR_DB, 0.01, 1)
    standing *= np.clip((top_hz / expected_hz - 1) / _FULLY_BELOW, 0.01, 1)
    found_hz = (best + shift) * bin_hz
    inside = 1 - np.abs(found_hz - expected_hz) / (reach * bin_hz)
    standing *= np.clip(inside / _FULLY_INSIDE, 0.01, 1)
    return Peaks(numbers, found_hz, clear_db, standing).only(kept)


def _straight_line(peaks: Peaks) -> tuple[float, float]:
    """(f1, B) of partials: (f_k / k)^2 is a straight line in k^2; medians of pairwise slopes.

    Each partial has the say that it stands for.
    """
    x, y = peaks.numbers**2, (peaks.rough_hz / peaks.numbers) ** 2
    i, j = _pairs(x.size)
    say = np.abs(x[i] - x[j]) * peaks.standing[i] * peaks.standing[j]
    slope = max(_median((y[i] - y[j]) / (x[i] - x[j]), say), 0.0)
    f0_squared = _median(y - slope * x, peaks.standing)
    stiffness = slope / f0_squared
    return float(np.sqrt(f0_squared * (1 + stiffness))), stiffness


@cache
def _pairs(count: int) -> tuple[NDArray[np.int_], NDArray[np.int_]]:
    """All pairs of so many, each once."""
    first, second = np.triu_indices(count, 1)
    return first, second


def _median(values: Real, weights: Real) -> float:
    """The value in the middle of the weight, between two where it falls between them."""
    order = np.argsort(values)
    middle = np.cumsum(weights[order]) - 0.5 * weights[order]
    return float(np.interp(0.5 * np.sum(weights), middle, values[order]))
