"""The limits that a value is held to, as the statistics need them."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Tolerance:
    """Specification limits and target, in the unit of the values; None where there is none.

    ValueError where there is no limit at all, where one is not finite, where they are in the wrong
    order, or where the target lies outside them.
    """

    lower: float | None = None
    upper: float | None = None
    target: float | None = None

    def __post_init__(self) -> None:
        low, high = self.lower, self.upper
        if low is None and high is None:
            raise ValueError("no limit; give a lower or an upper one")
        if any(each is not None and not math.isfinite(each) for each in (low, high, self.target)):
            raise ValueError("a limit or target is not a finite number; leave out what is not set")
        if low is not None and high is not None and low >= high:
            raise ValueError(f"the lower limit {low} is not below the upper limit {high}")
        if self.target is not None and not self.holds(self.target):
            raise ValueError(f"the target {self.target} lies outside the limits")

    def holds(self, value: float) -> bool:
        """Whether a value conforms; the limits themselves do."""
        return (self.lower is None or value >= self.lower) and (
            self.upper is None or value <= self.upper
        )

    @property
    def width(self) -> float | None:
        """Upper less lower; None with one limit only."""
        return None if self.lower is None or self.upper is None else self.upper - self.lower

    def nearest(self, mean: float) -> float:
        """The distance from ``mean`` to the nearer limit, negative where it lies beyond it."""
        above = math.inf if self.upper is None else self.upper - mean
        below = math.inf if self.lower is None else mean - self.lower
        return min(above, below)
