"""What a move of its saddle does to a string's error at the 12th fret.

With the saddle's break point at setback c beyond the nominal scale length S, the open string is
S + c long and the one stopped at the 12th fret S/2 + c. After a move by d (positive: away from the
nut) and retuning, the error has changed by

    1200 log2[(S + c + d) / (S + 2c + 2d)] - 1200 log2[(S + c) / (S + 2c)]                   (1)

which is about -(1200 / ln 2) d / S. The setback is seldom known and matters little (at 3 mm, 1.4 %
of the move), so c is zero unless it is given.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from analyzer.instrument.model import Instrument
from analyzer.music import CENTS_PER_NEPER, CENTS_PER_OCTAVE
from analyzer.string_model.of_instrument import modelled_effect, setback_mm

Array = NDArray[np.float64]
FURTHEST_MOVE_MM = 60.0  # brackets the search; no saddle goes nearly so far


class SaddleEffect(Protocol):
    """A string's answer to its saddle. Moves are in mm from where the saddle is, away from the nut.

    Both methods take and give numbers or arrays of any shape, element by element. The change must
    be 0 at 0 and fall as the move grows.
    """

    def change_cents(self, move_mm: Any) -> Any:
        """The change of the string's error by a move, after retuning, cents."""

    def slope_cents_per_mm(self, move_mm: Any) -> Any:
        """The derivative of ``change_cents``."""


@dataclass(frozen=True)
class LengthEffect:
    """Equation (1): lengths alone, as if the string had no stiffness."""

    scale_length_mm: float
    setback_mm: float = 0.0

    def change_cents(self, move_mm: Any) -> Any:
        s, c, d = self.scale_length_mm, self.setback_mm, np.asarray(move_mm)
        after, before = (s + c + d) / (s + 2 * c + 2 * d), (s + c) / (s + 2 * c)
        return CENTS_PER_OCTAVE * np.log2(after / before)

    def slope_cents_per_mm(self, move_mm: Any) -> Any:
        s, at = self.scale_length_mm, self.setback_mm + np.asarray(move_mm)
        return CENTS_PER_NEPER * (1 / (s + at) - 2 / (s + 2 * at))


def effects_of(instrument: Instrument) -> dict[int, SaddleEffect]:
    """The effect for each string whose scale length is known: the one place that chooses it.

    By the full model where the string's data are given, else by its length.
    """
    lengths = {string: instrument.scale_length_mm(string) for string in instrument.strings}
    return {
        string: modelled_effect(instrument, string)
        or LengthEffect(length_mm, setback_mm(instrument, string))
        for string, length_mm in lengths.items()
        if length_mm is not None
    }


def saddle_move_mm(error_cents: float, effect: SaddleEffect) -> float:
    """The move that takes a string's error to zero, mm; none is longer than 60 mm.

    A string of 650 mm is 1200 / ln 2 / 650 = 2.66 cents sharper or flatter for each mm; a sharp
    12th fret takes its saddle away from the nut.

    >>> round(saddle_move_mm(2.66, LengthEffect(650.0)), 2)
    1.0
    >>> round(saddle_move_mm(-2.66, LengthEffect(650.0)), 2)
    -1.0
    """

    def left_cents(move_mm: float) -> float:
        return error_cents + float(effect.change_cents(move_mm))

    if left_cents(-FURTHEST_MOVE_MM) <= 0:
        return -FURTHEST_MOVE_MM
    if left_cents(FURTHEST_MOVE_MM) >= 0:
        return FURTHEST_MOVE_MM
    return float(brentq(left_cents, -FURTHEST_MOVE_MM, FURTHEST_MOVE_MM, xtol=1e-9))


def saddle_move_uncertainty_mm(
    error_cents: float, uncertainty_cents: float, effect: SaddleEffect
) -> float:
    """Half-width of the move's interval, mm, from that of the error."""
    upper = saddle_move_mm(error_cents + uncertainty_cents, effect)
    lower = saddle_move_mm(error_cents - uncertainty_cents, effect)
    return (upper - lower) / 2
