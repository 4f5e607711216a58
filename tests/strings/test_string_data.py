"""[[strings]]: what is read, and the one line for what is wrong or missing."""

from __future__ import annotations

import pytest
from conftest import ROOT
from string_sets import HEAD, SIXTH

from analyzer.errors import UnusableInputError
from analyzer.instrument.file import read_instrument
from analyzer.instrument.string_data import StringData
from analyzer.string_model.from_data import model_string
from analyzer.string_model.of_instrument import modelled_effect, unmodelled


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
