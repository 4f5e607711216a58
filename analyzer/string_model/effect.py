"""What moving the saddle does to one string, by the full model: length, tension and stiffness.

The open string is retuned after the move, so a longer string is a tighter one: its stretch at the
fret counts for less and so does its stiffness. The length rule alone leaves that out and asks for
up to 2 % more.
"""

from __future__ import annotations

from dataclasses import dataclass

from scipy.optimize import brentq

from analyzer.string_model.fretting import (
    FrettedString,
    Setbacks,
    fret_error_cents,
    open_length_mm,
)
from analyzer.string_model.setbacks import FURTHEST_SETBACK_MM

TWELFTH = 12


@dataclass(frozen=True)
class SaddleEffect:
    """How a string's 12th-fret error answers to its saddle.

    ``setback_mm`` is where the saddle's break point is now, beyond the nominal scale length.
    """

    string: FrettedString
    setback_mm: float = 0.0

    def effect_cents(self, move_mm: float) -> float:
        """The change of the 12th-fret error by a move, cents; positive moves lower it.

        ``move_mm`` is positive away from the nut, and within 60 mm either way.
        """
        return self._error_cents(self.setback_mm + move_mm) - self._error_cents(self.setback_mm)

    def move_mm(self, error_cents: float) -> float:
        """The move that takes a measured error to zero, mm; ValueError where none does."""
        low_mm, high_mm = -FURTHEST_SETBACK_MM, FURTHEST_SETBACK_MM
        return float(
            brentq(lambda mm: error_cents + self.effect_cents(mm), low_mm, high_mm, xtol=1e-9)
        )

    def move_uncertainty_mm(self, error_cents: float, uncertainty_cents: float) -> float:
        """Half-width of the move's interval, mm, from that of the error."""
        upper_mm = self.move_mm(error_cents + uncertainty_cents)
        return (upper_mm - self.move_mm(error_cents - uncertainty_cents)) / 2

    def _error_cents(self, saddle_mm: float) -> float:
        setbacks = Setbacks(saddle_mm)
        string = self.string.retuned(open_length_mm(self.string, setbacks))
        return fret_error_cents(string, TWELFTH, setbacks)
