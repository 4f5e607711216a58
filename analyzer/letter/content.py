"""All that the letter says, from top to bottom, before it has a form."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from analyzer.letter.model import Letter, Point, Section
from analyzer.letter.words import (
    beginning,
    cause_in_plain_words,
    caution_in_plain_words,
    error_in_words,
)
from analyzer.letter.work import done, to_do
from analyzer.recording.labels import OPEN, TWELFTH_FRET
from analyzer.report.model import RecordingResult, Report, StringResult
from analyzer.report.plain_words import in_plain_words

_HOW = (
    "On each string we compared two notes: the open string, and the same string pressed down at "
    "the 12th fret, which should sound exactly an octave higher. Where it does not, the instrument "
    "sounds out of tune up the neck, however well its open strings are tuned."
)
_CENTS = (
    "How far it is off is given in cents: one hundred cents are the step from a fret to the next. "
    "Too high is called sharp, too low flat. “Give or take” says how sure a figure is: in 19 of "
    "20 cases the true one lies within it. String 1 is the thinnest."
)
_NOTES = {OPEN: "the open string", TWELFTH_FRET: "the 12th fret"}
_TWO_NOTES = "the two notes do not fit together. Both should be recorded again."
_MORE_NEEDED = "New recordings are needed before anything can be said of these:"
_ALLOWED_FOR = "They were used, and “give or take” is the larger for them:"
_HANDS_OFF = (
    "Please do not turn screws or move parts at the bridge while the strings are tight: a string "
    "that lets go can hurt your eyes and hands, and a part that is forced can break."
)
_LOOSE = (
    "If a part is loose, cracked or lifting, slacken the strings, leave the instrument as it is, "
    "and show it to a qualified repairer."
)
_HELD_BY_STRINGS = (
    "Only its strings hold the bridge of this instrument. Never slacken all of them at once: it "
    "would fall over."
)
_LOOSE_BUT_HELD = (
    "If a part is cracked or lifting, or the bridge has fallen or leans, leave the instrument as "
    "it is, and show it to a qualified repairer."
)
_WHO_DECIDES = (
    "These are measurements. A qualified repairer who has the instrument in hand decides what is "
    "done. Local rules for workshop safety come first."
)


def letter_of(report: Report, on: date) -> Letter:
    """The letter about a report that was made on a day."""
    sections = (
        Section("What was measured", (_HOW, _CENTS, _counted(report))),
        Section("What was found", (), tuple(_found(report, each) for each in report.measured)),
        done(report),
        to_do(report),
        _not_measured(report),
        Section("Recordings that could not be used", (), tuple(_left_out(report))),
        Section("What else we noticed", (), tuple(_noticed(report))),
        _doubtful(report),
        Section("Please note", (), tuple(map(Point, _to_note(report)))),
    )
    name = report.instrument if report.name_given else None
    return Letter(name, on, tuple(each for each in sections if each))


def _to_note(report: Report) -> tuple[str, ...]:
    if any(each.loose for each in report.adjusters):
        return _HANDS_OFF, _HELD_BY_STRINGS, _LOOSE_BUT_HELD, _WHO_DECIDES
    return _HANDS_OFF, _LOOSE, _WHO_DECIDES


def _counted(report: Report) -> str:
    used = len(report.recordings) - len(report.rejected)
    text = (
        f"{len(report.measured)} of {len(report.strings)} strings could be measured, from "
        f"{used} recording{'' if used == 1 else 's'}"
    )
    left_out = len(report.rejected)
    return f"{text}; {left_out} could not be used." if left_out else f"{text}."


def _found(report: Report, string: StringResult) -> Point:
    now = _as_found(string.error_cents or 0.0, string.error_uncertainty_cents or 0.0)
    text = f"String {string.string} ({string.note}): "
    for each in report.errors_before:
        if each.string == string.string:
            before = _as_found(each.error_cents, each.error_uncertainty_cents)
            return Point(f"{text}before, {before}; now, {now}.")
    return Point(f"{text}{now}.")


def _as_found(error_cents: float, half_width_cents: float) -> str:
    return error_in_words(error_cents, half_width_cents, "in tune as far as we can tell")


def _not_measured(report: Report) -> Section:
    strings: dict[str, list[int]] = {}
    for each in report.strings:
        if each.error_cents is None:
            strings.setdefault(_why(report, each), []).append(each.string)
    points = tuple(Point(f"{beginning(named)}: {why}") for why, named in strings.items())
    paragraphs = (_MORE_NEEDED,) if points else ()
    return Section("What could not be measured", paragraphs, points)


def _left_out(report: Report) -> Iterator[Point]:
    """Every recording that was of no use, and why."""
    for each in report.rejected:
        plain = in_plain_words(each.reason or "")
        fault = (each.reason or "could not be used").rstrip(".") if plain is None else plain.fault
        yield Point(f"{fault}.", (each.named,))


def _why(report: Report, string: StringResult) -> str:
    used = {x.fret for x in report.recordings if x.string == string.string and _is_used(x)}
    lacking = [words for fret, words in _NOTES.items() if fret not in used]
    if not lacking:
        return _TWO_NOTES
    return f"we have no usable recording of {' and of '.join(lacking)}."


def _is_used(recording: RecordingResult) -> bool:
    return recording.status != "rejected"


def _noticed(report: Report) -> Iterator[Point]:
    for each in report.findings:
        words = cause_in_plain_words(each.cause) or f"{each.cause}: {each.evidence}."
        yield Point(f"{beginning(each.strings)}: {words}")


def _doubtful(report: Report) -> Section:
    """What was not perfect about the recordings that were used, each fault once."""
    files: dict[str, list[str]] = {}
    for recording in report.recordings:
        for caution in recording.cautions:
            fault = caution_in_plain_words(caution) or caution.rstrip(".")
            files.setdefault(fault, []).append(recording.named)
    points = tuple(Point(f"{fault}.", tuple(named)) for fault, named in files.items())
    heading = "Recordings that were not perfect"
    return Section(heading, (_ALLOWED_FOR,), points) if points else Section(heading)
