"""Few degrees of freedom: Student's t by tables and by scipy."""

from __future__ import annotations

import math

import numpy as np
import pytest
from benchmark_takes import take
from scipy import integrate, stats

from analyzer.lot.judgement.conformity import (
    conformity_probability,
    guard_bands,
)
from analyzer.lot.judgement.specification import Interval
from analyzer.lot.judgement.uncertainty import Uncertainty
from analyzer.strings import combine_takes, pluck_scatter

T_TABLES = "Tables of Student's t, one-sided 95 %"
SCIPY = "scipy.stats"
pytestmark = pytest.mark.source(T_TABLES, "from memory", "guard bands with few degrees of freedom")


# Student's t, one-sided 95 % (any t table).
T_95 = [(1, 6.314), (3, 2.353), (5, 2.015), (10, 1.812), (30, 1.697)]


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


@pytest.mark.source(
    SCIPY, "reference library", "guard bands of near limits, few degrees of freedom"
)
def test_two_near_limits_with_few_degrees_of_freedom() -> None:
    """The acceptance limits are where scipy's t distribution puts 95 % between the limits."""
    bands = guard_bands(Interval(-1.0, 2.0), Uncertainty(0.5, 4), 0.95)
    assert bands.acceptance is not None
    for value in (bands.acceptance.lower_cents, bands.acceptance.upper_cents):
        posterior = stats.t(4, loc=value, scale=0.5)
        assert posterior.cdf(2.0) - posterior.cdf(-1.0) == pytest.approx(0.95, abs=1e-9)


# Parts of an uncertainty, by scipy: a normal and a scaled t added up by convolution.
@pytest.mark.source(SCIPY, "reference library", "normal and t part of an uncertainty added up")
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


@pytest.mark.source(SCIPY, "reference library", "interval of a string's error from its takes")
def test_many_takes_come_near_the_classical_interval() -> None:
    """With 40 takes of one note the allowance hardly counts: scipy's t interval of the mean."""
    rng = np.random.default_rng(2)
    takes = [take(110.0, 0.5, rng) for _ in range(40)]
    scatter = pluck_scatter([takes])
    note = combine_takes(takes, scatter)
    cents = 1200 * np.log2([each.settled_hz / 110.0 for each in takes])
    low, high = stats.t.interval(0.95, 39, np.mean(cents), stats.sem(cents))
    assert scatter.coverage * math.sqrt(note.variance) == pytest.approx((high - low) / 2, rel=0.05)
    assert 1200 * math.log2(note.hz / 110.0) == pytest.approx(np.mean(cents), abs=1e-9)
