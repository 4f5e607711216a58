"""One pluck, as deep as it can be looked into."""

from __future__ import annotations

from dataclasses import replace

from analyzer.errors import RecordingError
from analyzer.gate import check_label
from analyzer.inspection.checks import checks_of
from analyzer.inspection.model import Inspection, Line, Place
from analyzer.inspection.wave import wave_of
from analyzer.instrument.model import Instrument
from analyzer.measure import Measured, unforeseen
from analyzer.music import cents_between, nearest_note, ratio_of_cents
from analyzer.pitch.followed import Followed
from analyzer.pitch.guide import guide_note
from analyzer.pitch.note import Note, cut_note
from analyzer.pitch.partial_tracks import tracks_of
from analyzer.pitch.partials import find_partials
from analyzer.pitch.settle import EARLY_S, SettledPitch, figures_of, follow
from analyzer.pitch.track import settled_from_s
from analyzer.plucks import Pluck
from analyzer.quality.model import Caution, status_of, widened_cents
from analyzer.quality.sound import judge_pluck
from analyzer.recording.labels import Label
from analyzer.recording.reading import Recording


def promising(base: Inspection, label: Label | None, instrument: Instrument) -> Inspection:
    """With what the label says, and the note that it promises."""
    if label is None:
        return base
    open_hz = instrument.open_hz(label.string, base.a4_hz)
    return replace(base, label=label, promised_hz=open_hz * ratio_of_cents(100 * label.semitones))


def rejected(base: Inspection, reason: str) -> Inspection:
    """The same, with the reason why it cannot be used."""
    return replace(base, status="rejected", reason=reason)


def looked_at(
    base: Inspection,
    recording: Recording,
    pluck: Pluck,
    instrument: Instrument,
    verdict: Measured | None = None,
) -> Inspection:
    """With all that is found in a pluck; ``verdict`` where that has been found already."""
    try:
        note = cut_note(recording, pluck)
        start_s = pluck.onset_s - note.spectrum.onset_s
        wave = wave_of(note.samples, recording.rate_hz, start_s)
        base = replace(base, wave=wave, place=_place(pluck))
        return _measured(base, note, instrument, verdict)
    except RecordingError as error:
        return rejected(base, error.reason)
    except Exception as error:  # noqa: BLE001 - as in ``measure``: a line and no traceback
        return rejected(base, unforeseen(error))


def _measured(
    base: Inspection, note: Note, instrument: Instrument, verdict: Measured | None
) -> Inspection:
    try:
        followed = follow(note)
    except RecordingError as error:
        return replace(rejected(base, error.reason), lines=_lines(note))
    pitch = figures_of(followed)
    found, note_cents = nearest_note(pitch.settled_hz, base.a4_hz)
    promised_hz = base.promised_hz
    base = replace(
        base,
        place=_place(note.pluck, followed, pitch),
        pitch=pitch,
        own_uncertainty_cents=pitch.settled_uncertainty_cents,
        note=found,
        note_cents=note_cents,
        promised_cents=_above_cents(promised_hz, pitch.settled_hz),
        tracks=tracks_of(followed),
        checks=checks_of(note, pitch),
    )
    if verdict is None:
        return _judged(base, note, pitch, instrument)
    return _cautioned(base, pitch, verdict.cautions, verdict.reason)


def _above_cents(promised_hz: float | None, hz: float) -> float | None:
    return None if promised_hz is None else cents_between(promised_hz, hz)


def _judged(
    base: Inspection, note: Note, pitch: SettledPitch, instrument: Instrument
) -> Inspection:
    """The verdict, as ``measure`` has it: the label first, then the sound."""
    reason: str | None = None
    cautions: tuple[Caution, ...] = ()
    try:
        cautions, _ = judge_pluck(note, pitch, base.a4_hz)
    except RecordingError as error:
        reason = error.reason
    if base.label is not None:
        try:
            check_label(base.sound.file, base.label, instrument, pitch.settled_hz, base.a4_hz)
        except RecordingError as error:
            reason = error.reason
    return _cautioned(base, pitch, cautions, reason)


def _cautioned(
    base: Inspection, pitch: SettledPitch, cautions: tuple[Caution, ...], reason: str | None
) -> Inspection:
    wider = widened_cents(pitch.settled_uncertainty_cents, cautions)
    return replace(
        base,
        pitch=replace(pitch, settled_uncertainty_cents=wider),
        cautions=cautions,
        status=status_of(reason, cautions),
        reason=reason,
    )


def _place(
    pluck: Pluck, followed: Followed | None = None, pitch: SettledPitch | None = None
) -> Place:
    """In seconds of the file."""
    onset_s = pluck.onset_s
    early_s = (onset_s + EARLY_S[0], min(onset_s + EARLY_S[1], pluck.end_s))
    if followed is None or pitch is None:
        return Place(onset_s, pluck.end_s, early_s, None, None, pluck.others)
    times_s = followed.phases.times_s / followed.pace
    last_s = min(onset_s + float(times_s[-1]), pluck.end_s)
    first_s = onset_s + float(times_s[0])
    course = pitch.course
    from_s = (
        None
        if course is None
        else settled_from_s(course.times_s, course.cents, pitch.settled_uncertainty_cents)
    )
    settled_s = None if from_s is None else (onset_s + from_s, last_s)
    return Place(onset_s, pluck.end_s, early_s, (first_s, last_s), settled_s, pluck.others)


def _lines(note: Note) -> tuple[Line, ...]:
    """What might be partials where no note could be measured."""
    guide = guide_note(note.spectrum, note.lines)
    peaks = find_partials(note.lines, guide.pitch_hz, note.spectrum.rate_hz)
    found = zip(peaks.numbers, peaks.rough_hz, peaks.clear_db, strict=True)
    return tuple(Line(int(number), float(hz), float(db)) for number, hz, db in found)
