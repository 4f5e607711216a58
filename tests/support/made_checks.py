"""Tones as a recorder gives them, and checks of a station made of numbers alone."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import soundfile

from analyzer.lot.station_check.model import Check, Past, Value
from analyzer.lot.store.station_checks import StationCheck

DAY_S = 86_400.0


def tone(
    frequency_hz=440.0,
    *,
    length_s=6.0,
    rate_hz=44100,
    clock_ppm=0.0,
    amplitude=0.3,
    noise=1e-4,
    seed=1,
    harmonics=(),
    phase=0.7,
):
    """A sine that a recorder takes whose clock is fast by ``clock_ppm``: it takes more samples."""
    rng = np.random.default_rng(seed)
    times_s = np.arange(round(length_s * rate_hz)) / (rate_hz * (1 + clock_ppm * 1e-6))
    turns = 2 * np.pi * frequency_hz * times_s
    samples = amplitude * np.sin(turns + phase)
    for number, part in enumerate(harmonics, 2):
        samples += part * np.sin(number * turns + number)
    return samples + noise * rng.standard_normal(times_s.size)


def written(path: Path, samples, rate_hz=44100) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    soundfile.write(path, samples, rate_hz, subtype="PCM_24")
    return path


class Kept:
    """Checks in memory, in the store's order."""

    def __init__(self) -> None:
        self.rows: dict[tuple[str, str, str, str], StationCheck] = {}

    def add_station_checks(self, checks) -> None:
        for each in checks:
            self.rows[each.station, each.reference, each.characteristic, each.sha256] = each

    def station_checks(self, station=None):
        found = [each for each in self.rows.values() if station in {None, each.station}]
        return tuple(sorted(found, key=lambda each: each.checked_s))


def check_of(day: int, cents, *, unit="cents", held=True) -> Check:
    """A check of so many charted characteristics, a value each."""
    values = tuple(
        Value(f"c{number}_cents", f"c{number}", unit, "charted", float(value), 0.0, held=held)
        for number, value in enumerate(np.atleast_1d(cents))
    )
    return Check("s", "r", f"{day:064x}", "f", f"day {day}", day * DAY_S, values)


def past_of(day: int, cents) -> Past:
    values = {f"c{n}_cents": (float(v), 0.0) for n, v in enumerate(np.atleast_1d(cents))}
    return Past(f"{day:064x}", f"day {day}", day * DAY_S, values, sound=True, begins=False)


def cents_of_ppm(ppm: float) -> float:
    """1200 log2 of a ratio, written out: a clock fast by ``ppm`` makes a tone read flat."""
    return -1200 * math.log2(1 + ppm * 1e-6)
