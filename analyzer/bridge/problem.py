"""The strings that hang together at a bridge, and how good a setting of their adjusters is.

The settings x (mm, one an adjuster) move the strings' saddles by A x, A the matrix of shares times
the learned response; string i is then off by

    r_i(x) = e_i + f_i((A x)_i)                                                              (1)

with e_i its error now and f_i its effect. Two settings are compared by the worst error that is
beyond doubt, the largest of |r_i| - d_i, then by the sum of squares of r_i / (1 + d_i). A string
counts in full while it is known to a cent, about the goal of good work; of a string known less
well, d_i is what its uncertainty exceeds that by, so it cannot pull the others further than it is
known. Dividing by the uncertainty instead would let two strings that are both known well, but not
equally, share a difference unequally.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from analyzer.bridge.effect import FURTHEST_MOVE_MM, Array, SaddleEffect
from analyzer.instrument.model import Adjuster

KNOWN_WELL_CENTS = 1.0  # nobody asks more of a setting; a choice, see above


@dataclass(frozen=True)
class Need:
    """What one string asks of the bridge: its error, how sure that is, and how it can be changed.

    ``error_uncertainty_cents`` is the half-width of a 95 % interval.
    """

    error_cents: float
    effect: SaddleEffect
    error_uncertainty_cents: float = 0.0


@dataclass(frozen=True, eq=False)
class Problem:
    """Strings and the adjusters that move them; ``shares`` is A of equation (1), (n, m).

    ``low_mm`` and ``high_mm``, (m,), bound the settings: the travel, where it is known.
    """

    strings: tuple[int, ...]
    needs: tuple[Need, ...]
    adjusters: tuple[Adjuster, ...]
    shares: Array
    low_mm: Array
    high_mm: Array

    @cached_property
    def errors_cents(self) -> Array:
        return np.array([need.error_cents for need in self.needs])

    @cached_property
    def uncertainties_cents(self) -> Array:
        return np.array([need.error_uncertainty_cents for need in self.needs])

    @cached_property
    def doubts_cents(self) -> Array:
        return np.maximum(self.uncertainties_cents - KNOWN_WELL_CENTS, 0.0)

    @property
    def steps_mm(self) -> Array | None:
        """The smallest step of each adjuster, (m,), or None where one of them has none."""
        steps = [
            each.steps.smallest_mm for each in self.adjusters if each.steps.smallest_mm is not None
        ]
        return np.array(steps, dtype=float) if len(steps) == len(self.adjusters) else None

    def moves_mm(self, settings_mm: Array) -> Array:
        """How far each string's saddle moves, (..., n), for settings (..., m)."""
        return np.asarray(settings_mm @ self.shares.T)

    def residuals_cents(self, settings_mm: Array) -> Array:
        """Equation (1), (..., n), for settings (..., m)."""
        moves = self.moves_mm(settings_mm)
        changes = [need.effect.change_cents(moves[..., i]) for i, need in enumerate(self.needs)]
        return np.asarray(self.errors_cents + np.stack(changes, axis=-1))

    def jacobian(self, settings_mm: Array) -> Array:
        """Derivatives of equation (1), cents per mm of each adjuster, (n, m)."""
        moves = self.moves_mm(settings_mm)
        slopes = [need.effect.slope_cents_per_mm(moves[i]) for i, need in enumerate(self.needs)]
        return np.asarray(np.array(slopes)[:, None] * self.shares)

    def worst_cents(self, residuals_cents: Array) -> Array:
        """The worst error beyond doubt, (...), of residuals (..., n)."""
        return np.asarray(np.max(np.abs(residuals_cents) - self.doubts_cents, axis=-1))

    def squares(self, residuals_cents: Array) -> Array:
        """The sum of squares that decides between settings whose worst is the same, (...)."""
        return np.asarray(np.sum((residuals_cents / (1 + self.doubts_cents)) ** 2, axis=-1))

    def without_travel(self) -> Problem:
        """The same with nothing in the way."""
        far = np.full(len(self.adjusters), FURTHEST_MOVE_MM)
        return replace(self, low_mm=-far, high_mm=far)

    def holding(self, held: Sequence[int]) -> Problem:
        """The same with some adjusters, by their place, left as they are."""
        low, high = self.low_mm.copy(), self.high_mm.copy()
        low[list(held)] = high[list(held)] = 0.0
        return replace(self, low_mm=low, high_mm=high)


def problem_of(
    strings: Sequence[int],
    adjusters: Sequence[Adjuster],
    needs: Mapping[int, Need],
    factors: Mapping[str, float],
) -> Problem:
    """The problem of these strings and adjusters; ``factors`` are their responses, 1 if absent."""
    shares = [
        [each.share.get(string, 0.0) * factors.get(each.name, 1.0) for each in adjusters]
        for string in strings
    ]
    unknown = (FURTHEST_MOVE_MM, FURTHEST_MOVE_MM)
    travels = [unknown if each.travel_mm is None else each.travel_mm for each in adjusters]
    return Problem(
        tuple(strings),
        tuple(needs[string] for string in strings),
        tuple(adjusters),
        np.array(shares),
        -np.array([toward for toward, _ in travels]),
        np.array([away for _, away in travels]),
    )


def parts_of(adjusters: Sequence[Adjuster]) -> Iterator[tuple[list[int], list[Adjuster]]]:
    """Split a bridge into parts that have no string in common; each is set by itself."""
    left = list(adjusters)
    while left:
        part = [left.pop(0)]
        strings = dict.fromkeys(part[0].strings)
        grown = True
        while grown:
            joining = [each for each in left if not strings.keys().isdisjoint(each.strings)]
            grown = bool(joining)
            for each in joining:
                left.remove(each)
                part.append(each)
                strings.update(dict.fromkeys(each.strings))
        part.sort(key=list(adjusters).index)
        yield list(strings), part
