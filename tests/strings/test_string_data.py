"""[[strings]]: what is read, the one line for what is wrong, and the model that comes of it.

[AB24] as in ``compensation_tables``. Steel: E 200 GPa and 7850 kg/m3 are handbook values from
memory; tension and B of plain steel strings were COMPUTED from them apart from this project.
"""

from __future__ import annotations

import json
import math

import pytest
from compensation_tables import ALL_ROWS, SCALE_LENGTH_MM
from conftest import ROOT
from pluck_model import PluckModel

from analyzer.errors import UnusableInputError
from analyzer.instrument.file import read_instrument
from analyzer.instrument.string_data import StringData
from analyzer.string_model.from_data import model_string, nut_and_rise_mm
from analyzer.string_model.of_instrument import modelled_effect, unmodelled

HEAD = """
[instrument]
scale_length_mm = 650
tuning = ["E2", "A2", "D3", "G3", "B3", "E4"]
"""
SIXTH = """
[[strings]]
string = 6
diameter_mm = 1.092
material = "nylon"
mass_per_length_g_per_m = 5.470
tension_n = 62.8
stretch_response = 28.6
stretch_response_uncertainty = 0.8
height_at_fret_1_mm = 1.22
height_at_fret_12_mm = 3.0
"""


def read(tmp_path, text: str):
    path = tmp_path / "instrument.toml"
    path.write_text(text, encoding="utf-8")
    return read_instrument(path)


def test_every_key_is_read(tmp_path) -> None:
    found = read(tmp_path, HEAD + SIXTH).string_data
    assert found == {6: StringData(1.092, None, "nylon", None, 5.47, 62.8, 28.6, 0.8, 1.22, 3.0)}
    assert read(tmp_path, HEAD).string_data == {}


@pytest.mark.parametrize(
    ("right", "wrong", "line"),
    [
        ("string = 6", "string = 7", "names string 7. The tuning has strings 6 to 1"),
        ("string = 6", "string = true", "names string True"),
        ("string = 6", "", "string: is missing. Add its number: string = 6"),
        ("diameter_mm = 1.092", "diameter_mm = 43", "diameter_mm: is 43. Give a number from 0.1"),
        ("diameter_mm = 1.092", "diametre_mm = 1", "diametre_mm: is not known here"),
        ('"nylon"', '"bronze"', 'is \'bronze\'. Give "steel" or "nylon" or "fluorocarbon"'),
        ("tension_n = 62.8", "tension_n = nan", "tension_n: is nan"),
        ("tension_n = 62.8", 'tension_n = "62"', "is '62', not a number"),
        ("stretch_response = 28.6", "", "is given without stretch_response"),
        ("height_at_fret_12_mm = 3.0", "", "height_at_fret_12_mm: is missing. Give both heights"),
        ("height_at_fret_12_mm = 3.0", "height_at_fret_12_mm = 1", "lower than the 1.22 at fret 1"),
        ("tension_n = 62.8", "core_diameter_mm = 1.2", "is 1.2, thicker than the string's 1.092"),
        ("[[strings]]", "[strings]", "is {'string': 6"),
        ("tension_n = 62.8", "tension_n = 128", "at E2 and 650 mm pulls with 62.8. Mend"),
    ],
)
@pytest.mark.fault("a wrong key or value in [[strings]]")
def test_one_line_says_what_is_wrong(tmp_path, right, wrong, line) -> None:
    assert right in SIXTH
    with pytest.raises(UnusableInputError) as caught:
        read(tmp_path, HEAD + SIXTH.replace(right, wrong, 1))
    said = str(caught.value)
    assert line in said
    assert said.startswith("instrument.toml, [strings")
    assert "\n" not in said


def test_the_manuals_example_is_read(tmp_path) -> None:
    manual = (ROOT / "README.md").read_text(encoding="utf-8")
    (example,) = [
        block.split("```")[0] for block in manual.split("```toml")[1:] if "[[strings]]" in block
    ]
    found = read(tmp_path, HEAD + example)
    assert found.string_data[6].core_diameter_mm == 0.41
    assert list(unmodelled(found)) == []


@pytest.mark.fault("a string given twice")
def test_a_string_given_twice_and_a_list_of_no_tables(tmp_path) -> None:
    with pytest.raises(UnusableInputError, match="gives string 6 twice"):
        read(tmp_path, HEAD + SIXTH + SIXTH)
    with pytest.raises(UnusableInputError, match="has 4"):
        read(tmp_path, "strings = [4]\n" + HEAD)


