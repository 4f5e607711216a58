"""Conformity and guard bands: what must hold for any value, limits and uncertainty."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analyzer.lot.judgement.conformity import (
    conformity_probability,
    guard_bands,
    simple_acceptance,
)
from analyzer.lot.judgement.specification import Interval
from analyzer.lot.judgement.uncertainty import Uncertainty


def test_without_uncertainty_it_is_the_plain_comparison() -> None:
    limits = Interval(-1.0, 2.0)
    bands = guard_bands(limits, Uncertainty(0.0), 0.95)
    for value, inside in ((-1.01, 0), (-1.0, 1), (0.0, 1), (2.0, 1), (2.01, 0)):
        assert conformity_probability(value, Uncertainty(0.0), limits) == inside
        assert (bands.accepts(value), bands.rejects(value)) == (bool(inside), not inside)
        simple = simple_acceptance(limits)
        assert (simple.accepts(value), simple.rejects(value)) == (bool(inside), not inside)


def test_a_value_on_the_limit_is_accepted_and_rejected_as_often_as_confidence_allows() -> None:
    """4000 values on the limit, each with its own u from 5 degrees of freedom: 5 % each way."""
    rng = np.random.default_rng(106)
    number, freedom, error = 4000, 5, 0.4
    values = 3.0 + error * rng.standard_normal(number)
    uncertainties = error * np.sqrt(rng.chisquare(freedom, number) / freedom)
    limits = Interval(-50.0, 3.0)
    every = [
        (value, guard_bands(limits, Uncertainty(u, freedom), 0.95))
        for value, u in zip(values.tolist(), uncertainties.tolist(), strict=True)
    ]
    four_sigma = 4 * math.sqrt(0.05 * 0.95 / number)
    accepted = sum(bands.accepts(value) for value, bands in every) / number
    rejected = sum(bands.rejects(value) for value, bands in every) / number
    assert accepted == pytest.approx(0.05, abs=four_sigma)
    assert rejected == pytest.approx(0.05, abs=four_sigma)


_CENTS = st.floats(-20, 20)
_SURE = st.floats(0.05, 5)
_FREEDOM = st.sampled_from([1.0, 3.0, 7.5, 40.0, math.inf])
_CONFIDENCE = st.floats(0.5, 0.999)


@given(_CENTS, _SURE, st.floats(0.1, 20), _FREEDOM)
def test_mirrored_value_has_the_same_probability(value, u, half, freedom) -> None:
    one = conformity_probability(value, Uncertainty(u, freedom), Interval(-half, half))
    other = conformity_probability(-value, Uncertainty(u, freedom), Interval(-half, half))
    assert one == pytest.approx(other, abs=1e-12)
    assert 0 <= one <= 1


@given(_CENTS, _SURE, _CENTS, _FREEDOM)
def test_what_is_below_and_what_is_above_make_one(value, u, limit, freedom) -> None:
    below = conformity_probability(value, Uncertainty(u, freedom), Interval(None, limit))
    above = conformity_probability(value, Uncertainty(u, freedom), Interval(limit, None))
    assert below + above == pytest.approx(1.0, abs=1e-12)
    assert (below > 0.5) == (value < limit) or math.isclose(value, limit, abs_tol=1e-9)


@given(st.floats(0.5, 20), _SURE, _CONFIDENCE, _FREEDOM, st.floats(-5, 5))
def test_acceptance_lies_within_the_limits_and_rejection_without(
    half, u, confidence, freedom, middle
) -> None:
    limits = Interval(middle - half, middle + half)
    bands = guard_bands(limits, Uncertainty(u, freedom), confidence)
    assert bands.rejection_guard_band_cents == pytest.approx(
        Uncertainty(u, freedom).quantile_cents(confidence)
    )
    if bands.acceptance is None:
        best = conformity_probability(middle, Uncertainty(u, freedom), limits)
        assert best < confidence + 1e-9
        return
    lower, upper = bands.acceptance.lower_cents, bands.acceptance.upper_cents
    assert limits.lower_cents - 1e-9 <= lower <= upper + 1e-9
    assert upper <= limits.upper_cents + 1e-9
    for end in (lower, upper):
        found = conformity_probability(end, Uncertainty(u, freedom), limits)
        assert found == pytest.approx(confidence, abs=1e-7)
