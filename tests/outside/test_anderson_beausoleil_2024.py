"""The string model against [AB24]: ``compensation_tables`` says where each value is from."""

from __future__ import annotations

import math

import pytest
from compensation_tables import (
    AB24,
    ALL_ROWS,
    DEFAULT_FRETS,
    NORMAL_1_FRETS,
    NORMAL_6_FRETS,
    NUT_HEIGHT_MM,
    RISE_MM,
    SCALE_LENGTH_MM,
    TABLES,
)
from published_strings import DEFAULT, ROWS, string_of

from analyzer.instrument.string_data import StringData
from analyzer.string_model.effect import ModelledEffect
from analyzer.string_model.fretting import FrettedString, Setbacks, error_parts, fret_error_cents
from analyzer.string_model.from_data import model_string, nut_and_rise_mm
from analyzer.string_model.setbacks import (
    closed_form_setbacks,
    least_squares_setbacks,
    null_setback_mm,
    rms_cents,
)

pytestmark = pytest.mark.source(
    AB24, "published formula", "errors at frets, their four parts, setbacks"
)


NONE = Setbacks()


@pytest.mark.source(AB24, "published example", "setbacks of saddle and nut of 18 strings")
@ROWS
def test_least_squares_setbacks_are_the_published_ones(row) -> None:
    found = least_squares_setbacks(string_of(row))
    assert found.saddle_mm == pytest.approx(row.saddle_mm, abs=0.02)  # as published
    assert found.nut_mm == pytest.approx(row.nut_mm, abs=0.01)  # as published


@pytest.mark.source(AB24, "published example", "root mean square of the errors at frets")
@ROWS
def test_rms_is_the_published_one(row) -> None:
    """By inference the published mean is taken over 13 points, the open string with them."""
    string = string_of(row)
    setbacks = least_squares_setbacks(string)
    assert rms_cents(string, setbacks, points=13) == pytest.approx(row.rms_cents, abs=0.003)
    assert rms_cents(string, setbacks) == pytest.approx(
        row.rms_cents * math.sqrt(13 / 12), abs=0.003
    )


@ROWS
def test_error_and_null_at_the_twelfth(row) -> None:
    """Computed."""
    string = string_of(row)
    assert fret_error_cents(string, 12, NONE) == pytest.approx(row.error_12_cents, abs=0.001)
    assert null_setback_mm(string) == pytest.approx(row.null_12_mm, abs=0.001)


@ROWS
def test_residuals_after_the_published_setbacks(row) -> None:
    """Computed: +0.069 to +0.168 cents at fret 12, +0.38 to +0.95 at fret 1."""
    setbacks = Setbacks(row.saddle_mm, row.nut_mm)
    assert 0.0685 <= fret_error_cents(string_of(row), 12, setbacks) <= 0.1685
    assert 0.375 <= fret_error_cents(string_of(row), 1, setbacks) <= 0.955


@pytest.mark.parametrize(("index", "errors"), [(0, NORMAL_1_FRETS), (5, NORMAL_6_FRETS)])
def test_every_fret_of_two_strings(index, errors) -> None:
    string = string_of(TABLES["normal nylon"][index])
    found = [fret_error_cents(string, fret, NONE) for fret in range(1, 13)]
    assert found == pytest.approx(list(errors), abs=0.01)


def test_default_string_at_every_fret() -> None:
    found = [fret_error_cents(DEFAULT, fret, NONE) for fret in range(1, 13)]
    assert found == pytest.approx(list(DEFAULT_FRETS), abs=0.001)


def test_default_string_term_by_term() -> None:
    """Computed: the four terms at fret 12, and the rest after dS = 1.8, dN = -0.38."""
    parts = error_parts(DEFAULT, 12, NONE)
    assert parts.length_cents == pytest.approx(-0.172, abs=0.001)
    assert parts.density_cents == pytest.approx(0.037, abs=0.001)
    assert parts.tension_cents == pytest.approx(1.879, abs=0.001)
    assert parts.stiffness_cents == pytest.approx(4.232, abs=0.001)
    assert fret_error_cents(DEFAULT, 12, Setbacks(1.8, -0.38)) == pytest.approx(0.148, abs=0.001)


def test_default_string_two_ways_to_its_setbacks() -> None:
    """Computed: closed form 1.887 and -0.353 mm, least squares 1.815 and -0.377 mm."""
    closed, squares = closed_form_setbacks(DEFAULT), least_squares_setbacks(DEFAULT)
    assert (closed.saddle_mm, closed.nut_mm) == pytest.approx((1.887, -0.353), abs=0.001)
    assert (squares.saddle_mm, squares.nut_mm) == pytest.approx((1.815, -0.377), abs=0.001)


