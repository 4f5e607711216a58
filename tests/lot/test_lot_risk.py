"""Risks of wrong decisions: against scipy's bivariate normal distribution, and by simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from analyzer.lot.judgement.conformity import guard_bands, simple_acceptance
from analyzer.lot.judgement.decision import combine, decide
from analyzer.lot.judgement.measurement import Measurement, NoteSpread
from analyzer.lot.judgement.risk import LotRisk, Process, global_risk, lot_risk, process_of
from analyzer.lot.judgement.specification import DecisionRule, Interval, Limits
from analyzer.lot.judgement.uncertainty import Uncertainty

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


def test_guard_bands_trade_one_risk_for_the_other() -> None:
    process, limits = Process(0.0, 0.12), Interval(-0.2, 0.2)
    simple = global_risk(process, limits, simple_acceptance(limits), 0.04)
    guarded = global_risk(process, limits, guard_bands(limits, Uncertainty(0.04), 0.95), 0.04)
    assert guarded.consumers_risk < simple.consumers_risk / 5
    assert guarded.producers_risk < simple.producers_risk / 5
    assert guarded.conforming_not_decided > simple.producers_risk


def test_a_process_that_never_strays_and_a_gauge_that_never_errs() -> None:
    limits = Interval(-1.0, 1.0)
    sure = global_risk(Process(0.5, 0.7), limits, guard_bands(limits, Uncertainty(0.0), 0.95), 0.0)
    assert (sure.consumers_risk, sure.producers_risk) == pytest.approx((0.0, 0.0), abs=1e-12)
    still = global_risk(Process(1.0, 0.0), limits, simple_acceptance(limits), 0.3)
    half_read_beyond = 0.5  # the true value conforms, on the limit itself
    assert still.producers_risk == pytest.approx(half_read_beyond, abs=1e-9)
    assert still.consumers_risk == 0.0
    beyond = global_risk(Process(1.6, 0.0), limits, simple_acceptance(limits), 0.3)
    assert beyond.consumers_risk == pytest.approx(stats.norm.cdf(-2.0), abs=1e-9)


def measured(value: float, u: float, string: int = 1) -> Measurement:
    return Measurement("error_cents", string, value, (NoteSpread(1, 0.0, u**2),))


def risk_of(decisions) -> LotRisk:
    chances = [each.conformity_probability for each in decisions]
    known = [math.nan if each is None else each for each in chances]
    return lot_risk([each.verdict for each in decisions], known)


def test_risk_of_a_simulated_lot_is_what_really_went_wrong() -> None:
    """6000 instruments whose errors are spread evenly, so that nothing is known beforehand.

    Of the accepted ones as many are really bad as the lot's risk says, and of the rejected as
    many good, within four standard deviations of the count.
    """
    rng = np.random.default_rng(9)
    limits, number = Limits(-3.0, 3.0), 6000
    for rule in (DecisionRule("guarded", 0.8), DecisionRule("shared risk")):
        truth = rng.uniform(-9, 9, number)
        uncertainty = rng.uniform(0.2, 0.9, number)
        read = truth + uncertainty * rng.standard_normal(number)
        decisions = [
            combine([decide(measured(value, u), limits, rule)])
            for value, u in zip(read.tolist(), uncertainty.tolist(), strict=True)
        ]
        verdicts = np.array([each.verdict for each in decisions])
        good = np.abs(truth) <= 3
        risk = risk_of(decisions)
        for expected, happened in (
            (risk.expected_nonconforming_accepted, np.sum((verdicts == "conform") & ~good)),
            (risk.expected_conforming_rejected, np.sum((verdicts == "not conform") & good)),
        ):
            assert expected > 5
            assert happened == pytest.approx(expected, abs=4 * math.sqrt(expected))
        assert risk.accepted == np.sum(verdicts == "conform")
        assert risk.consumers_risk == pytest.approx(
            risk.expected_nonconforming_accepted / risk.accepted
        )
        assert risk.accepted + risk.rejected + risk.not_decided == number


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


def test_a_lot_without_instruments_has_no_risk_to_state() -> None:
    found = risk_of([])
    assert (found.accepted, found.consumers_risk, found.producers_risk) == (0, None, None)


def test_process_behind_measured_values() -> None:
    """The scatter that measuring adds is taken off: 1.3^2 - 0.5^2 = 1.2^2."""
    values = [0.7 - 1.3, 0.7, 0.7 + 1.3]
    found = process_of(values, [0.5, 0.5, 0.5])
    assert (found.mean_cents, found.deviation_cents) == pytest.approx((0.7, 1.2))
    assert process_of(values, [5.0, 5.0, 5.0]).deviation_cents == 0.0
