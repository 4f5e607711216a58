"""Moments, one-way analysis of variance and lines against NIST's Statistical Reference Datasets.

The certified values are NIST StRD's: Univariate Summary Statistics, Analysis of Variance,
Linear Regression. Longley is left out: the program fits no more than one slope. So is PiDigits: its
certified mean is 4.5348, and that of the first 5000 digits of pi is 4.5358.
"""

from __future__ import annotations

import math

import pytest
from lot_figures import groups_of, line_of, one_way_of
from nist_sets import (
    ATMWTAG,
    LEW,
    LOTTERY,
    MAVRO,
    MICHELSO_ABOVE_299000,
    NORRIS_X,
    NORRIS_Y,
    SIRSTV,
    num_acc,
    sm_ls,
)
from scipy import stats

from analyzer.lot.statistics.moments import moments
from analyzer.lot.statistics.one_way import repeatability

STRD = "NIST Statistical Reference Datasets, certified values"
ONE_WAY = pytest.mark.source(STRD, "open data", "one-way analysis of variance")
pytestmark = pytest.mark.source(STRD, "open data", "mean, standard deviation, autocorrelation")


# The last is how many digits the data leave to find: a double holds 10000000.2 to nine decimals.
UNIVARIATE = {
    "NumAcc1": ([10000001.0, 10000003.0, 10000002.0], 10000002.0, 1.0, -0.5, 1e-14),
    "NumAcc2": (num_acc(1.2, 1.1, 1.3), 1.2, 0.1, -0.999, 1e-13),
    "NumAcc3": (num_acc(1000000.2, 1000000.1, 1000000.3), 1000000.2, 0.1, -0.999, 1e-9),
    "NumAcc4": (num_acc(10000000.2, 10000000.1, 10000000.3), 10000000.2, 0.1, -0.999, 1e-8),
    "Michelso": (
        [299 + each / 1000 for each in MICHELSO_ABOVE_299000],
        299.8524,
        0.0790105478190518,
        0.535199668621283,
        1e-12,
    ),
    "Mavro": (MAVRO, 2.001856, 0.000429123454003053, 0.937989183438248, 1e-11),
    "Lew": (LEW, -177.435, 277.332168044316, -0.307304800605679, 1e-13),
    "Lottery": (LOTTERY, 518.958715596330, 291.699727470969, -0.120948622967393, 1e-13),
}


@pytest.mark.parametrize("name", UNIVARIATE)
def test_moments_are_the_certified_ones(name) -> None:
    values, mean, sd, r1, relative = UNIVARIATE[name]
    found = moments(values)
    assert found.count == len(values)
    assert found.mean == pytest.approx(mean, rel=1e-14, abs=0)
    assert found.sd == pytest.approx(sd, rel=relative, abs=0)
    assert found.lag1_autocorrelation == pytest.approx(r1, rel=relative, abs=0)


@ONE_WAY
def test_one_way_resistivity_of_silicon() -> None:
    """SiRstv; the between-instrument variance is computed from the certified sums."""
    found = one_way_of(SIRSTV)
    assert found.between_squares == pytest.approx(0.0511462616, rel=1e-9, abs=0)
    assert found.within_squares == pytest.approx(0.216636560, rel=1e-9, abs=0)
    assert (found.between_freedom, found.within_freedom) == (4, 20)
    assert found.f == pytest.approx(1.18046237440255, rel=1e-10, abs=0)
    assert found.between_variance == pytest.approx(0.00039094748, rel=1e-7, abs=0)
    assert math.sqrt(found.repeatability_variance) == pytest.approx(
        0.104076068334656, rel=1e-11, abs=0
    )
    assert repeatability(groups_of(SIRSTV)).value == pytest.approx(
        0.104076068334656, rel=1e-11, abs=0
    )


@ONE_WAY
def test_one_way_atomic_weight_of_silver() -> None:
    """AtmWtAg: seven leading digits are constant."""
    found = one_way_of(ATMWTAG)
    assert found.between_squares == pytest.approx(3.638341875e-9, rel=1e-6, abs=0)
    assert found.within_squares == pytest.approx(1.04951729166667e-8, rel=1e-6, abs=0)
    assert found.f == pytest.approx(15.9467335677930, rel=1e-6, abs=0)
    assert math.sqrt(found.repeatability_variance) == pytest.approx(
        1.51048314446410e-5, rel=1e-6, abs=0
    )


@ONE_WAY
@pytest.mark.parametrize(("leading", "relative"), [(1, 1e-12), (1e6, 1e-8), (1e12, 3e-3)])
def test_one_way_with_leading_digits(leading, relative) -> None:
    """SmLs01, 04, 07. At 1e12 a double holds four digits of the tenths; one pass finds none."""
    found = one_way_of(sm_ls(leading))
    assert found.between_squares == pytest.approx(1.68, rel=relative, abs=0)
    assert found.within_squares == pytest.approx(1.80, rel=relative, abs=0)
    assert found.f == pytest.approx(21.0, rel=relative, abs=0)
    assert math.sqrt(found.repeatability_variance) == pytest.approx(0.1, rel=relative, abs=0)


@pytest.mark.source("scipy.stats", "reference library", "p of one-way analysis of variance")
@pytest.mark.parametrize("rows", [SIRSTV, ATMWTAG, [[1.0, 3.0], [5.0, 7.0, 9.0], [4.0]]])
def test_p_of_one_way_is_scipys(rows) -> None:
    assert one_way_of(rows).p == pytest.approx(stats.f_oneway(*rows).pvalue, rel=1e-5, abs=0)


@pytest.mark.source(STRD, "open data", "straight line with its uncertainties")
def test_line_through_norris_is_the_certified_one() -> None:
    found = line_of(NORRIS_X, NORRIS_Y)
    intercept, intercept_uncertainty = found.at(0.0)
    assert found.count == 36
    assert found.slope_per_day == pytest.approx(1.00211681802045, rel=1e-13, abs=0)
    assert found.slope_uncertainty_per_day == pytest.approx(0.000429796848199937, rel=1e-9, abs=0)
    assert intercept == pytest.approx(-0.262323073774029, rel=1e-11, abs=0)
    assert intercept_uncertainty == pytest.approx(0.232818234301152, rel=1e-9, abs=0)
    assert found.residual_sd == pytest.approx(0.884796396144373, rel=1e-9, abs=0)
    # F of the regression is the slope's t squared.
    t_value = found.slope_per_day / found.slope_uncertainty_per_day
    assert t_value**2 == pytest.approx(5436385.54079785, rel=1e-9, abs=0)
