"""One invented instrument over three years: recordings with known errors, kept in a store."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from pathlib import Path

from two_rounds import BEFORE, write_round

from analyzer.analysis import read_inputs
from analyzer.bench import bench_of

SERIAL = "D-7"
# String 2 is set right in the second year and string 1 in the third.
TRUTHS_CENTS = (BEFORE, {2: 0.5, 1: -5.0}, {2: 0.5, 1: 1.0})
YEARS = (2021, 2022, 2023)


def recorded_at(folder: Path, year: int) -> float:
    """Give the recordings of a folder the time of a day in May of that year; that time."""
    moment_s = datetime(year, 5, 2, 10, tzinfo=UTC).timestamp()
    for path in folder.iterdir():
        os.utime(path, (moment_s, moment_s))
    return moment_s


def write_rounds(place: Path) -> list[Path]:
    """A folder a year."""
    place.mkdir(exist_ok=True)
    folders = []
    for year, errors in zip(YEARS, TRUTHS_CENTS, strict=True):
        folders.append(write_round(place / str(year), errors))
        recorded_at(folders[-1], year)
    return folders


def keep_rounds(place: Path, store: Path) -> list[Path]:
    """The same, analyzed and kept; the last first, for a shop files its shelves when it can."""
    folders = write_rounds(place)
    for folder in reversed(folders):
        bench = bench_of(store, folder, SERIAL)
        bench.analyze(read_inputs(folder), jobs=1)
        bench.keep()
    return folders
