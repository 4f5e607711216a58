"""Risks of wrong decisions: bounds, and by simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from lot_risks import measured, risk_of
from scipy import stats

from analyzer.lot.judgement.conformity import guard_bands, simple_acceptance
from analyzer.lot.judgement.decision import combine, decide
from analyzer.lot.judgement.risk import Process, global_risk, process_of
from analyzer.lot.judgement.specification import DecisionRule, Interval, Limits
from analyzer.lot.judgement.uncertainty import Uncertainty


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


def test_a_lot_without_instruments_has_no_risk_to_state() -> None:
    found = risk_of([])
    assert (found.accepted, found.consumers_risk, found.producers_risk) == (0, None, None)


def test_process_behind_measured_values() -> None:
    """The scatter that measuring adds is taken off: 1.3^2 - 0.5^2 = 1.2^2."""
    values = [0.7 - 1.3, 0.7, 0.7 + 1.3]
    found = process_of(values, [0.5, 0.5, 0.5])
    assert (found.mean_cents, found.deviation_cents) == pytest.approx((0.7, 1.2))
    assert process_of(values, [5.0, 5.0, 5.0]).deviation_cents == 0.0
