"""What lies between the partials of a note: noise, hum, lines of another note."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analyzer.gate import MAINS_HZ
from analyzer.pitch.partials import stretched
from analyzer.pitch.settle import SettledPitch
from analyzer.pitch.spectrum import LineSpectrum, Real

_HUM_MULTIPLES = (1, 2, 3)
_HUM_REACH_HZ = 0.7
_PARTIALS = 24
_PARTIAL_REACH_HZ, _PARTIAL_REACH = 6.0, 0.1  # about a partial; the second of the first's frequency
_LOWEST_HZ, _HIGHEST_HZ = 40.0, 4000.0
_AROUND_HZ = 25.0
_MAINS_REACH_HZ = 1.5
_LOUDEST = 20  # of the lines between, which are looked at closer
_STANDS_OUT_DB = 25.0  # over the median about it: noise alone reaches 15 dB in thousands of bins
_NOISE_BLOCK_HZ = 100.0
# Lines of the pitch's own, and not of a multiple: of real notes they stand 65 dB out and more;
# where the pitch is a fraction of the true one, beyond the range, 11 dB at most.
_OWN_STANDS_OUT_DB, _OWN_FAINTEST_DB = 18.0, -30.0
_HALF_STANDS_OUT_DB, _HALF_FAINTEST_DB, _HALF_FEWEST = 20.0, -60.0, 2


@dataclass(frozen=True)
class Between:
    """Levels in dB against the loudest partial, -inf where nothing was found.

    ``snr_db`` is the power of all partials over that of the noise. ``hum_hz`` is the mains
    frequency that was found, NaN for none; ``hum_off_hz`` how near a line of it comes to a partial.
    ``multiple`` is 1, or what the pitch must be multiplied by to be the note's.
    """

    snr_db: float
    hum_db: float
    hum_hz: float
    hum_off_hz: float
    other_db: float
    other_hz: float
    half_lines: bool
    multiple: int


def look_between(lines: LineSpectrum, pitch: SettledPitch) -> Between:
    """Take the spectrum of a note apart into its partials and the rest."""
    stiffness = 0.0 if math.isnan(pitch.stiffness) else pitch.stiffness
    partials_hz = stretched(np.arange(1.0, _PARTIALS + 1), pitch.settled_hz, stiffness)
    levels_db = _loudest_each_db(lines, partials_hz, 3.0)
    top_db = float(np.max(levels_db))
    hum_db, hum_hz, hum_off_hz = _hum(lines, partials_hz, top_db)
    other_db, other_hz = _other_line(lines, partials_hz, top_db)
    return Between(
        _snr_db(lines, levels_db),
        hum_db,
        hum_hz,
        hum_off_hz,
        other_db,
        other_hz,
        _has_half_lines(lines, pitch.settled_hz, top_db),
        _multiple(lines, partials_hz, levels_db),
    )


def _multiple(lines: LineSpectrum, partials_hz: Real, levels_db: Real) -> int:
    """2 or 3 where no lines but those of so many times the pitch are heard, else 1."""
    heard = np.isfinite(levels_db)
    number = np.arange(1, levels_db.size + 1)[heard]
    level_db = levels_db[heard]
    for multiple in (2, 3):
        own = number % multiple != 0
        if np.all(own):
            continue
        if np.max(level_db[own]) >= np.max(level_db[~own]) + _OWN_FAINTEST_DB:
            continue
        floor_db = lines.floor_db(partials_hz[heard][own], 2 * _AROUND_HZ)
        if np.max(level_db[own] - floor_db) < _OWN_STANDS_OUT_DB:
            return multiple
    return 1


def _bins(lines: LineSpectrum, low_hz: float, high_hz: float) -> slice:
    last = lines.level_db.size - 1
    first = min(max(round(low_hz / lines.bin_hz), 0), last)
    return slice(first, max(first + 1, min(round(high_hz / lines.bin_hz) + 1, last)))


def _loudest_db(lines: LineSpectrum, at_hz: float, reach_hz: float) -> float:
    """The highest level about a frequency, -inf beyond the spectrum."""
    if at_hz + reach_hz > lines.level_db.size * lines.bin_hz:
        return -math.inf
    return float(np.max(lines.level_db[_bins(lines, at_hz - reach_hz, at_hz + reach_hz)]))


def _loudest_each_db(lines: LineSpectrum, at_hz: Real, reach_hz: float) -> Real:
    """The same about each of several frequencies, (n,)."""
    inside = at_hz + reach_hz <= lines.level_db.size * lines.bin_hz
    around = [_bins(lines, each - reach_hz, each + reach_hz) for each in at_hz[inside]]
    ends = np.array([(each.start, each.stop) for each in around], dtype=int).ravel()
    levels_db = np.full(at_hz.size, -math.inf)
    if ends.size:
        last = lines.level_db.size - 1  # where a run would end behind it, it is of this bin alone
        levels_db[inside] = np.maximum.reduceat(lines.level_db, np.minimum(ends, last))[::2]
    return levels_db


def _floor_db(lines: LineSpectrum, at_hz: float) -> float:
    return float(np.median(lines.level_db[_bins(lines, at_hz - _AROUND_HZ, at_hz + _AROUND_HZ)]))


def _snr_db(lines: LineSpectrum, levels_db: Real) -> float:
    """Power of the partials over the noise's, from a Hann window's spectrum.

    A sine of amplitude A peaks at A N/4, white noise of variance s has the mean square 3 N s/8, and
    its median is ln 2 of that. N is the number of samples, and of bins, twice padded as it is.
    """
    block = max(1, round(_NOISE_BLOCK_HZ / lines.bin_hz))
    whole = lines.level_db[: lines.level_db.size // block * block].reshape(-1, block)
    ordered = np.sort(whole, axis=1)  # faster than np.median is at finding the two in the middle
    median = 0.5 * (ordered[:, (block - 1) // 2] + ordered[:, block // 2])
    noise = float(np.mean(10 ** (median / 10))) / math.log(2)
    tone = float(np.sum(10 ** (levels_db / 10)))
    return 10 * math.log10(3 * tone / (lines.level_db.size * noise + 1e-30) + 1e-30)


def _hum(lines: LineSpectrum, partials_hz: Real, top_db: float) -> tuple[float, float, float]:
    """(level, mains frequency, nearest partial's distance) of the stronger of both hums."""
    found = (-math.inf, math.nan, math.inf)
    for mains_hz in MAINS_HZ:
        at_hz = [mains_hz * multiple for multiple in _HUM_MULTIPLES]
        off_hz = [float(np.min(np.abs(partials_hz - each))) for each in at_hz]
        clear = [
            _loudest_db(lines, each, _HUM_REACH_HZ)
            for each, off in zip(at_hz, off_hz, strict=True)
            if off > _PARTIAL_REACH_HZ and _is_line_at(lines, each)
        ]
        level_db = max(clear, default=-math.inf) - top_db
        if level_db > found[0]:
            found = level_db, mains_hz, min(off_hz)
    return found


def _is_line_at(lines: LineSpectrum, at_hz: float) -> bool:
    """Whether a line stands just there, and not beside."""
    near = lines.level_db[_bins(lines, at_hz - 4, at_hz + 4)]
    at_db = _loudest_db(lines, at_hz, _HUM_REACH_HZ)
    return at_db >= float(np.max(near)) and at_db > _floor_db(lines, at_hz) + _STANDS_OUT_DB


def _other_line(lines: LineSpectrum, partials_hz: Real, top_db: float) -> tuple[float, float]:
    """The loudest line that is neither the note's nor the mains'."""
    looked = _bins(lines, _LOWEST_HZ, min(_HIGHEST_HZ, float(partials_hz[-1])))
    level_db = lines.level_db[looked]
    peaks = 1 + np.flatnonzero((level_db[1:-1] > level_db[:-2]) & (level_db[1:-1] >= level_db[2:]))
    hz, level_db = (looked.start + peaks) * lines.bin_hz, level_db[peaks]
    reach_hz = max(_PARTIAL_REACH_HZ, _PARTIAL_REACH * partials_hz[0])
    mains = np.array(sorted(mains * multiple for mains in MAINS_HZ for multiple in range(1, 9)))
    other = (_nearest_hz(hz, partials_hz) >= reach_hz) & (_nearest_hz(hz, mains) >= _MAINS_REACH_HZ)
    loudest = np.flatnonzero(other)
    if loudest.size > _LOUDEST:
        loudest = loudest[np.argpartition(-level_db[loudest], _LOUDEST)[:_LOUDEST]]
    loudest = loudest[np.argsort(-level_db[loudest])]
    floor_db = lines.floor_db(hz[loudest], 2 * _AROUND_HZ)
    standing_out = loudest[level_db[loudest] > floor_db + _STANDS_OUT_DB]
    if standing_out.size == 0:
        return -math.inf, math.nan
    return float(level_db[standing_out[0]]) - top_db, float(hz[standing_out[0]])


def _nearest_hz(hz: Real, lines_hz: Real) -> Real:
    """How far each frequency lies from the nearest of some lines, which are in order."""
    above = np.searchsorted(lines_hz, hz)
    last = lines_hz.size - 1
    below_hz, above_hz = lines_hz[np.maximum(above - 1, 0)], lines_hz[np.minimum(above, last)]
    return np.asarray(np.minimum(np.abs(hz - below_hz), np.abs(hz - above_hz)))


def _has_half_lines(lines: LineSpectrum, f1_hz: float, top_db: float) -> bool:
    """Lines at 1/2, 3/2, 5/2 of the pitch: what is left of the whole string."""
    found = 0
    for multiple in (0.5, 1.5, 2.5):
        at_hz = multiple * f1_hz
        level_db = _loudest_db(lines, at_hz, 1.5)
        if level_db > top_db + _HALF_FAINTEST_DB:
            floor_db = float(np.median(lines.level_db[_bins(lines, 0.8 * at_hz, 1.2 * at_hz)]))
            found += level_db > floor_db + _HALF_STANDS_OUT_DB
    return found >= _HALF_FEWEST
