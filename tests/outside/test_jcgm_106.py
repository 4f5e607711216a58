"""Conformity and guard bands against published numbers and closed forms.

[106] JCGM 106:2012, [14253] ISO 14253-1:2017: examples and clauses from memory, each of which the
normal distribution bears out.
"""

from __future__ import annotations

import math

import pytest
from lot_risks import measured, risk_of
from scipy import stats

from analyzer.lot.judgement.conformity import (
    conformity_probability,
    guard_bands,
    measurement_capability_index,
    simple_acceptance,
)
from analyzer.lot.judgement.decision import combine, decide
from analyzer.lot.judgement.measurement import Measurement
from analyzer.lot.judgement.risk import Process, global_risk
from analyzer.lot.judgement.specification import DecisionRule, Interval, Limits
from analyzer.lot.judgement.uncertainty import Uncertainty

JCGM_106 = "JCGM 106:2012, examples"
NORMAL = "Normal distribution, closed form"
pytestmark = pytest.mark.source(JCGM_106, "from memory", "probability of conformity")


# One-sided conformance probability and how many u the value lies inside the limit ([106], table 1).
TABLE_1 = [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)]


@pytest.mark.parametrize(("probability", "score"), TABLE_1)
def test_table_of_one_sided_probabilities(probability, score) -> None:
    inside = conformity_probability(3.0 - score * 0.5, Uncertainty(0.5), Interval(None, 3.0))
    assert inside == pytest.approx(probability, abs=2e-3)  # the scores have two decimals
    above = conformity_probability(-3.0 + score * 0.5, Uncertainty(0.5), Interval(-3.0, None))
    assert above == pytest.approx(probability, abs=2e-3)
    outside = conformity_probability(3.0 + score * 0.5, Uncertainty(0.5), Interval(None, 3.0))
    assert outside == pytest.approx(1 - probability, abs=2e-3)


def test_breakdown_voltage_of_a_diode() -> None:
    """[106], 7.4: -5.47 V, u 0.05 V, at most -5.40 V: Phi(1.4), 92 %."""
    found = conformity_probability(-5.47, Uncertainty(0.05), Interval(None, -5.40))
    assert found == pytest.approx(0.919, abs=5e-4)


def test_viscosity_between_two_limits() -> None:
    """[106], 7.5: 13.6, u 1.8, from 12.5 to 16.3: 0.93 - 0.27, 66 %."""
    assert conformity_probability(13.6, Uncertainty(1.8), Interval(12.5, 16.3)) == pytest.approx(
        0.66, abs=5e-3
    )


@pytest.mark.source("ISO 14253-1:2017", "from memory", "guard bands of far limits")
def test_guard_band_of_far_limits_is_one_sided() -> None:
    """[14253]: 1.65 u at 95 %, inside the limits and outside."""
    bands = guard_bands(Interval(-10.0, 10.0), Uncertainty(0.5), 0.95)
    assert bands.guard_band_cents == pytest.approx(1.645 * 0.5, rel=1e-3)
    assert bands.rejection_guard_band_cents == pytest.approx(1.645 * 0.5, rel=1e-3)
    assert bands.acceptance is not None
    ends = (bands.acceptance.lower_cents, bands.acceptance.upper_cents)
    assert ends == pytest.approx((-9.1775, 9.1775), rel=1e-3)
    ends = (bands.rejection.lower_cents, bands.rejection.upper_cents)
    assert ends == pytest.approx((-10.8225, 10.8225), rel=1e-3)


@pytest.mark.source(NORMAL, "published formula", "guard bands of near limits")
def test_near_limits_need_both_tails() -> None:
    """In the middle of 2 x 1.960 u just 95 % are inside (the normal table); of less, nothing is."""
    half = 1.95996 * 0.5
    bands = guard_bands(Interval(-half * 1.0001, half * 1.0001), Uncertainty(0.5), 0.95)
    assert bands.guard_band_cents == pytest.approx(half, rel=0.02)
    assert bands.accepts(0.0)
    narrow = guard_bands(Interval(-half * 0.999, half * 0.999), Uncertainty(0.5), 0.95)
    assert narrow.acceptance is None
    assert narrow.guard_band_cents is None
    assert not narrow.accepts(0.0)
    assert not narrow.rejects(0.0)


