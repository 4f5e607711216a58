"""From values to places in a drawing, and where the marks of an axis stand."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

_ROUND = (1.0, 2.0, 5.0, 10.0)


@dataclass(frozen=True)
class Scale:
    """A linear axis: ``low`` and ``high``, in its unit, lie at ``start`` and ``end``."""

    low: float
    high: float
    start: float
    end: float

    def at(self, value: float) -> float:
        """The place of a value, to a hundredth: finer than a screen."""
        share = (value - self.low) / (self.high - self.low)
        return round(self.start + share * (self.end - self.start), 2)

    def ticks(self, about: int) -> list[Tick]:
        """Round values inside the axis, about so many or fewer."""
        step = round_step((self.high - self.low) / about)
        decimals = max(0, -math.floor(math.log10(step) + 1e-9))
        first, last = math.ceil(self.low / step - 1e-9), math.floor(self.high / step + 1e-9)
        return [
            Tick(self.at(number * step), number * step, decimals)
            for number in range(first, last + 1)
        ]


@dataclass(frozen=True)
class Tick:
    """A mark of an axis: its place, its value, and with how many decimals that is written."""

    at: float
    value: float
    decimals: int


def with_room(values: Sequence[float], share: float, narrowest: float) -> tuple[float, float]:
    """The ends of an axis that holds all values, with a share of room beyond either end.

    It is at least ``narrowest`` wide, so that noise does not fill the drawing.
    """
    low, high = min(values), max(values)
    room = max((high - low) * share, (narrowest - (high - low)) / 2)
    return low - room, high + room


def round_step(least: float) -> float:
    """The next of 1, 2, 5 times a power of ten, ``least`` or more."""
    unit = 10.0 ** math.floor(math.log10(least))
    return next(each * unit for each in _ROUND if each * unit >= least * (1 - 1e-9))
