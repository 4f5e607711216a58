"""One string behind several partials: the stiff-string law, fitted robustly.

    ln(f_k / k) = ln f1 + (1/2) ln[(1 + B k^2) / (1 + B)]                                   (1)

(Fletcher 1964). Single partials of real instruments stray from the law by a cent or more: a
resonating body, a pickup's magnet. So each partial has, beside the variance with which it was
measured, a share of a common scatter that the partials themselves show, and one that strays far
counts less (weights of Student's t; K. Lange et al., J. Amer. Statist. Assoc. 84, 881, 1989).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from analyzer.music import CENTS_PER_NEPER
from analyzer.pitch.partials import stretched
from analyzer.pitch.spectrum import Real

PRIOR_STIFFNESS = 1.0e-4
PRIOR_STIFFNESS_SD = 3.0e-4
_TAIL = 4.0  # degrees of freedom of Student's t
_ITERATIONS = 12
_SETTLED = 1e-7  # relative: 0.0002 cents


@dataclass(frozen=True)
class StringFit:
    """``f1_hz``: the first partial under the law. Half-widths are of 95 % intervals.

    ``misfit_cents``: standard deviation of the partials about the law, beyond their noise.
    ``residuals_cents`` (partials,): measured less fitted. ``weights`` (partials,): the inverse
    variance with which each entered the last step, its scatter in it, as a share of their sum.
    """

    f1_hz: float
    uncertainty_cents: float
    stiffness: float
    stiffness_uncertainty: float
    misfit_cents: float
    residuals_cents: Real
    weights: Real


def fit_string(numbers: Real, frequencies_hz: Real, covariance: Real, standing: Real) -> StringFit:
    """Fit equation (1).

    ``numbers`` and ``frequencies_hz`` have shape (partials,), ``covariance`` (partials, partials)
    is of the relative frequencies. ``standing`` (partials,), from 0 to 1, is the say that each
    partial has against the scatter.
    """
    log_f = np.log(frequencies_hz / numbers)
    log_f1, stiffness = float(log_f[0]), PRIOR_STIFFNESS
    scatter, trust = 0.0, standing
    prior = np.diag([0.0, PRIOR_STIFFNESS_SD**-2])
    for _ in range(_ITERATIONS):
        k2 = numbers**2
        slope = 0.5 * (k2 / (1 + stiffness * k2) - 1 / (1 + stiffness))
        design = np.stack([np.ones(numbers.size), slope], axis=1)
        residual = log_f - np.log(stretched(numbers, np.exp(log_f1), stiffness) / numbers)
        spread = covariance + np.diag(scatter / trust)
        weight = np.linalg.inv(spread)
        information = design.T @ weight @ design + prior
        gain = np.linalg.inv(information)
        pull = design.T @ weight @ residual + prior @ [0.0, PRIOR_STIFFNESS - stiffness]
        step = gain @ pull
        log_f1, stiffness = log_f1 + step[0], max(stiffness + step[1], 0.0)
        residual = residual - design @ step
        scatter = _scatter(residual, design, covariance, trust, scatter)
        size = np.diag(covariance) + scatter
        trust = standing * (_TAIL + 1) / (_TAIL + residual**2 / size)
        if abs(step[0]) < _SETTLED:
            break
    freedom = _freedom(numbers.size, scatter, np.diag(covariance))
    factor = float(stdtrit(freedom, 0.975))
    certain = 1 / np.diag(spread)
    return StringFit(
        float(np.exp(log_f1)),
        factor * CENTS_PER_NEPER * float(np.sqrt(gain[0, 0])),
        stiffness,
        factor * float(np.sqrt(gain[1, 1])),
        CENTS_PER_NEPER * float(np.sqrt(scatter)),
        CENTS_PER_NEPER * residual,
        certain / np.sum(certain),
    )


def _scatter(residual: Real, design: Real, covariance: Real, trust: Real, scatter: float) -> float:
    """Variance about the law beyond the measured one (moments; DerSimonian and Laird 1986)."""
    if residual.size < 3:
        return 0.0
    own = np.diag(covariance)
    weight = trust / (own + scatter)
    hat = design @ np.linalg.inv(design.T @ (weight[:, None] * design)) @ (design.T * weight)
    kept = np.eye(residual.size) - hat
    expected = np.sum((kept @ covariance) * kept, axis=1)
    excess = np.sum(weight * (residual**2 - expected))
    per_unit = np.sum(weight * (kept**2 @ (1 / trust)))
    return max(float(excess / per_unit), 0.0)


def _freedom(partials: int, scatter: float, own: Real) -> float:
    """Degrees of freedom of the interval: few where the partials' scatter rules it."""
    share = scatter / (scatter + float(np.median(own)))
    return max(1.0, partials - 2.0) / max(share**2, 1e-3)