@pytest.mark.parametrize("row", [row for _, row in ALL_ROWS], ids=[n for n, _ in ALL_ROWS])
def test_published_string_data_give_the_published_kappa_and_stiffness(row) -> None:
    """SEEN: kappa 2R + 1 and B0; COMPUTED pitch from tension and mass at 650 mm."""
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


@pytest.mark.parametrize("row", [row for _, row in ALL_ROWS], ids=[n for n, _ in ALL_ROWS])
def test_published_modulus_gives_the_same_string(row) -> None:
    """SEEN: E_eff = kappa T / (pi rho^2)."""
    data = StringData(
        diameter_mm=2 * row.radius_mm, modulus_gpa=row.modulus_gpa, tension_n=row.tension_n
    )
    found, _ = model_string(data, SCALE_LENGTH_MM, 100.0)
    assert found is not None
    assert found.string.kappa == pytest.approx(row.kappa, rel=0.01)


# COMPUTED: inches, pitch -> tension N, Fletcher's B of a plain steel string at 647.7 mm.
@pytest.mark.parametrize(
    ("inches", "pitch_hz", "tension_n", "fletcher_b"),
    [
        (0.010, 329.628, 72.52, 1.3256e-5),
        (0.013, 246.942, 68.79, 3.9916e-5),
        (0.017, 195.998, 74.10, 1.0835e-4),
    ],
)
def test_plain_steel_from_material_alone(inches, pitch_hz, tension_n, fletcher_b) -> None:
    data = StringData(diameter_mm=25.4 * inches, material="steel")
    found, _ = model_string(data, 647.7, pitch_hz)
    assert found is not None
    assert found.tension_n == pytest.approx(tension_n, rel=1e-3)
    assert (math.pi * found.string.stiffness) ** 2 == pytest.approx(fletcher_b, rel=1e-3)


def test_only_the_core_of_a_wound_string_pulls_and_bends() -> None:
    """By hand: E A / T and sqrt(kappa) r / 2L with the core's 0.4 mm, whatever lies around it."""
    data = StringData(1.1, 0.4, "steel", None, 6.0)
    found, _ = model_string(data, 650.0, 82.407)
    assert found is not None
    tension_n = 0.006 * (1.3 * 82.407) ** 2
    kappa = 200e9 * math.pi * 0.0002**2 / tension_n
    assert found.string.kappa == pytest.approx(kappa)
    assert found.string.stiffness == pytest.approx(math.sqrt(kappa) * 0.2 / 1300)


def test_heights_of_the_paper() -> None:
    """b = 1 and c = 4 mm stand at 1 + 4 (1 - 2^(-1/12)) and 3 mm over frets 1 and 12."""
    assert nut_and_rise_mm(1.2245028, 3.0) == pytest.approx((1.0, 4.0), abs=1e-6)


@pytest.mark.parametrize(
    ("data", "missing"),
    [
        (StringData(material="nylon"), "diameter_mm"),
        (StringData(diameter_mm=1.0), "material (or stretch_response)"),
        (StringData(1.0, 0.4, "steel"), "mass_per_length_g_per_m or tension_n"),
    ],
)
def test_what_is_missing_is_said(data, missing) -> None:
    assert model_string(data, 650.0, 82.4) == (None, missing)


def test_too_little_for_the_model_is_a_warning(tmp_path) -> None:
    found = read(tmp_path, HEAD + "[[strings]]\nstring = 6\ndiameter_mm = 1.1\n")
    assert modelled_effect(found, 6) is None
    (line,) = unmodelled(found)
    assert line.startswith("String 6: [[strings]] has no material (or stretch_response)")


def test_report_uses_the_model_where_it_can(tmp_path, run, write_pluck) -> None:
    """[AB24] string 6 of the normal set: 82.406889 and 165.5617 Hz, back by 2.932 mm (COMPUTED)."""
    for name, hertz in (("open", 82.406889), ("f12", 165.5617)):
        write_pluck(f"s6_{name}_1.wav", PluckModel(hertz))
        write_pluck(f"s5_{name}_1.wav", PluckModel(hertz * 110 / 82.406889))
    text = HEAD + SIXTH
    (tmp_path / "instrument.toml").write_text(text, encoding="utf-8")
    report = json.loads(run("analyze", tmp_path, "--json", "-").stdout)
    sixth, fifth = report["strings"][:2]
    assert sixth["saddle_move_mm"] == pytest.approx(2.932, rel=0.02)
    assert fifth["saddle_move_mm"] == pytest.approx(2.963, rel=0.005)  # COMPUTED, length alone
    assert sixth["saddle_move_mm"] < fifth["saddle_move_mm"] - 0.02
