"""What moving the saddle does to one string, by the full model: length, tension and stiffness.

The open string is retuned after the move, so a longer string is a tighter one: its stretch at the
fret counts for less and so does its stiffness. The length rule alone leaves that out and asks for
up to 2 % more.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.optimize import brentq

from analyzer.string_model.fretting import (
    Ends,
    FrettedString,
    Setbacks,
    fret_error_cents,
    open_length_mm,
)
from analyzer.string_model.setbacks import FURTHEST_SETBACK_MM

TWELFTH = 12
_SLOPE_STEP_MM = 1e-3


@dataclass(frozen=True)
class ModelledEffect:
    """How a string's 12th-fret error answers to its saddle.

    ``setback_mm`` is where the saddle's break point is now, beyond the nominal scale length. Moves
    are in mm from there, positive away from the nut, within 60 mm; numbers, or arrays of any shape.
    """

    string: FrettedString
    setback_mm: float = 0.0
    ends: Ends = "hybrid"

    def change_cents(self, move_mm: Any) -> Any:
        """The change of the 12th-fret error by a move, cents; it falls as the move grows."""
        at_mm = self.setback_mm + np.asarray(move_mm)
        return self.error_cents(at_mm) - self.error_cents(self.setback_mm)

    def slope_cents_per_mm(self, move_mm: Any) -> Any:
        """The derivative of ``change_cents``."""
        at_mm = self.setback_mm + np.asarray(move_mm)
        rise = self.error_cents(at_mm + _SLOPE_STEP_MM) - self.error_cents(at_mm - _SLOPE_STEP_MM)
        return rise / (2 * _SLOPE_STEP_MM)

    def move_mm(self, error_cents: float) -> float:
        """The move that takes a measured error to zero, mm; ValueError where none does."""
        now_cents = float(self.error_cents(self.setback_mm))

        def left_cents(move_mm: float) -> float:
            return error_cents + float(self.error_cents(self.setback_mm + move_mm)) - now_cents

        return float(brentq(left_cents, -FURTHEST_SETBACK_MM, FURTHEST_SETBACK_MM, xtol=1e-9))

    def move_uncertainty_mm(self, error_cents: float, uncertainty_cents: float) -> float:
        """Half-width of the move's interval, mm, from that of the error."""
        return uncertainty_cents / abs(float(self.slope_cents_per_mm(self.move_mm(error_cents))))

    def error_cents(self, saddle_mm: Any) -> Any:
        """The model's own 12th-fret error with the saddle's setback at ``saddle_mm``, retuned."""
        setbacks = Setbacks(saddle_mm)
        string = self.string.retuned(open_length_mm(self.string, setbacks))
        return fret_error_cents(string, TWELFTH, setbacks, self.ends)

    def best_setback_mm(self) -> float:
        """The setback at which the model has no error at the 12th fret, mm."""
        return self.setback_mm + self.move_mm(float(self.error_cents(self.setback_mm)))
