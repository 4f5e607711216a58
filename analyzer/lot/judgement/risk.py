"""What wrong decisions cost: consumer's and producer's risk, after JCGM 106:2012, clauses 8 and 9.

The consumer's risk is that what was accepted does not conform, the producer's that what was
rejected does. For instruments that have been measured they follow from each one's probability
of conformity (specific risk, clause 9.3), and a lot's from their mean. For a process of which only
the distribution is known they are the probabilities of both happening at once (global risk,
clause 9.5), over all that the process makes and all errors of measurement:

    consumer's  = integral outside the limits of  g(y) Pr(accepted | y) dy
    producer's  = integral inside the limits of   g(y) Pr(rejected | y) dy
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike
from scipy.integrate import quad

from analyzer.lot.judgement.conformity import GuardBands, conformity_probability
from analyzer.lot.judgement.decision import VERDICTS, Verdict
from analyzer.lot.judgement.specification import Interval
from analyzer.lot.judgement.uncertainty import Uncertainty

_FAR = 9.0  # standard deviations; what lies beyond is less than 1e-18
_EXACT = 1e-12  # of a probability


@dataclass(frozen=True)
class LotRisk:
    """The risks of the decisions on one lot, from what was measured of each instrument.

    ``consumers_risk``: the share of the accepted instruments that is expected not to conform;
    ``producers_risk``: the share of the rejected ones that is expected to conform. None where
    there are no such instruments with a probability. ``expected_*`` are the same as numbers of
    instruments. ``accepted_without_probability`` and ``rejected_without_probability`` count those
    that no risk could be given for, since something was not measured; they are in no figure.
    """

    accepted: int
    rejected: int
    not_decided: int
    consumers_risk: float | None
    producers_risk: float | None
    expected_nonconforming_accepted: float
    expected_conforming_rejected: float
    accepted_without_probability: int
    rejected_without_probability: int


@dataclass(frozen=True)
class GlobalRisk:
    """Of all that a process makes, the shares that end in each way; they add up to 1.

    ``consumers_risk``: does not conform and is accepted. ``producers_risk``: conforms and is
    rejected. With guard bands there is a third way, not decided.
    """

    consumers_risk: float
    producers_risk: float
    conforming_accepted: float
    nonconforming_rejected: float
    conforming_not_decided: float
    nonconforming_not_decided: float


@dataclass(frozen=True)
class Process:
    """What a process makes, taken to be normal: mean and standard deviation, cents."""

    mean_cents: float
    deviation_cents: float


def lot_risk(verdicts: Sequence[Verdict], conformity_probabilities: ArrayLike) -> LotRisk:
    """The specific risks of a lot's instruments, taken together.

    Of each instrument its verdict and its probability of conformity, NaN where it has none.
    """
    given = np.asarray(verdicts, dtype=object)
    chances = np.asarray(conformity_probabilities, dtype=float)
    of = {verdict: chances[given == verdict] for verdict in VERDICTS}
    accepted, rejected = (known[np.isfinite(known)] for known in (of["conform"], of["not conform"]))
    wrongly_in, wrongly_out = math.fsum(1 - accepted), math.fsum(rejected)
    return LotRisk(
        accepted=len(of["conform"]),
        rejected=len(of["not conform"]),
        not_decided=len(of["not decided"]),
        consumers_risk=wrongly_in / len(accepted) if len(accepted) else None,
        producers_risk=wrongly_out / len(rejected) if len(rejected) else None,
        expected_nonconforming_accepted=wrongly_in,
        expected_conforming_rejected=wrongly_out,
        accepted_without_probability=len(of["conform"]) - len(accepted),
        rejected_without_probability=len(of["not conform"]) - len(rejected),
    )


def process_of(values_cents: ArrayLike, uncertainties_cents: ArrayLike) -> Process:
    """The process behind measured values: their variance less that of measuring them.

    Two values or more, each with its standard uncertainty. What is left is 0 where the values
    scatter no more than their uncertainties do.
    """
    values, uncertainties = (
        np.asarray(each, dtype=float) for each in (values_cents, uncertainties_cents)
    )
    left = float(np.var(values, ddof=1)) - float(np.mean(uncertainties**2))
    return Process(float(np.mean(values)), math.sqrt(max(0.0, left)))


def global_risk(
    process: Process, limits: Interval, bands: GuardBands, uncertainty_cents: float
) -> GlobalRisk:
    """The global risks of deciding by ``bands`` with a normal error of measurement.

    JCGM 106:2012, 9.5, knows accepted and rejected only: its producer's risk is
    ``producers_risk`` with ``conforming_not_decided``.
    """

    def accepted(true_cents: float) -> float:
        return _read_inside(bands.acceptance, true_cents, uncertainty_cents)

    def open_or_accepted(true_cents: float) -> float:
        return _read_inside(bands.rejection, true_cents, uncertainty_cents)

    cuts = _cuts(process, limits, bands, uncertainty_cents)
    inside, outside = (
        [
            _share(process, limits, cuts, chance, conforming=conforming)
            for chance in (accepted, open_or_accepted, lambda _: 1.0)
        ]
        for conforming in (True, False)
    )
    return GlobalRisk(
        consumers_risk=outside[0],
        producers_risk=inside[2] - inside[1],
        conforming_accepted=inside[0],
        nonconforming_rejected=outside[2] - outside[1],
        conforming_not_decided=inside[1] - inside[0],
        nonconforming_not_decided=outside[1] - outside[0],
    )


def _read_inside(interval: Interval | None, true_cents: float, uncertainty_cents: float) -> float:
    """The probability that what is read of a true value lies in an interval."""
    if interval is None:
        return 0.0
    return conformity_probability(true_cents, Uncertainty(uncertainty_cents), interval)


def _cuts(
    process: Process, limits: Interval, bands: GuardBands, uncertainty_cents: float
) -> list[float]:
    """Scores of the process between which everything that is integrated is smooth."""
    edges = {each for each in (limits.lower_cents, limits.upper_cents) if each is not None}
    for interval in (bands.acceptance, bands.rejection):
        for edge in () if interval is None else (interval.lower_cents, interval.upper_cents):
            if edge is not None:
                edges |= {edge + far * uncertainty_cents for far in (-_FAR, 0.0, _FAR)}
    if process.deviation_cents == 0:
        return []
    scores = {(edge - process.mean_cents) / process.deviation_cents for edge in edges}
    return sorted({-_FAR, _FAR, *(each for each in scores if abs(each) < _FAR)})


def _share(
    process: Process,
    limits: Interval,
    cuts: Sequence[float],
    chance: Callable[[float], float],
    *,
    conforming: bool,
) -> float:
    """The integral of the process times a chance over what conforms, or does not."""
    mean, deviation = process.mean_cents, process.deviation_cents
    if deviation == 0:
        return chance(mean) if limits.holds(mean) == conforming else 0.0

    def integrand(score: float) -> float:
        density = math.exp(-(score**2) / 2) / math.sqrt(2 * math.pi)
        return density * chance(mean + deviation * score)

    return math.fsum(
        quad(integrand, start, end, epsabs=_EXACT)[0]
        for start, end in pairwise(cuts)
        if limits.holds(mean + deviation * (start + end) / 2) == conforming
    )
