"""Tension of a string by its pitch, mass and length: T = m (2 L f)^2."""

from __future__ import annotations

import pytest
from restrung import instrument_with, steel

from analyzer.restring.plan import plan_of

MERSENNE = "Mersenne's law, f = sqrt(T/m) / 2L (any textbook)"
pytestmark = pytest.mark.source(
    MERSENNE, "published formula", "tension, and when a change of it is cautioned"
)


def test_tension_goes_with_the_mass() -> None:
    """0.010 in pulls with 72.52 N at 647.7 mm (COMPUTED); 0.012 in with 1.44 times that."""
    instrument = instrument_with({1: steel(0.010)}, length_mm=647.7)
    plan = plan_of(instrument, {1: steel(0.012)})
    assert plan.strings[0].tension_now_n == pytest.approx(72.52, rel=1e-3)
    assert plan.strings[0].tension_next_n == pytest.approx(1.44 * 72.52, rel=1e-3)
    assert any("pull with 104 N instead of 73 N" in line for line in plan.warnings)
    lighter = plan_of(instrument, {1: steel(0.009)})
    assert not any("pull with" in line for line in lighter.warnings)
