"""What the guide says. Its forms (text, Markdown, page) add nothing to it."""

from __future__ import annotations

import os
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from analyzer.errors import UnusableInputError
from analyzer.instrument.file import FILE_NAME, read_instrument
from analyzer.instrument.model import Instrument
from analyzer.music import semitones_from_a4

TAKES = 3  # of each note: one bad pluck is then told from the others; a choice
ENDING = ".wav"


@dataclass(frozen=True)
class Row:
    """One string: its two notes, and what the recordings of them are called without the take."""

    string: int
    note: str
    open_name: str
    fretted_name: str


@dataclass(frozen=True)
class Part:
    """A heading and its points; ``numbered`` where their order matters."""

    heading: str
    points: tuple[str, ...]
    numbered: bool = False


@dataclass(frozen=True)
class Sheet:
    """The guide, from top to bottom: title, introduction, ``before``, rows, ``after``."""

    title: str
    introduction: str
    before: tuple[Part, ...]
    table_heading: str
    rows: tuple[Row, ...]
    after: tuple[Part, ...]


_PREPARE = Part(
    "Before you start",
    (
        (
            "The strings should be fairly new, and should have been on for a day or more. Tune "
            "each one as you always do. Then leave the tuning alone until you have finished."
        ),
        "Find a quiet room: no fan, no music, nobody talking.",
        (
            "Lay the phone on something soft, two hands' widths from the strings. Use the same "
            "phone and the same place for all notes. If the instrument has a cable, leave it "
            "unplugged."
        ),
        "Sit or stand and hold the instrument as you do when you play.",
    ),
)
_PLAY = (
    "Rest a hand lightly on all the other strings so that they stay silent.",
    (
        "Pluck the string once, as strongly as you normally play. Nothing presses it down: this is "
        "the open note."
    ),
    "Keep still and let it ring for three seconds. Do not talk. Then silence it.",
    (
        "Press the same string down just behind the 12th fret: straight down, only as hard as it "
        "needs to sound clear, without pulling it sideways. Pluck it, and let it ring for three "
        "seconds, too."
    ),
    (
        f"Do both {TAKES} times: open, 12th fret, open, 12th fret, open, 12th fret. Then go on to "
        "the next string in the list."
    ),
)
_FRET = (
    "The 12th fret is the twelfth metal bar from the head, halfway along the strings; it often has "
    "two dots."
)
_SAFETY = Part(
    "Take care",
    (
        (
            "Strings are under tension and can snap: keep your face, above all your eyes, away "
            "from them, and more so while you tune."
        ),
        "Do not turn any screws and do not take anything off.",
        (
            "If something is loose, cracked or lifting, stop, and let a qualified repairer look at "
            "it. Keep the instrument away from mains equipment while you record. Local safety "
            "rules come first."
        ),
    ),
)


def instrument_in(path: Path) -> Path:
    """The instrument file that is meant: the path itself, or ``instrument.toml`` of a folder.

    Raises UnusableInputError for a folder without one.
    """
    if not path.is_dir():
        return path
    file = path / FILE_NAME
    if not os.path.lexists(file):
        remedy = "Give the instrument file itself, or the folder that it is in"
        raise UnusableInputError(str(path), f"holds no {FILE_NAME}", remedy)
    return file


def read_sheet(path: Path) -> Sheet:
    """The guide for the instrument in a file; raises UnusableInputError where it is not right."""
    return sheet_of(read_instrument(path))


def sheet_of(instrument: Instrument) -> Sheet:
    """The guide for an instrument."""
    notes = 2 * TAKES * len(instrument.tuning)
    return Sheet(
        title=f"How to record: {instrument.name}",
        introduction=f"From {notes} short notes we can tell how well this instrument plays in tune "
        "further up its neck, and what it needs. A phone will do. It takes about a quarter of an "
        "hour.",
        before=(_PREPARE, Part("Each string in turn", _PLAY, numbered=True)),
        table_heading=f"Go from the top of this list to its end. {_FRET} String 1 is the one "
        "nearest to the floor while you play.",
        rows=tuple(_row(instrument, string) for string in instrument.strings),
        after=(_names(instrument), _SAFETY),
    )


def _row(instrument: Instrument, string: int) -> Row:
    return Row(string, instrument.note(string), f"s{string}_open", f"s{string}_f12")


def _names(instrument: Instrument) -> Part:
    first = instrument.strings[0]
    one = (
        f"Easiest: one long recording of everything, with a second of silence between the notes. "
        f"Name it whole{ENDING}."
    )
    if _shared(instrument):
        one += " Keep exactly to the order: some of the notes are alike, and only it tells them."
    return Part(
        "Sending it",
        (
            one,
            (
                f"Or each note in a file of its own, named as in the list with the number of the "
                f"try: s{first}_open_1{ENDING}, s{first}_open_2{ENDING}, s{first}_open_3{ENDING}."
            ),
            (
                f"If your phone makes files that do not end in {ENDING}, keep its ending, such as "
                ".m4a or .mp4. Do not convert or edit anything. Send all files together."
            ),
        ),
    )


def _shared(instrument: Instrument) -> bool:
    """Whether two of all open and 12th-fret notes are the same."""
    open_notes = [semitones_from_a4(note) for note in instrument.tuning]
    counts = Counter([*open_notes, *(note + 12 for note in open_notes)])
    return max(counts.values()) > 1
