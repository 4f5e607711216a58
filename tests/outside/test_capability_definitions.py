"""Capability indices by their definitions, the quantile form, and exact intervals."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hard_bake import WIDTHS
from lot_figures import hard_bake_capability, spread_of
from scipy import stats

from analyzer.lot.statistics.capability import capability
from analyzer.lot.statistics.figure import NotGiven
from analyzer.lot.statistics.quantile_form import quantile_form
from analyzer.lot.statistics.shares import conforming_share
from analyzer.lot.statistics.spread import (
    Spread,
    overall_spread,
    within_spread,
)
from analyzer.lot.statistics.subgroups import Subgroup
from analyzer.lot.statistics.tolerance import Tolerance

DEFINITIONS = "Definitions of Cp to Cpm"
HANDBOOK = "NIST/SEMATECH handbook, limits 8 and 20, mean 16, sigma 2"
ISO_22514 = "ISO 22514-2, quantile form, 2nd-hand"
SCIPY = "scipy.stats"
pytestmark = pytest.mark.source(DEFINITIONS, "published formula", "Cp, Cpk, Pp, Ppk, Cpm")


@pytest.mark.source(HANDBOOK, "from memory", "Cp, Cpk, Pp, Ppk")
def test_toy_capability_is_the_handbooks() -> None:
    """NIST handbook (from memory): limits 8 and 20, mean 16, sigma 2: Cp 1, Cpk 2/3 (computed)."""
    values = np.array([14.0, 18.0] * 50)
    values = 16 + (values - 16) * math.sqrt(99 / 100)  # so that s, with n - 1, is 2
    within = Spread(2.0, 99, "given")
    found = capability(values, Tolerance(8, 20), within)
    assert (found.cp.value, found.cpk.value) == pytest.approx((1.0, 2 / 3))
    assert (found.pp.value, found.ppk.value) == pytest.approx((1.0, 2 / 3))


def test_cpm_counts_the_distance_from_the_target() -> None:
    """Root mean square about the target 5 of ten values 3 and 7, then of ten 6 and 10."""
    within = NotGiven("within", "no subgroups")
    near = capability([3.0, 7.0] * 5, Tolerance(-1, 11, 5), within).cpm
    far = capability([6.0, 10.0] * 5, Tolerance(-1, 11, 5), within).cpm
    assert near.value == pytest.approx(12 / (6 * 2))
    assert far.value == pytest.approx(12 / (6 * math.sqrt((1 + 25) / 2)))


@pytest.mark.source(SCIPY, "reference library", "interval of Pp, chi-square")
def test_interval_of_pp_is_exact() -> None:
    """chi-square of 124 degrees of freedom, by scipy's own distribution."""
    found = hard_bake_capability().pp
    bounds = found.value * np.sqrt(stats.chi2.ppf([0.025, 0.975], 124) / 124)
    assert (found.lower, found.upper) == pytest.approx(tuple(bounds))


@pytest.mark.source(SCIPY, "reference library", "interval of Ppk, noncentral t")
def test_interval_of_ppk_is_near_the_exact_one_of_one_limit() -> None:
    """3 sqrt(n) Ppk of one limit is noncentral t, which gives the bounds exactly."""
    rng = np.random.default_rng(3)
    values = rng.normal(size=100)
    found = capability(values, Tolerance(upper=3.5), overall_spread(values)).ppk
    t = 3 * math.sqrt(100) * found.value
    assert stats.nct.sf(t, 99, 30 * found.lower) == pytest.approx(0.025, abs=0.006)
    assert stats.nct.cdf(t, 99, 30 * found.upper) == pytest.approx(0.025, abs=0.006)


@pytest.mark.source(SCIPY, "reference library", "interval of sigma within, chi-square")
def test_interval_within_one_subgroup_is_near_the_exact_one() -> None:
    """sigma is s / c4 of five values then, and 4 s^2 over the true variance is chi-square."""
    found = spread_of(within_spread([Subgroup("one", WIDTHS[0])], "sd"))
    exact = 0.93999 * np.sqrt(4 / stats.chi2.ppf([0.95, 0.05], 4))
    assert found.true_over_estimate(0.9) == pytest.approx(tuple(exact), rel=0.02)


@pytest.mark.source(ISO_22514, "published formula", "Pp and Ppk by quantiles")
def test_quantile_form_of_few_values_takes_the_extremes_and_says_so() -> None:
    values = np.arange(100.0)
    found = quantile_form(values, Tolerance(-50, 200), 10)
    assert found.points == (0.0, 49.5, 99.0)
    assert found.pp.value == pytest.approx(250 / 99)
    assert found.ppk.value == pytest.approx(min(150.5 / 49.5, 99.5 / 49.5))
    assert "fewer than 740" in found.pp.caution
    assert found.pp.lower is None


@pytest.mark.source(ISO_22514, "published formula", "Pp and Ppk by quantiles")
def test_quantile_form_of_many_normal_values_is_the_ordinary_one() -> None:
    """Of values at the quantiles of a normal distribution, Pp is the tolerance over 6 sigma."""
    count = 200_000
    values = stats.norm.ppf((np.arange(count) + 0.5) / count)
    found = quantile_form(values, Tolerance(-3, 5), 10)
    assert found.pp.caution is None
    assert found.pp.value == pytest.approx(8 / 6, rel=1e-3)
    assert found.ppk.value == pytest.approx(1.0, rel=1e-3)


@pytest.mark.source(ISO_22514, "published example", "Pp of 50 values overstated to 1.37")
def test_quantile_form_of_fifty_values_overstates_as_published() -> None:
    """Read 2nd-hand: 1.37 on average for a true 1.0. Scatter of one is about 0.2; 3000 made."""
    rng = np.random.default_rng(5)
    made = [quantile_form(rng.normal(size=50), Tolerance(-3, 3), 10).pp.value for _ in range(3000)]
    assert np.mean(made) == pytest.approx(1.37, abs=0.015)


@pytest.mark.source(ISO_22514, "published formula", "Pp and Ppk by quantiles")
def test_quantile_form_of_a_skewed_process_finds_what_the_normal_form_cannot() -> None:
    """Exponential values: X50 = ln 2, X99.865 = -ln 0.00135; the upper index is exact."""
    count = 100_000
    values = stats.expon.ppf((np.arange(count) + 0.5) / count)
    found = capability(values, Tolerance(upper=10.0), overall_spread(values))
    exact = (10 - math.log(2)) / (-math.log(0.00135) - math.log(2))
    assert found.quantiles.ppk.value == pytest.approx(exact, rel=1e-3)
    assert found.ppk.value > 1.5 * exact
    assert "hardly normal" in found.ppk.caution


@pytest.mark.source(
    "Exact binomial interval, closed form", "published formula", "interval of a yield"
)
def test_exact_interval_of_a_yield() -> None:
    """In closed form where all conform: (alpha / 2)^(1 / n). 10 of 10 gives 0.6915 to 1."""
    found = conforming_share(10, 10)
    assert (found.value, found.upper) == (1.0, 1.0)
    assert found.lower == pytest.approx(0.025**0.1)
    assert found.lower == pytest.approx(0.6915, abs=5e-5)


@pytest.mark.source(SCIPY, "reference library", "interval of a yield, binomial")
def test_bounds_of_a_yield_are_where_the_binomial_tails_are_half_of_alpha() -> None:
    found = conforming_share(42, 50, confidence=0.9)
    assert stats.binom.sf(41, 50, found.lower) == pytest.approx(0.05)
    assert stats.binom.cdf(42, 50, found.upper) == pytest.approx(0.05)
    assert found.value == 0.84
