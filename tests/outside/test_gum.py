"""Examples of the guide to the expression of uncertainty in measurement, JCGM 100:2008.

Data and printed results read 2nd-hand unless a test says otherwise; further digits computed.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from lot_figures import line_of

from analyzer.lot.judgement.specification import CLOCK_CENTS
from analyzer.lot.statistics.moments import moments
from analyzer.lot.statistics.uncertainty import combined_uncertainty

GUM = "JCGM 100:2008, examples, 2nd-hand"
COMBINED = pytest.mark.source(GUM, "standard", "combined and expanded uncertainty (H.1)")
pytestmark = pytest.mark.source(GUM, "standard", "mean and its standard uncertainty (type A)")


@pytest.mark.source(
    "JCGM 100:2008, 4.4.3", "from memory", "mean and its standard uncertainty (type A)"
)
def test_standard_error_of_a_mean_is_the_guides() -> None:
    """JCGM 100:2008, 4.4.3: mean 100.145, s 1.489, u 0.333 (from memory, data and results)."""
    temperatures = [
        *(96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07),
        *(100.33, 100.42, 100.68, 100.95, 101.11, 101.20, 101.57, 101.84, 102.36, 102.72),
    ]
    found = moments(temperatures)
    assert found.mean == pytest.approx(100.145, abs=5e-4)
    assert found.sd == pytest.approx(1.489, abs=5e-4)
    assert found.standard_error == pytest.approx(0.333, abs=5e-4)


@COMBINED
def test_gauge_block_is_the_guides() -> None:
    """JCGM 100:2008, H.1: 32 nm read 2nd-hand; 31.671, 16.76 and 93.5 nm computed.

    The guide cuts 16.7 to 16 and prints 93 nm for 99 % (from memory), from its rounded 32.
    """
    found = combined_uncertainty([25, 9.7, 2.9, 16.6], [18, 25.6, 50, 2])
    assert found.standard == pytest.approx(31.671, abs=5e-4)
    assert found.degrees_of_freedom == pytest.approx(16.76, abs=5e-3)
    assert found.coverage_factor(0.99) == pytest.approx(2.921, abs=5e-4)
    assert 32 * found.coverage_factor(0.99) == pytest.approx(93.5, abs=0.05)
    assert found.expanded(0.99) == pytest.approx(31.671 * 2.921, abs=0.02)


@COMBINED
def test_gauge_blocks_length_difference_is_the_guides() -> None:
    """H.1: 5.8 (24), 3.9 (5) and 6.7 (8) together are 9.682 (computed).

    The 25.6 degrees of freedom that the guide goes on with are those of the rounded 9.7.
    """
    found = combined_uncertainty([5.8, 3.9, 6.7], [24, 5, 8])
    assert found.standard == pytest.approx(9.682, abs=1e-3)
    rounded = found.degrees_of_freedom * (9.7 / found.standard) ** 4
    assert rounded == pytest.approx(25.6, abs=0.05)


@pytest.mark.source(
    "Worked example in the documentation of an open library",
    "published formula",
    "combined uncertainty, effective freedom",
)
def test_sensitivities_and_a_component_without_doubt() -> None:
    """An example of an open library's documentation (its inputs); the results computed."""
    components = np.array([0.1, 0.3, 0.2, 1.1]) * [1, 2, 3, 0.5]
    found = combined_uncertainty(components, [math.inf, 6, 8, 3])
    assert found.standard == pytest.approx(1.01612007, abs=1e-8)
    assert found.degrees_of_freedom == pytest.approx(15.60796, abs=1e-5)


@pytest.mark.source(GUM, "standard", "drift: straight line, prediction (H.3)")
def test_line_through_the_thermometers_corrections_is_the_guides() -> None:
    """JCGM 100:2008, H.3: -0.1712(29), 0.00218(67), b(30) -0.1494(41); the digits computed."""
    t = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
    b = [-171, -169, -166, -159, -164, -165, -156, -157, -159, -161, -160]
    found = line_of(np.array(t) - 20, np.array(b) / 1000)
    assert found.at(0.0) == pytest.approx((-0.17120379, 0.00287760), abs=1e-8)
    assert found.slope_per_day == pytest.approx(0.00218270, abs=1e-8)
    assert found.slope_uncertainty_per_day == pytest.approx(0.00066794, abs=1e-8)
    assert found.at(10.0) == pytest.approx((-0.14937681, 0.00413860), abs=1e-8)
    assert found.residual_sd**2 * 9 == pytest.approx(0.000110096583109, rel=1e-10, abs=0)


@pytest.mark.source("JCGM 100:2008, H.1", "from memory", "expanded uncertainty, 99 %")
def test_expanded_uncertainty_that_the_guide_prints() -> None:
    """U99 = 93 nm, for 16 degrees of freedom: the guide cuts 16.7, here it is left as it is."""
    found = combined_uncertainty([25, 9.7, 2.9, 16.6], [18, 25.6, 50, 2])
    assert math.floor(found.degrees_of_freedom) == 16
    assert found.expanded(0.99) == pytest.approx(93, abs=1)
    assert found.standard == pytest.approx(32, abs=0.5)


@pytest.mark.source(GUM, "standard", "mean and its standard uncertainty (H.2, type A)")
@pytest.mark.parametrize(
    ("readings", "mean", "uncertainty"),
    [
        ((5.007, 4.994, 5.005, 4.990, 4.999), 4.999, 0.0032093613),
        ((19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3), 19.661e-3, 9.471008e-6),
        ((1.0456, 1.0438, 1.0468, 1.0428, 1.0433), 1.04446, 7.520638e-4),
    ],
    ids=["V", "I", "phi"],
)
def test_simultaneous_readings(readings, mean, uncertainty) -> None:
    """As published; the means are sums by hand."""
    found = moments(readings)
    assert found.mean == pytest.approx(mean, rel=1e-12)
    assert found.standard_error == pytest.approx(uncertainty, rel=1e-7)


@pytest.mark.source(
    "JCGM 100:2008, 4.3.7", "from memory", "uncertainty of a recorder's clock, a / sqrt 3"
)
def test_half_width_of_a_rectangle() -> None:
    """The guide: half-width 4 gives 2.3. A clock within 1e-4 is 0.1731 cents either way."""
    assert pytest.approx(4 * CLOCK_CENTS / 0.1731234, abs=0.05) == 2.3