@ROWS
def test_first_order_error_is_near(row) -> None:
    """Published: 1731.234 [(gamma - 1)(B0 - dS/X0) + dN/X0 + kappa Q/2], Q by its approximation."""
    string, setbacks = string_of(row), Setbacks(1.0, -0.2)
    for fret in (1, 5, 12):
        g = 2 ** (fret / 12)
        stretch = (g * NUT_HEIGHT_MM + (g - 1) * RISE_MM) ** 2 / (2 * (g - 1) * SCALE_LENGTH_MM**2)
        first = (g - 1) * (row.stiffness - 1.0 / SCALE_LENGTH_MM) - 0.2 / SCALE_LENGTH_MM
        expected = 1731.234 * (first + row.kappa * stretch / 2)
        assert fret_error_cents(string, fret, setbacks) == pytest.approx(expected, abs=0.2)


@pytest.mark.source(AB24, "published formula", "change of the error by a saddle's move")
def test_effect_of_a_move_with_everything_worked_out_from_force() -> None:
    """Nothing of this project: E, radius, mass and pitch give tension and stiffness anew.

    A plain steel string, both ends as [AB24] has them; the open string is retuned after the move.
    """
    modulus, radius_mm, mass_g_per_m, pitch_hz = 200e3, 0.2159, 1.150, 195.998

    def error_cents(saddle_mm: float) -> float:
        open_mm = math.hypot(647.7 + saddle_mm, 3.0)
        tension_n = mass_g_per_m * 1e-3 * (2 * open_mm / 1000 * pitch_hz) ** 2
        area = math.pi * radius_mm**2
        sounding_mm = math.hypot(323.85 + saddle_mm, 3.5)
        stretch = (sounding_mm + math.hypot(323.85, 0.5)) / open_mm - 1
        fretted_n = tension_n + modulus * area * stretch
        bending = modulus * area * radius_mm**2 / 4

        def pitch(length_mm: float, force_n: float, mass: float) -> float:
            b = math.sqrt(bending / (force_n * length_mm**2))
            return math.sqrt(force_n / mass) / length_mm * (1 + b + (1 + math.pi**2 / 2) * b**2)

        high = pitch(sounding_mm, fretted_n, 1 / (1 + stretch))
        return 1200 * math.log2(high / pitch(open_mm, tension_n, 1.0) / 2)

    area = math.pi * radius_mm**2
    tension_n = mass_g_per_m * 1e-3 * (2 * 0.6477 * pitch_hz) ** 2
    kappa = modulus * area / tension_n
    string = FrettedString(647.7, kappa, math.sqrt(kappa) * radius_mm / (2 * 647.7), 0.5, 3.0)
    effect = ModelledEffect(string, 1.0)
    for move_mm in (-1.5, 0.5, 2.0):
        expected = error_cents(1.0 + move_mm) - error_cents(1.0)
        assert effect.change_cents(move_mm) == pytest.approx(expected, abs=1e-3)
        left = -effect.change_cents(move_mm)
        assert effect.move_mm(left) == pytest.approx(move_mm, abs=1e-6)


@pytest.mark.source(AB24, "published example", "string data to stretch response and stiffness")
@pytest.mark.parametrize("row", [row for _, row in ALL_ROWS], ids=[n for n, _ in ALL_ROWS])
def test_published_string_data_give_the_published_kappa_and_stiffness(row) -> None:
    """As published: kappa 2R + 1 and B0; computed pitch from tension and mass at 650 mm."""
    pitch_hz = math.sqrt(row.tension_n / (row.mass_g_per_m / 1000)) / 1.3
    data = StringData(
        diameter_mm=2 * row.radius_mm,
        mass_per_length_g_per_m=row.mass_g_per_m,
        stretch_response=row.response,
        stretch_response_uncertainty=2 * row.response_sd,
    )
    found, _ = model_string(data, SCALE_LENGTH_MM, pitch_hz)
    assert found is not None
    assert found.string.kappa == pytest.approx(row.kappa, abs=0.11)  # R comes rounded to 0.1
    assert found.string.stiffness == pytest.approx(row.stiffness, abs=1.2e-5)
    assert found.tension_n == pytest.approx(row.tension_n, rel=1e-6)
    assert found.kappa_uncertainty == pytest.approx(4 * row.response_sd)


@pytest.mark.source(AB24, "published example", "string data to stretch response and stiffness")
@pytest.mark.parametrize("row", [row for _, row in ALL_ROWS], ids=[n for n, _ in ALL_ROWS])
def test_published_modulus_gives_the_same_string(row) -> None:
    """As published: E_eff = kappa T / (pi rho^2)."""
    data = StringData(
        diameter_mm=2 * row.radius_mm, modulus_gpa=row.modulus_gpa, tension_n=row.tension_n
    )
    found, _ = model_string(data, SCALE_LENGTH_MM, 100.0)
    assert found is not None
    assert found.string.kappa == pytest.approx(row.kappa, rel=0.01)


def test_heights_of_the_paper() -> None:
    """b = 1 and c = 4 mm stand at 1 + 4 (1 - 2^(-1/12)) and 3 mm over frets 1 and 12."""
    assert nut_and_rise_mm(1.2245028, 3.0) == pytest.approx((1.0, 4.0), abs=1e-6)
