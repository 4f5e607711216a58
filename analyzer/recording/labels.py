"""What the name of a recording says: which string, where it was stopped, which take.

``s<string>_<open|f12|h12|fN>_<take>``, read without regard to case, with ``-``, a space or ``_``
between; a note name may stand for the string where the tuning makes it unique; the take may be
left out. h12 is the natural harmonic over the 12th fret.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass

from analyzer.errors import RecordingError
from analyzer.instrument.model import Instrument
from analyzer.music import NOTE_PATTERN, semitones_from_a4

OPEN = "open"
TWELFTH_FRET = "f12"
HARMONIC = "h12"
ERROR_NOTES = {OPEN: "open", TWELFTH_FRET: "12th fret"}  # the two of a string's error, in words
HIGHEST_FRET = 36
_BETWEEN = r"[-_ ]+"
_NAME = re.compile(
    rf"(?:s(?P<string>\d{{1,3}})|(?P<note>{NOTE_PATTERN})){_BETWEEN}"
    rf"(?P<fret>open|h12|f\d{{1,3}})(?:{_BETWEEN}(?P<take>\d{{1,6}}))?",
    re.IGNORECASE | re.ASCII,  # nor digits and letters that only resemble or fold to these
)
# What file managers make of a name that is taken already, in front or behind.
_COPY = re.compile(
    r"(?:copy of )?(?P<name>.+?)(?: *\([0-9]+\)| +[0-9]+)?(?:[-_ ]+copy(?:[-_ ]*\(?[0-9]+\)?)?)?",
    re.IGNORECASE | re.ASCII,
)
# One take of many plucks: whole.wav, whole_2.wav, Whole take, bench.wav.
_WHOLE = re.compile(r"whole(?![a-z]).*", re.IGNORECASE | re.ASCII | re.DOTALL)
_FORM = (
    "Name it like s6_open_1.wav or s6_f12_1.wav: string, open or f12, take; one that holds many "
    "plucks like whole.wav"
)


@dataclass(frozen=True, order=True)
class Label:
    """``fret`` is ``open``, ``f12``, ``h12`` or another ``f`` and number; takes count from 1."""

    string: int
    fret: str
    take: int = 1

    @property
    def semitones(self) -> int:
        """How far the note lies above the open string."""
        return 0 if self.fret == OPEN else int(self.fret[1:])

    @property
    def place(self) -> str:
        """The fret in words, for a message."""
        if self.fret == OPEN:
            return "open"
        return "12th-fret harmonic" if self.fret == HARMONIC else f"fret {self.fret[1:]}"

    @property
    def named(self) -> str:
        """String and fret in words, for a message."""
        return f"string {self.string} {self.place}"

    @property
    def file_name(self) -> str:
        """What to call a recording of it."""
        return f"s{self.string}_{self.fret}_{self.take}.wav"


def next_take(string: int, fret: str, labels: Iterable[Label]) -> Label:
    """A take of a note that none of these, which may be of any notes, is yet."""
    same = [each.take for each in labels if (each.string, each.fret) == (string, fret)]
    return Label(string, fret, 1 + max(same, default=0))


def holds_many(file_name: str) -> bool:
    """Whether the name says that the file is one take of many plucks.

    >>> holds_many("Whole take 2.flac"), holds_many("wholesale.wav")
    (True, False)
    """
    return _WHOLE.fullmatch(file_name.rpartition(".")[0].strip()) is not None


def read_label(file_name: str, instrument: Instrument) -> Label:
    """The label in the name of a file.

    Raises RecordingError where the name has another form, or names a string or fret that the
    instrument has not.

    >>> from analyzer.instrument.model import assumed_instrument
    >>> label = read_label("S6-F12-2.wav", assumed_instrument())
    >>> label.string, label.fret, label.take, label.semitones
    (6, 'f12', 2, 12)
    >>> read_label("E2_open.wav", assumed_instrument()).named
    'string 6 open'
    """
    stem = file_name.rpartition(".")[0].strip()
    match = _NAME.fullmatch(stem)
    if match is None:
        raise _unreadable_name(file_name, stem)
    fret = match["fret"].lower()
    if fret.startswith("f"):
        fret = _fret(file_name, int(fret[1:]))
    string = _string(file_name, match, instrument)
    return Label(string, fret, int(match["take"] or 1))


def _unreadable_name(file_name: str, stem: str) -> RecordingError:
    suffix = file_name.rpartition(".")[2]
    copy = _COPY.fullmatch(stem)
    if copy is not None and _NAME.fullmatch(copy["name"]):
        # The same sound twice would pass for two takes and make the figure look surer than it is.
        return RecordingError(
            file_name,
            f"looks like a copy of {copy['name']}.{suffix}",
            "Delete it; if it is a take of its own, give it a name with the next free take number",
        )
    return RecordingError(file_name, "has a name that says neither string nor fret", _FORM)


def _fret(file_name: str, number: int) -> str:
    if number > HIGHEST_FRET:
        raise RecordingError(
            file_name, f"names fret {number}", f"Frets go to {HIGHEST_FRET}; mend the name"
        )
    return f"f{number}" if number else OPEN


def _string(file_name: str, match: re.Match[str], instrument: Instrument) -> int:
    count = len(instrument.tuning)
    if match["string"] is not None:
        string = int(match["string"])
        if not 1 <= string <= count:
            raise RecordingError(
                file_name,
                f"names string {string}",
                f"This instrument has strings {count} to 1, string 1 the thinnest; mend the name",
            )
        return string
    wanted = semitones_from_a4(match["note"])
    same = [s for s in instrument.strings if semitones_from_a4(instrument.note(s)) == wanted]
    if len(same) != 1:
        tuning = " ".join(instrument.tuning)
        found = "no string" if not same else f"{len(same)} strings"
        raise RecordingError(
            file_name,
            f"names {match['note']}, and {found} of the tuning {tuning} has that note",
            "Use the string's number instead, such as s6_open_1.wav",
        )
    return same[0]


def spellings(name: str) -> tuple[str, ...]:
    """A name, and the same in the other forms that Unicode gives its letters (NFC, NFD; UAX 15).

    Systems differ in which form they keep, so a table and its files may have come to differ.

    >>> [len(each) for each in spellings("é.wav")], spellings("e.wav")
    ([5, 6], ('e.wav',))
    """
    forms = (unicodedata.normalize(form, name) for form in ("NFC", "NFD"))
    return tuple(dict.fromkeys((name, *forms)))
