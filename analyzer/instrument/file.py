"""instrument.toml: what its keys are and what each may hold. [bridge] has a module of its own."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from analyzer.errors import printable
from analyzer.instrument.bridge_table import read_bridge
from analyzer.instrument.model import Instrument
from analyzer.instrument.string_file import read_string_data
from analyzer.instrument.tables import LONGEST_TEXT, Table, read_toml, shown
from analyzer.music import note_hz

FILE_NAME = "instrument.toml"
MOST_STRINGS = 12
SCALE_LENGTHS_MM = (200.0, 1500.0)
_LOWEST_HZ, _HIGHEST_HZ = 25.0, 750.0  # of an open string; the octave must be heard, too
_TUNING = 'a list of note names, string by string to string 1, such as ["E2", "A2", ..., "E4"]'


def read_instrument(path: Path) -> Instrument:
    """The instrument that a TOML file describes.

    Raises
    ------
    UnusableInputError
        One line: the file, the key, the value, what is allowed and how to mend it.
    """
    file = read_toml(path)
    table = file.table("instrument")
    folder = printable(path.resolve().parent.name, LONGEST_TEXT) or "unnamed"
    name_given = table.has("name")
    name = table.text("name", 'a text such as "Bench six-string"', folder)
    tuning = _tuning(table)
    strings = range(len(tuning), 0, -1)
    lengths = table.number_each("scale_length_mm", strings, *SCALE_LENGTHS_MM, "647.7")
    table.done()
    bridge = read_bridge(file.table("bridge"), strings) if file.has("bridge") else None
    instrument = Instrument(name, tuning, tuple(lengths.values()), bridge, name_given)
    string_data = read_string_data(file, instrument)
    file.done()
    return replace(instrument, string_data=string_data)


def _tuning(table: Table) -> tuple[str, ...]:
    notes = table.list_of("tuning", _TUNING)
    if len(notes) > MOST_STRINGS:
        raise table.fault("tuning", f"names {len(notes)} strings", f"At most {MOST_STRINGS}")
    for note in notes:
        try:
            sounding_hz = note_hz(note)
        except (ValueError, AttributeError) as error:
            raise table.fault("tuning", f"has {shown(note)}", f"Give {_TUNING}") from error
        if not _LOWEST_HZ <= sounding_hz <= _HIGHEST_HZ:
            raise table.fault(
                "tuning",
                f"has {shown(note)}, {sounding_hz:.0f} Hz",
                f"Open strings from {_LOWEST_HZ:g} Hz to {_HIGHEST_HZ:g} Hz can be measured",
            )
    return tuple(note.strip() for note in notes)
