"""Drawings made of characters: columns of bars, and dots of Unicode's braille patterns.

A braille character holds two by four dots (The Unicode Standard, "Braille Patterns", U+2800): the
left column is bits 1, 2, 4, 64 from the top, the right one 8, 16, 32, 128. Where there is ASCII
only, a character holds one by two.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from analyzer.page.scale import Scale

_BRAILLE = 0x2800
_BITS = ((1, 8), (2, 16), (4, 32), (64, 128))  # by row and column
_BARS = " ▁▂▃▄▅▆▇█"
_ASCII_BARS = " ._-=+*#%"
_ASCII_DOTS = (" ", "'", ".", ":")  # by bit: above, below


@dataclass(frozen=True)
class Canvas:
    """So many characters, in which places run from the top left; ``ascii_only`` as it says."""

    columns: int
    rows: int
    ascii_only: bool

    @property
    def size(self) -> tuple[int, int]:
        """How many dots it is wide and high."""
        return (
            (self.columns, 2 * self.rows) if self.ascii_only else (2 * self.columns, 4 * self.rows)
        )

    def drawn(self, places: Iterable[tuple[float, float]]) -> list[str]:
        """Its rows, with a dot at each place that lies on it."""
        wide, high = self.size
        across, down = wide // self.columns, high // self.rows
        bits = [[0] * self.columns for _ in range(self.rows)]
        for x, y in places:
            column, row = int(x), int(y)
            if 0 <= column < wide and 0 <= row < high:
                bit = (1 << row % down) if self.ascii_only else _BITS[row % down][column % across]
                bits[row // down][column // across] |= bit
        return ["".join(map(self._character, row)) for row in bits]

    def _character(self, bits: int) -> str:
        if self.ascii_only:
            return _ASCII_DOTS[bits]
        return chr(_BRAILLE + bits) if bits else " "


def line_places(
    points: Sequence[tuple[float, float]], times: Scale, values: Scale
) -> list[tuple[float, float]]:
    """Places of a line through points, close enough that it does not break."""
    places: list[tuple[float, float]] = []
    for (x0, y0), (x1, y1) in pairwise(points):
        ends = (times.at(x0), values.at(y0), times.at(x1), values.at(y1))
        steps = max(1, round(2 * max(abs(ends[2] - ends[0]), abs(ends[3] - ends[1]))))
        for step in range(steps + 1):
            share = step / steps
            places.append(
                (ends[0] + share * (ends[2] - ends[0]), ends[1] + share * (ends[3] - ends[1]))
            )
    return places


def bars(values: Sequence[float], low: float, high: float, *, ascii_only: bool) -> str:
    """A row of bars, one character a value, from ``low`` and below to ``high``."""
    marks = _ASCII_BARS if ascii_only else _BARS
    top = len(marks) - 1
    shares = ((value - low) / (high - low) for value in values)
    return "".join(marks[round(top * min(max(share, 0.0), 1.0))] for share in shares)


def resampled(values: Sequence[float], columns: int) -> list[float]:
    """The largest of the values in each of so many columns, which are at most so many."""
    columns = min(columns, len(values))
    edges = [round(place * len(values) / columns) for place in range(columns + 1)]
    return [max(values[a:b]) for a, b in pairwise(edges)]
