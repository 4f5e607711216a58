"""The setbacks of saddle and nut that suit a string best, after [AB24]."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy.optimize import brentq

from analyzer.music import CENTS_PER_NEPER
from analyzer.string_model.fretting import (
    Ends,
    FrettedString,
    Setbacks,
    error_parts,
    fret_error_cents,
    gamma,
)

FIRST_TWELVE = tuple(range(1, 13))  # the frets that [AB24] fits over
FURTHEST_SETBACK_MM = 60.0  # brackets the search; no saddle goes nearly so far


def closed_form_setbacks(string: FrettedString) -> Setbacks:
    """To first order over frets 1 to 12.

    dS = B0 X0 + kappa [(b+c)^2 - 7 b^2] / (4 X0), dN = -kappa (5b + c) b / (2 X0).
    """
    x0, b, c = string.scale_length_mm, string.height_nut_mm, string.rise_mm
    saddle_mm = string.stiffness * x0 + string.kappa / (4 * x0) * ((b + c) ** 2 - 7 * b**2)
    return Setbacks(saddle_mm, -string.kappa / (2 * x0) * (5 * b + c) * b)


def least_squares_setbacks(
    string: FrettedString, frets: Sequence[int] = FIRST_TWELVE, ends: Ends = "hybrid"
) -> Setbacks:
    """The setbacks with the least sum of squared errors over the frets, to first order in them.

    With w = gamma - 1, g_k = sum w^k, Z_n the error at zero setback in nepers with its length term
    expanded, and Z_k = sum w^k Z_n: dS = X0 (g0 Z1 - g1 Z0) / (g0 g2 - g1^2),
    dN = -X0 (g2 Z0 - g1 Z1) / (g0 g2 - g1^2).
    """
    w = np.array([gamma(fret) - 1 for fret in frets])
    z = np.array([_unplaced(string, fret, ends) for fret in frets])
    g0, g1, g2 = (float(np.sum(w**k)) for k in range(3))
    z0, z1 = float(np.sum(z)), float(np.sum(w * z))
    by = string.scale_length_mm / (g0 * g2 - g1**2)
    return Setbacks(by * (g0 * z1 - g1 * z0), -by * (g2 * z0 - g1 * z1))


def null_setback_mm(
    string: FrettedString, nut_mm: float = 0.0, fret: int = 12, ends: Ends = "hybrid"
) -> float:
    """The saddle's setback at which one fret has no error, the nut left where it is, mm.

    ValueError where there is none within 60 mm.
    """

    def error_cents(saddle_mm: float) -> float:
        return float(fret_error_cents(string, fret, Setbacks(saddle_mm, nut_mm), ends))

    return float(brentq(error_cents, -FURTHEST_SETBACK_MM, FURTHEST_SETBACK_MM, xtol=1e-9))


def rms_cents(string: FrettedString, setbacks: Setbacks, *, points: int = 12) -> float:
    """Root mean square error over frets 1 to 12, cents.

    ``points`` is what the sum is divided by: 12 as [AB24] defines it; its tables hold what 13
    gives, the open string counted with no error.
    """
    squares = (fret_error_cents(string, fret, setbacks) ** 2 for fret in FIRST_TWELVE)
    return math.sqrt(sum(squares) / points)


def _unplaced(string: FrettedString, fret: int, ends: Ends) -> float:
    parts = error_parts(string, fret, Setbacks(), ends)
    known_cents = parts.tension_cents + parts.density_cents + parts.stiffness_cents
    b, c = string.height_nut_mm, string.rise_mm
    lengths = ((gamma(fret) * (b + c)) ** 2 - c**2) / (2 * string.scale_length_mm**2)
    return float(known_cents / CENTS_PER_NEPER - lengths)
