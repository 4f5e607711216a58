"""Tension of a string by its pitch, mass and length: T = m (2 L f)^2."""

from __future__ import annotations

import pytest
from compensation_tables import TABLES
from restrung import instrument_with, steel

from analyzer.instrument.string_data import StringData
from analyzer.music import note_hz
from analyzer.restring.plan import plan_of

MERSENNE = "Mersenne's law, f = sqrt(T/m) / 2L (any textbook)"
pytestmark = pytest.mark.source(
    MERSENNE, "published formula", "tension, and when a change of it is cautioned"
)


def test_tension_goes_with_the_mass() -> None:
    """0.010 in pulls with 72.52 N at 647.7 mm (computed); 0.012 in with 1.44 times that."""
    instrument = instrument_with({1: steel(0.010)}, length_mm=647.7)
    plan = plan_of(instrument, {1: steel(0.012)})
    assert plan.strings[0].tension_now_n == pytest.approx(72.52, rel=1e-3)
    assert plan.strings[0].tension_next_n == pytest.approx(1.44 * 72.52, rel=1e-3)
    assert any("pull with 104 N instead of 73 N" in line for line in plan.warnings)
    lighter = plan_of(instrument, {1: steel(0.009)})
    assert not any("pull with" in line for line in lighter.warnings)


# Open pitch at 650 mm from mass and tension (computed from [AB24]'s normal set).
@pytest.mark.parametrize(
    ("row", "hz"),
    [*zip(TABLES["normal nylon"], (329.44, 246.84, 195.86, 146.88, 110.04, 82.42), strict=True)],
)
def test_tension_of_published_strings(row, hz) -> None:
    """Masses are printed to three digits, at worst 0.14 %; tensions to 0.05 N."""
    data = StringData(2 * row.radius_mm, mass_per_length_g_per_m=row.mass_g_per_m)
    assert data.tension_by_pitch_n(650.0, hz) == pytest.approx(row.tension_n, rel=2e-4)


@pytest.mark.source(
    "Woodhouse, Acta Acustica 90, 945 (2004), a nylon set", "from memory", "tension of six strings"
)
@pytest.mark.parametrize(
    ("note", "mass_g_per_m", "tension_n"),
    [
        ("E4", 0.38, 70.3),
        ("B3", 0.52, 53.4),
        ("G3", 0.90, 58.3),
        ("D3", 1.95, 71.2),
        ("A2", 3.61, 73.9),
        ("E2", 6.24, 71.6),
    ],
)
def test_tension_of_a_measured_set(note, mass_g_per_m, tension_n) -> None:
    """Scale length taken as 650 mm, as is usual; the first mass has two digits, 1.3 %."""
    data = StringData(1.0, mass_per_length_g_per_m=mass_g_per_m)
    assert data.tension_by_pitch_n(650.0, note_hz(note)) == pytest.approx(tension_n, rel=0.015)