@pytest.mark.source(JCGM_106, "from memory", "measurement capability index")
def test_measurement_capability_index() -> None:
    """[106], 7.6: C_m = T / (4 u); a tolerance of 2 and U = 2 u = 0.25 make 4."""
    assert measurement_capability_index(Interval(-1.0, 1.0), 0.125) == pytest.approx(4.0)
    assert measurement_capability_index(Interval(None, 1.0), 0.125) is None


# Scenarios: process mean and deviation, limits, standard uncertainty. The first is the shape of
# JCGM 106:2012's resistors: 0 +- 0.2, 0.12, 0.04 (from memory).
SCENARIOS = [
    (0.0, 0.12, (-0.2, 0.2), 0.04),
    (1.0, 1.5, (-3.0, 3.0), 0.5),
    (-2.0, 1.0, (-3.0, 3.0), 0.05),
    (0.5, 0.3, (-1.0, 4.0), 1.0),
    (0.0, 2.0, (None, 2.5), 0.7),
    (0.0, 2.0, (-1.5, None), 0.7),
    (0.0, 5.0, (-3.0, 3.0), 0.001),
]


def box(process: Process, u: float, true: Interval, read: Interval | None) -> float:
    """That the true value and what is read of it lie in two intervals (bivariate normal)."""
    if read is None:
        return 0.0
    variance = process.deviation_cents**2
    both = stats.multivariate_normal(
        [process.mean_cents] * 2, [[variance, variance], [variance, variance + u**2]]
    )
    ends = [
        (
            process.mean_cents - 60 * deviation if each.lower_cents is None else each.lower_cents,
            process.mean_cents + 60 * deviation if each.upper_cents is None else each.upper_cents,
        )
        for each, deviation in (
            (true, process.deviation_cents),
            (read, math.sqrt(variance + u**2)),
        )
    ]
    lower, upper = zip(*ends, strict=True)
    return float(both.cdf(upper, lower_limit=lower))


@pytest.mark.source("scipy.stats", "reference library", "consumer's and producer's risk of a rule")
@pytest.mark.parametrize("guarded", [True, False])
@pytest.mark.parametrize(("mean", "deviation", "ends", "u"), SCENARIOS)
def test_global_risk_is_that_of_two_correlated_normals(mean, deviation, ends, u, guarded) -> None:
    process, limits = Process(mean, deviation), Interval(*ends)
    bands = guard_bands(limits, Uncertainty(u), 0.95) if guarded else simple_acceptance(limits)
    everything = Interval(None, None)
    good_in = box(process, u, limits, bands.acceptance)
    good_open = box(process, u, limits, bands.rejection)
    found = global_risk(process, limits, bands, u)
    good = box(process, u, limits, everything)
    assert found.conforming_accepted == pytest.approx(good_in, abs=1e-7)
    assert found.producers_risk == pytest.approx(good - good_open, abs=1e-7)
    bad_in = box(process, u, everything, bands.acceptance) - good_in
    assert found.consumers_risk == pytest.approx(bad_in, abs=1e-7)
    assert found.conforming_not_decided == pytest.approx(good_open - good_in, abs=1e-7)
    bad_open = box(process, u, everything, bands.rejection) - good_open
    assert found.nonconforming_not_decided == pytest.approx(bad_open - bad_in, abs=1e-7)
    every = vars(found).values()
    assert sum(every) == pytest.approx(1.0, abs=1e-9)
    assert all(each > -1e-9 for each in every)


@pytest.mark.source(NORMAL, "published formula", "risks of a lot")
def test_lot_risk_by_hand() -> None:
    """Phi(2) = 0.97725 and Phi(1) = 0.84134 (the normal table), one-sided, shared risk."""
    rule, limits = DecisionRule("shared risk"), Limits(None, 2.0)
    unknown = Measurement("open_drift_cents", 1, 0.5)
    decisions = [
        combine([decide(measured(1.0, 0.5), limits, rule)]),
        combine([decide(measured(1.5, 0.5), limits, rule)]),
        combine([decide(measured(2.5, 0.5), limits, rule)]),
        combine([decide(measured(1.0, 0.5), limits, rule), decide(unknown, limits, rule)]),
        combine([decide(Measurement("error_cents", 1, None, reason="Lost."), limits, rule)]),
    ]
    found = risk_of(decisions)
    assert (found.accepted, found.rejected, found.not_decided) == (3, 1, 1)
    assert found.consumers_risk == pytest.approx((0.02275 + 0.15866) / 2, abs=1e-5)
    assert found.producers_risk == pytest.approx(0.15866, abs=1e-5)
    assert found.accepted_without_probability == 1
    assert found.rejected_without_probability == 0
