"""What to ask for again: the notes that are missing or unusable, each with its reason."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from analyzer.errors import UnusableInputError
from analyzer.findings.condition import TWO_STRINGS
from analyzer.findings.setup import MORE_THAN_A_SADDLE
from analyzer.recording.labels import OPEN, TWELFTH_FRET, Label, next_take
from analyzer.report.model import RecordingResult, Report, StringResult
from analyzer.report.plain_words import NO_ROOM, READER_MISSING, Plain, in_plain_words

NEEDED = (OPEN, TWELFTH_FRET)
_NOT_THE_OCTAVE = (
    "its two notes do not fit together. Check that it was the 12th fret, and do not retune the "
    "string between its two notes."
)
# By the cause: findings that only new recordings clear, though each recording is good.
_DOUBTS = {
    TWO_STRINGS: "its two notes do not seem to be of one string. Check "
    "which string each of them is, and record both in a row.",
    MORE_THAN_A_SADDLE: "its two notes are further apart than an instrument "
    "can be out of tune. Check that it was this string and its 12th fret.",
}
# By a phrase of the reason: why a file that may be good was not read, and what to do here.
_ON_THIS_SIDE = (
    (
        READER_MISSING,
        "its reader is not installed here",
        "Install it with: pip install 'pluckcheck[phone]'",
    ),
    (NO_ROOM, "there is no room to decode it", "Free some space where temporary files go"),
)


@dataclass(frozen=True)
class Fault:
    """What was wrong with one recording, in plain words; ``named`` is the file, as it came."""

    named: str
    fault: str
    remedy: str


@dataclass(frozen=True)
class Asked:
    """A note to record again, and the name for it. No ``faults``: there is no recording of it."""

    string: int
    note: str
    fret: str
    file: str
    faults: tuple[Fault, ...]
    found: str | None = None  # what is wrong though each recording is good


@dataclass(frozen=True)
class Request:
    """``unknown``: it could not be told which note they are. ``spare``: others of that note do.

    ``instrument`` is None where nobody has given it a name.
    """

    instrument: str | None
    strings: int
    judged: int
    asked: tuple[Asked, ...]
    unknown: tuple[Fault, ...]
    spare: tuple[Fault, ...]


def request_of(report: Report) -> Request:
    """What a report still needs for a figure of every string, and what else was of no use.

    Raises UnusableInputError where a recording may be good, but cannot be read here.
    """
    for fault, why, remedy in _ON_THIS_SIDE:
        unread = [each.file for each in report.rejected if fault in (each.reason or "")]
        if unread:
            found = f"asks for nothing yet: {unread[0]} may be good, but {why}"
            raise UnusableInputError("--request", found, f"{remedy}; then analyze again")
    asked = tuple(each for string in report.strings for each in _asked(report, string))
    needed = {(each.string, each.fret) for each in asked}
    rest = [each for each in report.rejected if (each.string, each.fret) not in needed]
    return Request(
        report.instrument if report.name_given else None,
        len(report.strings),
        len(report.measured),
        asked,
        tuple(_fault(each) for each in rest if _is_unknown(each, asking=bool(asked))),
        tuple(_fault(each) for each in rest if each.string is not None),
    )


def _is_unknown(recording: RecordingResult, *, asking: bool) -> bool:
    """A stray pluck of a long take matters only where a note is lacking: it may be that note."""
    return recording.string is None and (asking or recording.start_s is None)


def _asked(report: Report, string: StringResult) -> Iterator[Asked]:
    doubt = _doubt(report, string)
    if string.error_cents is not None and doubt is None:
        return
    own = [each for each in report.recordings if each.string == string.string]
    labels = [Label(string.string, each.fret, each.take or 0) for each in own if each.fret]
    used = {each.fret for each in own if each.status != "rejected"}
    lacking = [fret for fret in NEEDED if fret not in used]
    found = None if lacking else doubt or _NOT_THE_OCTAVE
    for fret in lacking or NEEDED:
        rejected = [each for each in own if each.fret == fret and each.status == "rejected"]
        faults = tuple(map(_fault, rejected))
        name = next_take(string.string, fret, labels).file_name
        yield Asked(string.string, string.note, fret, name, faults, found)


def _doubt(report: Report, string: StringResult) -> str | None:
    """Why a string that has a result should be recorded again all the same, in plain words."""
    causes = [each.cause for each in report.findings if string.string in each.strings]
    return next((_DOUBTS[cause] for cause in causes if cause in _DOUBTS), None)


def _fault(recording: RecordingResult) -> Fault:
    reason = recording.reason or ""
    plain = in_plain_words(reason) or Plain(reason.rstrip("."), "")
    return Fault(recording.named, plain.fault, plain.remedy)
