"""Standard uncertainties put together, with the degrees of freedom behind the sum.

    u_c^2 = sum(u_i^2),  nu_eff = u_c^4 / sum(u_i^4 / nu_i)                                    (1)

the formula of Welch and Satterthwaite (JCGM 100:2008, G.4.1), u_i with their sensitivity in them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri, stdtrit

from analyzer.lot.statistics.figure import CONFIDENCE

_METHOD = "root sum of squares; Welch and Satterthwaite; Student's t"


@dataclass(frozen=True)
class CombinedUncertainty:
    """Equation (1), in the unit of the components; ``degrees_of_freedom`` may be infinite."""

    method: str
    standard: float
    degrees_of_freedom: float

    def coverage_factor(self, confidence: float = CONFIDENCE) -> float:
        """Student's t for the degrees of freedom cut to a whole number (JCGM 100:2008, G.4.1)."""
        upper = (1 + confidence) / 2
        if math.isinf(self.degrees_of_freedom):
            return float(ndtri(upper))
        return float(stdtrit(max(1, math.floor(self.degrees_of_freedom)), upper))

    def expanded(self, confidence: float = CONFIDENCE) -> float:
        """The half-width of the interval that holds ``confidence`` (0 to 1)."""
        return self.coverage_factor(confidence) * self.standard


def combined_uncertainty(
    components: Sequence[float], degrees_of_freedom: Sequence[float]
) -> CombinedUncertainty:
    """Equation (1) for uncorrelated ``components``, each with its own degrees of freedom.

    Infinite degrees of freedom are those of a value known without doubt. ValueError where a
    component is negative or has no degree of freedom, or where the two differ in number.
    """
    u, nu = np.array(components, dtype=float), np.array(degrees_of_freedom, dtype=float)
    if u.shape != nu.shape:
        raise ValueError(f"{len(u)} components but {len(nu)} degrees of freedom")
    if not (np.all(u >= 0) and np.all(nu > 0)):
        raise ValueError("a component below zero, or without degrees of freedom")
    standard = math.sqrt(float(u @ u))
    known = float(np.sum(u**4 / nu))
    freedom = standard**4 / known if known > 0 else math.inf
    return CombinedUncertainty(_METHOD, standard, freedom)
