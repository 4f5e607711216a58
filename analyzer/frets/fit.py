"""Three causes of a fretted note's error, told apart by how they go with the fret.

To first order [AB24] (see ``string_model``), with w = 2^(n/12) - 1, the error at fret n is

    s w  +  t  +  u w_1 / w                                                                  (1)

* s, the saddle's part, in cents at the 12th fret: its position, the string's stiffness, and what
  of the stretch the saddle can make up for: all these go with w;
* t, the nut's part, in cents at every fret: its position, and the same of the stretch there;
* u, the fretting stretch that neither can make up for, in cents at fret 1 (w_1 is w there): it goes
  with the square of the string's height at the nut.

A high action is thus hidden in s and t: it sounds like a saddle and a nut out of place, and their
moves cure it. The parts come from generalized least squares; all errors share the open note's.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analyzer.music import CENTS_PER_NEPER
from analyzer.string_model.fretting import gamma
from analyzer.string_model.setbacks import FIRST_TWELVE

FEWEST_FRETS = 3  # as many as there are parts
# Frets are not where they should be to better than this, standard deviation. A judgement.
FRET_PLACING_SD_MM = 0.05

Real = NDArray[np.float64]


@dataclass(frozen=True)
class FretError:
    """A fretted note against the open string, in cents, and its own variance in cents squared."""

    cents: float
    variance: float


@dataclass(frozen=True)
class Part:
    """One part of the error, cents, with the half-width of its 95 % interval."""

    cents: float
    uncertainty_cents: float


@dataclass(frozen=True)
class Parts:
    """``saddle`` at fret 12, ``nut`` at every fret, ``stretch`` at fret 1 (equation 1).

    ``saddle_move_mm`` (positive away from the nut) and ``nut_move_mm`` (positive lengthens the
    string, negative is toward the saddle) leave the least sum of squares over frets 1 to 12, with
    the stretch as it is. ``misfit_cents`` is the root mean square of what the parts leave over.
    """

    saddle: Part
    nut: Part
    stretch: Part
    saddle_move_mm: float
    saddle_move_uncertainty_mm: float
    nut_move_mm: float
    nut_move_uncertainty_mm: float
    misfit_cents: float


def shapes(frets: Sequence[int]) -> Real:
    """How saddle, nut and stretch go with the fret, equation (1): shape (frets, 3)."""
    w = np.array([gamma(fret) - 1 for fret in frets])
    return np.stack([w, np.ones_like(w), (gamma(1) - 1) / w], axis=1)


def fit_parts(
    errors: Mapping[int, FretError],
    open_variance: float,
    coverage: float,
    scale_length_mm: float,
) -> Parts:
    """Fit equation (1) to the errors by fret.

    Parameters
    ----------
    errors : at least three frets, from 1 up.
    open_variance : variance of the open note that all errors share, cents squared.
    coverage : the factor from a standard deviation to the half-width of a 95 % interval.

    Raises ValueError for fewer than three frets.
    """
    if len(errors) < FEWEST_FRETS:
        raise ValueError(f"{len(errors)} frets cannot tell three parts apart")
    frets = sorted(errors)
    cents = np.array([errors[fret].cents for fret in frets])
    own = [errors[fret].variance + _placing_variance(fret, scale_length_mm) for fret in frets]
    weight = np.linalg.inv(np.diag(own) + open_variance)
    design = shapes(frets)
    covariance = np.linalg.inv(design.T @ weight @ design)
    parts = np.asarray(covariance @ design.T @ weight @ cents)
    left = cents - design @ parts
    freedom = len(frets) - FEWEST_FRETS
    excess = float(left @ weight @ left) / freedom if freedom else 1.0
    covariance *= max(1.0, excess)
    return _in_figures(parts, np.asarray(covariance), coverage, scale_length_mm, left)


def _in_figures(
    parts: Real, covariance: Real, coverage: float, scale_length_mm: float, left: Real
) -> Parts:
    half = coverage * np.sqrt(np.diag(covariance))
    mm_per_cent = scale_length_mm / CENTS_PER_NEPER
    # What saddle and nut, as they stand, can best make up for over frets 1 to 12.
    over_twelve = shapes(FIRST_TWELVE)
    share = np.linalg.lstsq(over_twelve[:, :2], over_twelve, rcond=None)[0]
    moves_mm = mm_per_cent * np.array([1.0, -1.0]) * (share @ parts)
    moves_half_mm = mm_per_cent * coverage * np.sqrt(np.diag(share @ covariance @ share.T))
    saddle, nut, stretch = (Part(float(p), float(h)) for p, h in zip(parts, half, strict=True))
    return Parts(
        saddle,
        nut,
        stretch,
        float(moves_mm[0]),
        float(moves_half_mm[0]),
        float(moves_mm[1]),
        float(moves_half_mm[1]),
        float(np.sqrt(np.mean(left**2))),
    )


def _placing_variance(fret: int, scale_length_mm: float) -> float:
    sounding_mm = scale_length_mm / gamma(fret)
    return (CENTS_PER_NEPER * FRET_PLACING_SD_MM / sounding_mm) ** 2


def harmonic_law_cents(open_stiffness: float) -> float:
    """How far the harmonic over fret 12 lies above twice the open note by the string law, cents.

    1200 log2 of sqrt((1 + 4B) / (1 + B)), B Fletcher's at the open string: it is its 2nd partial.

    >>> harmonic_law_cents(0.0), round(harmonic_law_cents(1e-4), 3)  # 1731.234 * 3 B / 2
    (0.0, 0.26)
    """
    return CENTS_PER_NEPER * math.log((1 + 4 * open_stiffness) / (1 + open_stiffness)) / 2
