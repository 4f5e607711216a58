"""instrument.toml: what its keys are, what each may hold, and how they must agree."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any, cast

from analyzer.errors import printable
from analyzer.instrument.model import (
    DEFAULT_SMALLEST_TURN,
    Bridge,
    Instrument,
    Screw,
    ScrewHead,
)
from analyzer.instrument.string_file import read_string_data
from analyzer.instrument.tables import LONGEST_TEXT, Table, read_toml, shown
from analyzer.instrument.threads import thread_pitch_mm
from analyzer.music import note_hz

FILE_NAME = "instrument.toml"
MOST_STRINGS = 12
SCALE_LENGTHS_MM = (200.0, 1500.0)
MOST_TRAVEL_MM = 30.0
_LOWEST_HZ, _HIGHEST_HZ = 25.0, 750.0  # of an open string; the octave must be heard, too
_TUNING = 'a list of note names, string by string to string 1, such as ["E2", "A2", ..., "E4"]'
_SADDLES = "lists of the strings on each saddle, such as [[6], [5], ...] or [[6, 5], ...]"
_TRAVEL = (
    f"two numbers from 0 to {MOST_TRAVEL_MM:g}: mm left toward the nut and away from it, "
    "such as [4.0, 6.0]"
)
_THREAD = 'a standard designation such as "M3", "M3x0.35" or "6-32 UNC"'


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
    name = table.text("name", 'a text such as "Bench six-string"', folder)
    tuning = _tuning(table)
    lengths = _scale_lengths_mm(table, len(tuning))
    table.done()
    bridge = _bridge(file.table("bridge"), len(tuning)) if file.has("bridge") else None
    instrument = Instrument(name, tuning, lengths, bridge)
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


def _scale_lengths_mm(table: Table, strings: int) -> tuple[float, ...]:
    key, (low, high) = "scale_length_mm", SCALE_LENGTHS_MM
    allowed = f"{low:g} to {high:g} millimetres, such as 647.7, or a list of one for each string"
    value = table.take(key, allowed)
    values = value if isinstance(value, list) else [value] * strings
    if len(values) != strings:
        raise table.fault(
            key, f"lists {len(values)} lengths for {strings} strings", f"Give {allowed}"
        )
    return tuple(table.number_in(key, each, low, high, allowed) for each in values)


def _bridge(table: Table, strings: int) -> Bridge:
    saddles = _saddles(table, strings)
    screw = _screw(table)
    travel = None
    if table.has("travel_mm"):
        limits = table.list_of("travel_mm", _TRAVEL)
        if len(limits) != 2:
            raise table.fault("travel_mm", f"is {shown(limits)}", f"Give {_TRAVEL}")
        first, second = (
            table.number_in("travel_mm", limit, 0, MOST_TRAVEL_MM, _TRAVEL) for limit in limits
        )
        travel = (first, second)
    table.done()
    return Bridge(saddles, screw, travel)


def _saddles(table: Table, strings: int) -> tuple[tuple[int, ...], ...]:
    saddles = table.list_of("saddles", _SADDLES)
    carried: list[int] = []
    for saddle in saddles:
        if not isinstance(saddle, list) or not saddle:
            raise table.fault("saddles", f"has {shown(saddle)}", f"Give {_SADDLES}")
        for string in saddle:
            _check_string(table, string, strings, carried)
            carried.append(string)
    missing = [string for string in range(strings, 0, -1) if string not in carried]
    if missing:
        raise table.fault(
            "saddles", f"puts string {missing[0]} on no saddle", "Add it to the one it lies on"
        )
    return tuple(tuple(saddle) for saddle in saddles)


def _check_string(table: Table, string: Any, strings: int, carried: list[int]) -> None:
    if type(string) is not int or not 1 <= string <= strings:
        raise table.fault(
            "saddles", f"names string {shown(string)}", f"The tuning has strings {strings} to 1"
        )
    if string in carried:
        raise table.fault(
            "saddles", f"puts string {string} on a saddle twice", "Keep the one it lies on"
        )


def _screw(table: Table) -> Screw | None:
    smallest = table.number("smallest_turn", 0.01, 1.0, "0.25", DEFAULT_SMALLEST_TURN)
    by_name, by_pitch = table.has("thread"), table.has("thread_pitch_mm")
    if by_name and by_pitch:
        raise table.fault("thread", "is given beside thread_pitch_mm", "Keep one of the two")
    if not (by_name or by_pitch):
        if table.has("screw_head"):
            raise table.fault("thread", "is missing", f"Add {_THREAD}, or thread_pitch_mm = 0.5")
        return None
    pitch_mm = _named_pitch_mm(table) if by_name else table.number("thread_pitch_mm", 0.1, 3, "0.5")
    head = cast("ScrewHead", table.choice("screw_head", ("tail", "neck")))
    return Screw(pitch_mm, head, smallest)


def _named_pitch_mm(table: Table) -> float:
    designation = table.text("thread", _THREAD)
    try:
        return thread_pitch_mm(designation)
    except ValueError as error:
        raise table.fault(
            "thread",
            f"is {shown(designation)}",
            f"Give {_THREAD}, or thread_pitch_mm = 0.5 in its place",
        ) from error
