"""How probable it is that a value keeps its limits, and how far from a limit that is proven.

Given a measured value y, what the characteristic really is lies about y with a density F of width u
(``uncertainty``): normal (JCGM 106:2012, 7.2), or t where u rests on few takes.
Nothing else is taken to be known of the process. Then

    p = F(T_U - y) - F(T_L - y)                                                            (1)

is the conformance probability (JCGM 106:2012, 7.3 to 7.5), T the tolerance limits. With a
confidence c a value is accepted where p >= c, and rejected where it lies beyond one limit by a
guard band of F^-1(c): 1.645 u at 95 % for a normal density. The guard band inside a limit is the
same as long as the other limit is far away (the factor of ISO 14253-1:2017, from memory). Between
two near limits both tails count, and it grows to 1.960 u; where the whole tolerance is narrower
than 3.92 u, nothing can be proven to conform.

Numbers of clauses are from memory here and in the modules beside.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy.optimize import brentq

from analyzer.lot.judgement.specification import Interval
from analyzer.lot.judgement.uncertainty import Uncertainty

_ROUNDING = 1e-12  # of a probability, as the distribution functions are exact to


@dataclass(frozen=True)
class GuardBands:
    """Acceptance and rejection limits, cents.

    A value inside ``acceptance`` conforms; it is None where no value could be proven to, since
    the limits lie too near to each other for the uncertainty. A value on or beyond an end of
    ``rejection`` does not conform. ``guard_band_cents`` is the distance from a tolerance limit
    to the acceptance limit inside it, None with it; ``rejection_guard_band_cents`` that to the
    rejection limit outside it. Both are 0 under shared risk.
    """

    acceptance: Interval | None
    rejection: Interval
    guard_band_cents: float | None
    rejection_guard_band_cents: float

    def accepts(self, value_cents: float) -> bool:
        """Whether a value is proven to conform."""
        return self.acceptance is not None and self.acceptance.holds(value_cents)

    def rejects(self, value_cents: float) -> bool:
        """Whether a value is proven not to conform. On a limit itself, acceptance goes before."""
        lower, upper = self.rejection.lower_cents, self.rejection.upper_cents
        beyond = (lower is not None and value_cents <= lower) or (
            upper is not None and value_cents >= upper
        )
        return beyond and not self.accepts(value_cents)


def conformity_probability(value_cents: float, uncertainty: Uncertainty, limits: Interval) -> float:
    """Equation (1); without any uncertainty the plain comparison is left."""
    if uncertainty.standard_cents == 0:
        return float(limits.holds(value_cents))
    lower, upper = limits.lower_cents, limits.upper_cents
    return _between(
        -math.inf if lower is None else lower - value_cents,
        math.inf if upper is None else upper - value_cents,
        uncertainty,
    )


def guard_bands(limits: Interval, uncertainty: Uncertainty, confidence: float) -> GuardBands:
    """The zones in which conformity, or nonconformity, is proven.

    ``confidence``: the probability from which on it counts as proven, 0.5 to less than 1.
    """
    if uncertainty.standard_cents == 0:
        return simple_acceptance(limits)
    one_sided = uncertainty.quantile_cents(confidence)
    inside = _inner_guard_band(limits, uncertainty, confidence, one_sided)
    acceptance = None if inside is None else _moved(limits, inside)
    return GuardBands(acceptance, _moved(limits, -one_sided), inside, one_sided)


def simple_acceptance(limits: Interval) -> GuardBands:
    """Shared risk: the tolerance limits themselves decide (JCGM 106:2012, 8.2)."""
    return GuardBands(_moved(limits, 0.0), _moved(limits, 0.0), 0.0, 0.0)


def measurement_capability_index(limits: Interval, uncertainty_cents: float) -> float | None:
    """C_m = T / (4 u), T the tolerance (JCGM 106:2012, 7.6.3); None without both limits or u."""
    if limits.lower_cents is None or limits.upper_cents is None or uncertainty_cents == 0:
        return None
    return (limits.upper_cents - limits.lower_cents) / (4 * uncertainty_cents)


def _between(lower_cents: float, upper_cents: float, uncertainty: Uncertainty) -> float:
    """The probability between two differences, from the tail that is the smaller."""
    if lower_cents > 0:
        lower_cents, upper_cents = -upper_cents, -lower_cents
    return uncertainty.below(upper_cents) - uncertainty.below(lower_cents)


def _moved(limits: Interval, inward_cents: float) -> Interval:
    lower, upper = limits.lower_cents, limits.upper_cents
    return Interval(
        None if lower is None else lower + inward_cents,
        None if upper is None else upper - inward_cents,
    )


def _inner_guard_band(
    limits: Interval, uncertainty: Uncertainty, confidence: float, one_sided_cents: float
) -> float | None:
    """How far inside a limit equation (1) comes to the confidence; None where nowhere."""
    if limits.lower_cents is None or limits.upper_cents is None:
        return one_sided_cents
    tolerance = limits.upper_cents - limits.lower_cents

    def excess(inside_cents: float) -> float:
        return _between(inside_cents - tolerance, inside_cents, uncertainty) - confidence

    if one_sided_cents <= tolerance / 2 and excess(one_sided_cents) > -_ROUNDING:
        return one_sided_cents  # the other limit is far away
    if excess(tolerance / 2) < 0:
        return None
    return float(brentq(excess, one_sided_cents, tolerance / 2))
