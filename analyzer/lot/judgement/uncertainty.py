"""The uncertainty of a measured value in two parts, and the density that belongs to it.

What comes from the scatter of takes is estimated from few of them: its true size is known only as
nu s^2 / chi^2, chi-square with nu degrees of freedom. The rest counts as known. Given both, what
is measured lies about the true value with

    F(x) = mean over chi^2 of  Phi( x / sqrt(known^2 + scatter^2 nu / chi^2) )                (1)

which is Student's t where all is scatter, and the normal distribution where none is or nu is
infinite (propagation of distributions, JCGM 101:2008, 6.4.9 for the t). One t for the sum, with the
effective degrees of freedom of Welch and Satterthwaite (JCGM 100:2008, G.4.1), is an approximation
that held the truth only 92 times in 100 where both parts are alike and nu is 3, as after single
takes; equation (1) is what it approximates.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.optimize import brentq
from scipy.special import chdtri, gammaln, ndtr, ndtri, stdtr, stdtrit

_NODES = 200  # the trapezoid rule over log chi^2 is then exact to some 1e-12
_IGNORED = 1e-14  # probability of chi-square beyond either end of the nodes


@dataclass(frozen=True)
class Uncertainty:
    """A standard uncertainty in cents: ``scatter_cents``, with its degrees of ``freedom`` (1 or
    more, may be infinite), and ``known_cents``, independent of it.
    """

    scatter_cents: float
    freedom: float = math.inf
    known_cents: float = 0.0

    @property
    def standard_cents(self) -> float:
        """Both parts together: the root of the sum of their squares."""
        return math.hypot(self.scatter_cents, self.known_cents)

    def below(self, difference_cents: float) -> float:
        """Equation (1): the probability that the true value lies less than this above the value.

        The standard uncertainty must not be 0.
        """
        if math.isinf(self.freedom) or self.scatter_cents == 0:
            return float(ndtr(difference_cents / self.standard_cents))
        if self.known_cents == 0:
            return float(stdtr(self.freedom, difference_cents / self.scatter_cents))
        widening, weight = _nodes(self.freedom)
        sizes = np.sqrt(self.known_cents**2 + self.scatter_cents**2 * widening)
        return float(weight @ ndtr(difference_cents / sizes))

    def quantile_cents(self, probability: float) -> float:
        """Which difference ``below`` gives this probability to, 0.5 to less than 1."""
        if math.isinf(self.freedom) or self.scatter_cents == 0:
            return float(ndtri(probability)) * self.standard_cents
        student = float(stdtrit(self.freedom, probability))
        if self.known_cents == 0:
            return student * self.scatter_cents
        if self.below(0.0) >= probability:  # a half, but for rounding
            return 0.0
        most = (student + 1) * self.standard_cents
        while self.below(most) < probability:
            most *= 2
        return float(brentq(lambda each: self.below(each) - probability, 0.0, most))


@lru_cache(maxsize=256)
def _nodes(freedom: float) -> tuple[np.ndarray, np.ndarray]:
    """Values of nu / chi^2 and their weights, which add up to 1."""
    ends = np.log([chdtri(freedom, 1 - _IGNORED), chdtri(freedom, _IGNORED)])
    if not math.isfinite(ends[0]):
        raise ValueError(f"{freedom} degrees of freedom are too few")
    logs = np.linspace(ends[0], ends[1], _NODES)
    density = np.exp(freedom / 2 * (logs - math.log(2)) - np.exp(logs) / 2 - gammaln(freedom / 2))
    return freedom / np.exp(logs), density / np.sum(density)
