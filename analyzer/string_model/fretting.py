"""One string stopped at a fret: its lengths, its stretch and the error they make, after [AB24].

With gamma = 2^(n/12), X0 the nominal scale length and X_n = X0 / gamma:

    L0  = sqrt((X0 + dS + dN)^2 + c^2)                                open                   (1)
    Ln  = sqrt((X_n + dS)^2 + (b + c)^2)                              saddle to fret         (2)
    Ln' = sqrt((X0 - X_n + dN)^2 + b^2)                               fret to nut            (3)
    Q   = (Ln + Ln' - L0) / L0                                        relative stretch       (4)
    B_n = B0 (L0 / Ln) / sqrt(1 + kappa Q)                            stiffness at the fret  (5)
    error = 1200 log2(L0 / (gamma Ln)) + 600 log2(1 + Q) + 600 log2(1 + kappa Q)
            + 1200 log2(e(B_n) / e(B0))                                                      (6)

where e(B) says how the ends are held. The finger presses close behind the fret (the paper's d = 0).
Setbacks may be arrays; the errors then are, element by element.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any, Literal

import numpy as np

from analyzer.music import CENTS_PER_OCTAVE, SEMITONES_PER_OCTAVE

Ends = Literal["hybrid", "pinned", "clamped"]
_HYBRID_SQUARE = 1 + math.pi**2 / 2


def _hybrid(b: Any) -> Any:
    return 1 + b + _HYBRID_SQUARE * b**2  # pinned saddle, clamped fret or nut: [AB24]


def _pinned(b: Any) -> Any:
    return np.sqrt(1 + (math.pi * b) ** 2)  # Fletcher 1964


def _clamped(b: Any) -> Any:
    return _pinned(b) * (1 + 2 * b + 4 * b**2)  # Fletcher 1964, clamped ends: from memory


_RAISED_BY: Mapping[Ends, Callable[[Any], Any]] = MappingProxyType(
    {"hybrid": _hybrid, "pinned": _pinned, "clamped": _clamped}
)


@dataclass(frozen=True)
class Setbacks:
    """Where the string's ends lie beyond the nominal scale, mm; positive makes it longer.

    Numbers, or arrays of one shape.
    """

    saddle_mm: Any = 0.0
    nut_mm: Any = 0.0


@dataclass(frozen=True)
class FrettedString:
    """A string on its instrument, with ``kappa`` and ``stiffness`` at the nominal length.

    ``height_nut_mm`` is b and ``rise_mm`` is c: the string lies b above the plane of the fret tops
    at the nut, and b + c at the saddle.
    """

    scale_length_mm: float
    kappa: Any
    stiffness: Any
    height_nut_mm: float
    rise_mm: float

    def retuned(self, open_length_mm: Any) -> FrettedString:
        """The same string at another length and at its old pitch: tension goes with length^2.

        So kappa = E A / T and B0 = sqrt(E I / (T L^2)) fall with the square of the length.
        """
        share = (self.scale_length_mm / open_length_mm) ** 2
        return replace(self, kappa=share * self.kappa, stiffness=share * self.stiffness)


@dataclass(frozen=True)
class ErrorParts:
    """The terms of equation (6), cents: numbers, or arrays of the setbacks' shape."""

    length_cents: Any
    density_cents: Any
    tension_cents: Any
    stiffness_cents: Any

    @property
    def total_cents(self) -> Any:
        return self.length_cents + self.density_cents + self.tension_cents + self.stiffness_cents


def gamma(fret: int) -> float:
    """The frequency ratio of a fret to the open string in equal temperament."""
    return float(2 ** (fret / SEMITONES_PER_OCTAVE))


def open_length_mm(string: FrettedString, setbacks: Setbacks) -> Any:
    """Equation (1)."""
    along_mm = string.scale_length_mm + setbacks.saddle_mm + setbacks.nut_mm
    return np.hypot(along_mm, string.rise_mm)


def error_parts(
    string: FrettedString, fret: int, setbacks: Setbacks, ends: Ends = "hybrid"
) -> ErrorParts:
    """Equation (6) at a fret from 1 up, against the open string, term by term."""
    b, c = string.height_nut_mm, string.rise_mm
    fret_mm = string.scale_length_mm / gamma(fret)
    open_mm = open_length_mm(string, setbacks)
    sounding_mm = np.hypot(fret_mm + setbacks.saddle_mm, b + c)
    behind_mm = np.hypot(string.scale_length_mm - fret_mm + setbacks.nut_mm, b)
    stretch = (sounding_mm + behind_mm - open_mm) / open_mm
    tension = 1 + string.kappa * stretch
    stiffer = string.stiffness * (open_mm / sounding_mm) / np.sqrt(tension)
    raised = _RAISED_BY[ends]
    return ErrorParts(
        _cents(open_mm / (gamma(fret) * sounding_mm)),
        _cents(1 + stretch) / 2,
        _cents(tension) / 2,
        _cents(raised(stiffer) / raised(string.stiffness)),
    )


def fret_error_cents(
    string: FrettedString, fret: int, setbacks: Setbacks, ends: Ends = "hybrid"
) -> Any:
    """How sharp a fretted note is of equal temperament on the open string, cents."""
    return error_parts(string, fret, setbacks, ends).total_cents


def _cents(ratio: Any) -> Any:
    return CENTS_PER_OCTAVE * np.log2(ratio)
