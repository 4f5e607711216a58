"""Conformity and guard bands against published numbers and closed forms.

[106] JCGM 106:2012, [14253] ISO 14253-1:2017: examples and clauses from memory, each of which the
normal distribution bears out.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats

from analyzer.lot.judgement.conformity import (
    conformity_probability,
    guard_bands,
    measurement_capability_index,
    simple_acceptance,
)
from analyzer.lot.judgement.specification import Interval
from analyzer.lot.judgement.uncertainty import Uncertainty

# One-sided conformance probability and how many u the value lies inside the limit ([106], table 1).
TABLE_1 = [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)]
# Student's t, one-sided 95 % (any t table).
T_95 = [(1, 6.314), (3, 2.353), (5, 2.015), (10, 1.812), (30, 1.697)]


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


@pytest.mark.parametrize(("freedom", "factor"), T_95)
def test_few_degrees_of_freedom_widen_the_guard_band(freedom, factor) -> None:
    bands = guard_bands(Interval(None, 3.0), Uncertainty(0.2, freedom), 0.95)
    assert bands.guard_band_cents == pytest.approx(0.2 * factor, rel=3e-4)
    assert bands.acceptance is not None
    assert bands.acceptance.lower_cents is None
    at_limit = conformity_probability(
        3.0 - 0.2 * factor, Uncertainty(0.2, freedom), Interval(None, 3.0)
    )
    assert at_limit == pytest.approx(0.95, abs=1e-4)


def test_two_near_limits_with_few_degrees_of_freedom() -> None:
    """The acceptance limits are where scipy's t distribution puts 95 % between the limits."""
    bands = guard_bands(Interval(-1.0, 2.0), Uncertainty(0.5, 4), 0.95)
    assert bands.acceptance is not None
    for value in (bands.acceptance.lower_cents, bands.acceptance.upper_cents):
        posterior = stats.t(4, loc=value, scale=0.5)
        assert posterior.cdf(2.0) - posterior.cdf(-1.0) == pytest.approx(0.95, abs=1e-9)


def test_without_uncertainty_it_is_the_plain_comparison() -> None:
    limits = Interval(-1.0, 2.0)
    bands = guard_bands(limits, Uncertainty(0.0), 0.95)
    for value, inside in ((-1.01, 0), (-1.0, 1), (0.0, 1), (2.0, 1), (2.01, 0)):
        assert conformity_probability(value, Uncertainty(0.0), limits) == inside
        assert (bands.accepts(value), bands.rejects(value)) == (bool(inside), not inside)
        simple = simple_acceptance(limits)
        assert (simple.accepts(value), simple.rejects(value)) == (bool(inside), not inside)


def test_measurement_capability_index() -> None:
    """[106], 7.6: C_m = T / (4 u); a tolerance of 2 and U = 2 u = 0.25 make 4."""
    assert measurement_capability_index(Interval(-1.0, 1.0), 0.125) == pytest.approx(4.0)
    assert measurement_capability_index(Interval(None, 1.0), 0.125) is None


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


# Parts of an uncertainty, by scipy: a normal and a scaled t added up by convolution.
@pytest.mark.parametrize("freedom", [1.0, 3.0, 5.0, 12.0, 150.0])
@pytest.mark.parametrize(("scatter", "known"), [(0.4, 0.4), (0.4, 0.05), (0.1, 0.7)])
def test_density_of_both_parts_is_their_convolution(freedom, scatter, known) -> None:
    both = Uncertainty(scatter, freedom, known)
    for difference in (-1.5, -0.3, 0.0, 0.8, 2.0):
        expected = integrate.quad(
            lambda part, end=difference: (
                stats.norm.pdf(part, scale=known) * stats.t.cdf((end - part) / scatter, freedom)
            ),
            -9 * known,
            9 * known,
            epsabs=1e-11,
        )[0]
        assert both.below(difference) == pytest.approx(expected, abs=1e-8)
    for probability in (0.5, 0.8, 0.95, 0.999):
        found = both.below(both.quantile_cents(probability))
        assert found == pytest.approx(probability, abs=1e-9)


@pytest.mark.parametrize(("freedom", "factor"), T_95)
def test_density_tends_to_t_and_to_normal(freedom, factor) -> None:
    nearly_t = Uncertainty(0.4, freedom, 1e-5)
    assert nearly_t.quantile_cents(0.95) == pytest.approx(0.4 * factor, rel=3e-4)
    nearly_normal = Uncertainty(1e-5, freedom, 0.4)
    assert nearly_normal.quantile_cents(0.95) == pytest.approx(0.4 * 1.64485, rel=1e-4)
    assert Uncertainty(0.3, math.inf, 0.4).quantile_cents(0.95) == pytest.approx(
        0.5 * 1.64485, rel=1e-5
    )
    assert Uncertainty(0.3, freedom, 0.4).standard_cents == pytest.approx(0.5)


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
