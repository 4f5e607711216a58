"""[[strings]] of instrument.toml and of a file of strings: what each key may hold."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from analyzer.instrument.model import Instrument
from analyzer.instrument.string_data import MATERIALS, StringData
from analyzer.instrument.tables import Table, read_toml, shown

HEADING = "strings"
# Key: lowest, highest, example. From the thinnest plain string to the thickest of a bass.
_NUMBERS: dict[str, tuple[float, float, str]] = {
    "diameter_mm": (0.1, 5.0, "0.43"),
    "core_diameter_mm": (0.1, 5.0, "0.41"),
    "modulus_gpa": (0.5, 500.0, "200"),
    "mass_per_length_g_per_m": (0.05, 60.0, "5.47"),
    "tension_n": (5.0, 400.0, "62.8"),
    "stretch_response": (1.0, 500.0, "25"),
    "stretch_response_uncertainty": (0.0, 250.0, "1.0"),
    "height_at_fret_1_mm": (0.0, 5.0, "0.5"),
    "height_at_fret_12_mm": (0.0, 15.0, "2.0"),
}
# Tension given over tension by mass and pitch. A tuning two semitones down is 1.26; and a plastic
# string's own density is known to some 15 %.
MOST_DISAGREEMENT = 1.5
_LIST = "a table headed [[strings]] for each string, with string = 6 and what is known of it"


def read_string_data(file: Table, instrument: Instrument) -> dict[int, StringData]:
    """The [[strings]] of a file for this instrument, by number; empty where there are none.

    Raises UnusableInputError with one line: the file, the string and key, the value, the remedy.
    """
    if not file.has(HEADING):
        return {}
    strings = len(instrument.tuning)
    found: dict[int, StringData] = {}
    for unnamed in file.tables(HEADING, _LIST):
        number = _number(file, unnamed.take("string", "its number: string = 6"), strings, found)
        table = unnamed.called(f"{HEADING}, string {number}")
        found[number] = _string(table)
        _tension_agrees(table, found[number], instrument, number)
    return found


def read_string_set(path: Path, instrument: Instrument) -> dict[int, StringData]:
    """A file that holds [[strings]] and nothing else: the strings that go on next.

    Raises UnusableInputError, as ``read_string_data``, and where it holds no string.
    """
    file = read_toml(path)
    found = read_string_data(file, instrument)
    if not found:
        raise file.fault(HEADING, "is missing", f"Add {_LIST}")
    file.done()
    return found


def _number(file: Table, number: Any, strings: int, before: dict[int, StringData]) -> int:
    if type(number) is not int or not 1 <= number <= strings:
        raise file.fault(
            HEADING,
            f"names string {shown(number)}",
            f"The tuning has strings {strings} to 1, string 1 the thinnest",
        )
    if number in before:
        raise file.fault(HEADING, f"gives string {number} twice", "Keep one of the two")
    return number


def _string(table: Table) -> StringData:
    numbers = {
        key: table.number(key, low, high, example)
        for key, (low, high, example) in _NUMBERS.items()
        if table.has(key)
    }
    material = table.choice("material", tuple(MATERIALS)) if table.has("material") else None
    table.done()
    data = StringData(material=material, **numbers)
    for check in _CHECKS:
        check(table, data)
    return data


def _core_inside(table: Table, data: StringData) -> None:
    core, whole = data.core_diameter_mm, data.diameter_mm
    if core is not None and whole is not None and core > whole:
        raise table.fault(
            "core_diameter_mm",
            f"is {core:g}, thicker than the string's {whole:g}",
            "The core lies inside the winding; give both in millimetres",
        )


def _both_heights(table: Table, data: StringData) -> None:
    first, twelfth = data.height_at_fret_1_mm, data.height_at_fret_12_mm
    if (first is None) != (twelfth is None):
        missing = "height_at_fret_1_mm" if first is None else "height_at_fret_12_mm"
        raise table.fault(missing, "is missing", "Give both heights of the open string, or none")
    if first is not None and twelfth is not None and twelfth < first:
        raise table.fault(
            "height_at_fret_12_mm",
            f"is {twelfth:g}, lower than the {first:g} at fret 1",
            "Measure both between the fret's top and the open string",
        )


def _uncertainty_of_something(table: Table, data: StringData) -> None:
    if data.stretch_response_uncertainty is not None and data.stretch_response is None:
        raise table.fault(
            "stretch_response_uncertainty", "is given without stretch_response", "Give both or none"
        )


def _tension_agrees(table: Table, data: StringData, instrument: Instrument, number: int) -> None:
    """Of mass, length, pitch and tension three decide the fourth."""
    length_mm, pitch_hz = instrument.scale_length_mm(number), instrument.open_hz(number)
    if data.tension_n is None or length_mm is None:
        return
    by_pitch_n = data.tension_by_pitch_n(length_mm, pitch_hz)
    if by_pitch_n is None:
        return
    if not 1 / MOST_DISAGREEMENT <= data.tension_n / by_pitch_n <= MOST_DISAGREEMENT:
        raise table.fault(
            "tension_n",
            f"is {data.tension_n:g}, and its mass at {instrument.note(number)} and "
            f"{length_mm:g} mm pulls with {by_pitch_n:.1f}",
            "Mend the tension or the mass per length, or leave one out",
        )


_CHECKS: tuple[Callable[[Table, StringData], None], ...] = (
    _core_inside,
    _both_heights,
    _uncertainty_of_something,
)
