"""The instrument: strings, tuning, scale length, bridge. Plain values, checked where they are read.

String 1 is the thinnest; lists run from the highest string number to 1, as players say a tuning.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from analyzer.instrument.string_data import StringData
from analyzer.music import ISO16_A4_HZ, note_hz

STANDARD_SIX_STRING = ("E2", "A2", "D3", "G3", "B3", "E4")
DEFAULT_SMALLEST_TURN = 0.25  # a quarter turn, common practice of the trade
DEFAULT_MAX_STEP_TURNS = 0.5  # between two checks; common practice of the trade
DEFAULT_MAX_STEP_MM = 0.5  # the same where there is no screw; a choice, about a turn of M3
DEFAULT_MAX_FILED_MM = 0.2  # what is filed away is gone: smaller; a choice

# What the saddles of common bridges can travel from end to end at the most (common practice of the
# trade, from memory). A string that asks for more is not one whose saddle is out of place.
MOST_COMMON_TRAVEL_MM = 10.0

ScrewHead = Literal["tail", "neck"]
ThreadHand = Literal["right", "left"]
Action = Literal["turn", "slide", "file"]


@dataclass(frozen=True)
class Screw:
    """The adjusting screw of a saddle: advance per turn (mm), the end its head faces, its step."""

    pitch_mm: float
    head: ScrewHead
    smallest_turn: float = DEFAULT_SMALLEST_TURN
    hand: ThreadHand = "right"

    @property
    def clockwise_lengthens(self) -> bool:
        """Whether a clockwise turn, seen facing the head, moves the saddle away from the nut.

        Tightening draws a saddle toward the screw's head, and a right-hand thread is tightened
        clockwise (common practice).
        """
        return (self.head == "tail") == (self.hand == "right")


@dataclass(frozen=True)
class Steps:
    """The least that something can be moved by, None where any place can be had; and the most.

    ``largest_mm`` is how far it is moved before the next check; ``always_checked``: whether no
    check may be skipped.
    """

    smallest_mm: float | None = None
    largest_mm: float = DEFAULT_MAX_STEP_MM
    always_checked: bool = False

    @classmethod
    def of_screw(
        cls, screw: Screw | None, max_step_turns: float, *, always_checked: bool = False
    ) -> Steps:
        """The steps of a screw; without one, any place can be had."""
        if screw is None:
            return cls()
        smallest_mm, largest_mm = (
            turns * screw.pitch_mm for turns in (screw.smallest_turn, max_step_turns)
        )
        return cls(smallest_mm, largest_mm, always_checked)


@dataclass(frozen=True)
class Adjuster:
    """One thing that a technician can move, and what it does to each string's saddle.

    ``share`` maps a string to the mm that its saddle moves away from the nut for each mm of the
    adjuster. ``travel_mm``: room left toward the nut and away from it, None where it is not
    known. ``loose``: whether nothing but the strings holds what it moves in its place.
    """

    name: str
    share: Mapping[int, float]
    screw: Screw | None = None
    travel_mm: tuple[float, float] | None = None
    steps: Steps = Steps()
    action: Action = "turn"
    loose: bool = False

    @property
    def strings(self) -> tuple[int, ...]:
        """The strings that it moves, as the bridge lists them."""
        return tuple(self.share)


@dataclass(frozen=True)
class Bridge:
    """Saddles as tuples of the strings they carry, and the adjusters that move them.

    A string's saddle moves by the sum over adjusters of share times move: this is all that a
    bridge is, of whatever kind. ``setback_mm`` is how far each string's break point lies beyond
    its nominal scale length now, by string; what is not there counts as 0. ``across_mm`` is
    where each string lies across the bridge, empty where nothing depends on it.
    """

    saddles: tuple[tuple[int, ...], ...]
    adjusters: tuple[Adjuster, ...]
    setback_mm: Mapping[int, float] = field(default_factory=dict)
    across_mm: Mapping[int, float] = field(default_factory=dict)


def saddle_name(strings: Sequence[int]) -> str:
    """What a saddle is called: ``saddle 6``, ``saddle 6-5``."""
    return f"saddle {'-'.join(map(str, strings))}"


@dataclass(frozen=True)
class Instrument:
    """``tuning`` and ``scale_lengths_mm`` run from the highest string number to string 1.

    ``name_given`` is False where the name is only that of a folder. ``string_data`` holds, by
    number, the strings of which the file says more.
    """

    name: str
    tuning: tuple[str, ...]
    scale_lengths_mm: tuple[float, ...] | None = None
    bridge: Bridge | None = None
    name_given: bool = True
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
    return Instrument("six-string, standard tuning assumed", STANDARD_SIX_STRING, name_given=False)


def strings_named(strings: Sequence[int]) -> str:
    """Strings in a sentence.

    >>> strings_named([6]), strings_named([6, 5, 1])
    ('string 6', 'strings 6, 5 and 1')
    """
    *others, last = map(str, strings)
    return f"strings {', '.join(others)} and {last}" if others else f"string {last}"
