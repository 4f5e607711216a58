"""Note names, nominal frequencies and cents.

Conventions: twelve-tone equal temperament on A4 = 440 Hz unless told otherwise (ISO 16:1975),
octave numbers as in scientific pitch notation (C4 is middle C), 1200 cents to the octave.
"""

from __future__ import annotations

import math
import re

ISO16_A4_HZ = 440.0
LOWEST_A4_HZ, HIGHEST_A4_HZ = 380.0, 500.0  # what notes may be named by; a choice
CENTS_PER_OCTAVE = 1200.0
CENTS_PER_NEPER = CENTS_PER_OCTAVE / math.log(2)  # 1731.234: small ratios, cents = this * df/f
SEMITONES_PER_OCTAVE = 12

_SEMITONE_OF = {"c": -9, "d": -7, "e": -5, "f": -4, "g": -2, "a": 0, "b": 2}  # from A
_ACCIDENTAL = {"": 0, "#": 1, "♯": 1, "s": 1, "b": -1, "♭": -1}
NOTE_PATTERN = r"[a-g][#♯sb♭]?-?[0-9]"
# ASCII: otherwise letters that only fold to these, such as a long s, would pass.
_NOTE = re.compile(r"([a-g])([#♯sb♭]?)(-?[0-9])", re.IGNORECASE | re.ASCII)
_NAMES = ("A", "A#", "B", "C", "C#", "D", "D#", "E", "F", "F#", "G", "G#")


def semitones_from_a4(note: str) -> int:
    """Semitones from A4 up to ``note`` (``E2``, ``F#3``, ``Bb1``, ``Fs3``); ValueError if none.

    >>> semitones_from_a4("A4"), semitones_from_a4("C4"), semitones_from_a4("Bb4")
    (0, -9, 1)
    """
    match = _NOTE.fullmatch(note.strip())
    if match is None:
        raise ValueError(f"{note!r} is not a note name")
    letter, accidental, octave = match.groups()
    step = _SEMITONE_OF[letter.lower()] + _ACCIDENTAL[accidental.lower()]
    return step + SEMITONES_PER_OCTAVE * (int(octave) - 4)


def note_hz(note: str, a4_hz: float = ISO16_A4_HZ) -> float:
    """Nominal frequency of a note name, Hz, in equal temperament.

    >>> note_hz("A4"), note_hz("A3"), round(note_hz("C4"), 2)
    (440.0, 220.0, 261.63)
    """
    return float(a4_hz * 2 ** (semitones_from_a4(note) / SEMITONES_PER_OCTAVE))


def nearest_note(frequency_hz: float, a4_hz: float = ISO16_A4_HZ) -> tuple[str, float]:
    """The name of the nearest note, and how far above it the frequency lies, cents.

    >>> nearest_note(880.0)
    ('A5', 0.0)
    """
    semitones = SEMITONES_PER_OCTAVE * math.log2(frequency_hz / a4_hz)
    nearest = round(semitones)
    octave = 4 + (nearest + 9) // SEMITONES_PER_OCTAVE  # octave numbers change at C
    return f"{_NAMES[nearest % SEMITONES_PER_OCTAVE]}{octave}", 100 * (semitones - nearest)


def cents_between(lower_hz: float, upper_hz: float) -> float:
    """1200 log2(upper / lower): positive where ``upper_hz`` is the higher.

    >>> cents_between(110.0, 220.0), round(cents_between(2.0, 3.0), 3)  # octave, perfect fifth
    (1200.0, 701.955)
    """
    return CENTS_PER_OCTAVE * math.log2(upper_hz / lower_hz)


def ratio_of_cents(cents: float) -> float:
    """The frequency ratio of an interval in cents.

    >>> ratio_of_cents(1200.0), ratio_of_cents(-1200.0)
    (2.0, 0.5)
    """
    return float(2 ** (cents / CENTS_PER_OCTAVE))
