"""The instrument: strings, tuning, scale length, bridge. Plain values, checked where they are read.

String 1 is the thinnest; lists run from the highest string number to 1, as players say a tuning.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from analyzer.instrument.string_data import StringData
from analyzer.music import ISO16_A4_HZ, note_hz

STANDARD_SIX_STRING = ("E2", "A2", "D3", "G3", "B3", "E4")
DEFAULT_SMALLEST_TURN = 0.25  # a quarter turn, common practice of the trade

ScrewHead = Literal["tail", "neck"]


@dataclass(frozen=True)
class Screw:
    """The adjusting screw of a saddle: advance per turn (mm), the end its head faces, its step."""

    pitch_mm: float
    head: ScrewHead
    smallest_turn: float = DEFAULT_SMALLEST_TURN


@dataclass(frozen=True)
class Bridge:
    """Saddles as tuples of the strings they carry, and how they move.

    ``travel_mm``: room left toward the nut and away from it, or None where it is not known.
    ``setback_mm`` is how far each string's break point lies beyond its nominal scale length now, by
    string; what is not there is not known.
    """

    saddles: tuple[tuple[int, ...], ...]
    screw: Screw | None = None
    travel_mm: tuple[float, float] | None = None
    setback_mm: Mapping[int, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Instrument:
    """``tuning`` and ``scale_lengths_mm`` run from the highest string number to string 1.

    ``string_data`` holds, by number, the strings of which the file says more.
    """

    name: str
    tuning: tuple[str, ...]
    scale_lengths_mm: tuple[float, ...] | None = None
    bridge: Bridge | None = None
    string_data: Mapping[int, StringData] = field(default_factory=dict)

    @property
    def strings(self) -> tuple[int, ...]:
        """String numbers, the highest first."""
        return tuple(range(len(self.tuning), 0, -1))

    def note(self, string: int) -> str:
        """The note that the open string is tuned to."""
        return self.tuning[-string]

    def open_hz(self, string: int, a4_hz: float = ISO16_A4_HZ) -> float:
        """Nominal frequency of the open string, Hz."""
        return note_hz(self.note(string), a4_hz)

    def scale_length_mm(self, string: int) -> float | None:
        """Nominal length of the open string, mm, or None where the file does not say."""
        return None if self.scale_lengths_mm is None else self.scale_lengths_mm[-string]


def assumed_instrument() -> Instrument:
    """What is assumed without an instrument file: six strings in standard tuning, no more."""
    return Instrument("six-string, standard tuning assumed", STANDARD_SIX_STRING)
