"""A recording, from its path to settled pitches, or to the reason why there is none."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import TypeVar

from threadpoolctl import ThreadpoolController

from analyzer.errors import RecordingError
from analyzer.gate import check_label, unknown_note
from analyzer.instrument.model import Instrument
from analyzer.music import ISO16_A4_HZ
from analyzer.pitch.note import Note, cut_note
from analyzer.pitch.settle import SettledPitch, settle
from analyzer.plucks import Pluck, find_pluck
from analyzer.quality.model import Caution, Traits, unclear_name, widened_cents
from analyzer.quality.sound import judge_pluck
from analyzer.recording.labels import Label, holds_many, read_label
from analyzer.recording.limits import TRUSTED, ReadingRules
from analyzer.recording.reading import Recording, open_recording
from analyzer.recording.table import Listed
from analyzer.whole_take.heard import Heard, hear
from analyzer.whole_take.naming import Named, name_plucks
from analyzer.whole_take.segments import find_plucks

_Found = TypeVar("_Found")


@dataclass(frozen=True)
class Measured:
    """One pluck and what came of it: a pitch, or the reason why not.

    ``part_s``: where it lies in a file that holds several, seconds; else None. ``pitch`` has its
    interval widened by the ``cautions``; ``traits`` is what it is compared with others by.
    """

    file: str
    label: Label | None
    pitch: SettledPitch | None
    reason: str | None
    warnings: tuple[str, ...] = ()
    cautions: tuple[Caution, ...] = ()
    part_s: tuple[float, float] | None = None
    traits: Traits | None = None

    @property
    def named(self) -> str:
        """The file, and the place in it where there are several."""
        return self.file if self.part_s is None else f"{self.file} at {self.part_s[0]:.1f} s"

    def rejected(self, error: RecordingError) -> Measured:
        """The same, left out after all."""
        return replace(self, pitch=None, reason=error.reason, cautions=())

    def with_cautions(self, cautions: Sequence[Caution]) -> Measured:
        """The same with further cautions, and its interval wider by them."""
        if self.pitch is None or not cautions:
            return self
        wider = widened_cents(self.pitch.settled_uncertainty_cents, cautions)
        pitch = replace(self.pitch, settled_uncertainty_cents=wider)
        return replace(self, pitch=pitch, cautions=(*self.cautions, *cautions))


def measure_file(
    path: Path,
    listed: Sequence[Listed],
    instrument: Instrument,
    a4_hz: float = ISO16_A4_HZ,
    rules: ReadingRules = TRUSTED,
) -> list[Measured]:
    """Measure all that a file holds: what the table lists of it, or else what its name says."""
    if not listed and not holds_many(path.name):
        return [measure_recording(path, instrument, a4_hz, rules)]
    found: list[Measured] = []
    for row in listed or [Listed(path.name, path.name)]:
        if row.label is None:
            found += measure_whole(path, instrument, a4_hz, row.start_s, row.end_s, rules)
        else:
            found.append(_measured_row(path, row, row.label, instrument, a4_hz, rules))
    return found


def measure_recording(
    path: Path,
    instrument: Instrument,
    a4_hz: float = ISO16_A4_HZ,
    rules: ReadingRules = TRUSTED,
) -> Measured:
    """Measure one recording; what cannot be used comes back with its reason and never raises."""
    label: Label | None = None

    def measure() -> Measured:
        nonlocal label
        label = read_label(path.name, instrument)
        recording = open_recording(path, rules)
        with _cut_short_told(recording):
            return _measured(recording, find_pluck(recording), label, instrument, a4_hz)

    found = _guarded(measure)
    return Measured(path.name, label, None, found) if isinstance(found, str) else found


def measure_whole(
    path: Path,
    instrument: Instrument,
    a4_hz: float = ISO16_A4_HZ,
    start_s: float = 0.0,
    end_s: float = float("inf"),
    rules: ReadingRules = TRUSTED,
) -> list[Measured]:
    """Find, measure and name every pluck of a take of the whole instrument; never raises."""

    def measure() -> list[Measured]:
        recording = open_recording(path, rules)
        with _cut_short_told(recording), one_thread():
            found = find_plucks(recording, start_s, end_s)
            notes = hear(recording, found.plucks, a4_hz)
            if not notes:
                raise _no_plucks(path.name)
        names = name_plucks([each.pitch.settled_hz for each in notes], instrument, a4_hz)
        measured = [
            _named(path.name, each, name, instrument, a4_hz)
            for each, name in zip(notes, names, strict=True)
        ]
        others = found.other_sounds + len(found.plucks) - len(notes)
        warnings = tuple(_whole_warnings(recording, others, names))
        return [replace(measured[0], warnings=warnings), *measured[1:]]

    found = _guarded(measure)
    return [Measured(path.name, None, None, found)] if isinstance(found, str) else found


@contextmanager
def _cut_short_told(recording: Recording) -> Iterator[None]:
    """A recording that cannot be used and is not all there may lack just what was cut off."""
    try:
        yield
    except RecordingError as error:
        if not recording.cut_short:
            raise
        remedy = f"{error.remedy}. It ends before its header says: copy it again first"
        raise RecordingError(error.where, error.found, remedy) from error


def _guarded(measure: Callable[[], _Found]) -> _Found | str:
    """What comes of a measurement, or the reason why nothing did."""
    try:
        return measure()
    except RecordingError as error:
        return error.reason
    except Exception as error:  # noqa: BLE001 - one file must never be the end of a batch
        return unforeseen(error)


def unforeseen(error: Exception) -> str:
    """The reason where the program itself is at fault."""
    return f"could not be measured ({error}). Record it again, or send it with a bug report."


def _measured_row(
    path: Path, row: Listed, label: Label, instrument: Instrument, a4_hz: float, rules: ReadingRules
) -> Measured:
    """A row of the table that names its string and fret."""
    part_s = None

    def measure() -> Measured:
        nonlocal part_s
        recording = open_recording(path, rules)
        length_s = recording.levels.shape[0] * recording.step_s
        part_s = (row.start_s, min(row.end_s, length_s))
        with _cut_short_told(recording):
            pluck = find_pluck(recording, row.start_s, row.end_s)
            return _measured(recording, pluck, label, instrument, a4_hz)

    found = _guarded(measure)
    if isinstance(found, str):
        return Measured(path.name, label, None, found, part_s=part_s)
    return replace(found, part_s=part_s)


def _named(file: str, heard: Heard, name: Named, instrument: Instrument, a4_hz: float) -> Measured:
    part_s = (heard.pluck.onset_s, heard.pluck.end_s)
    hz = heard.pitch.settled_hz
    if name.label is None:
        reason = unknown_note(file, instrument, hz, a4_hz).reason
        return Measured(file, None, None, reason, part_s=part_s)
    if heard.reason is not None:
        return Measured(file, name.label, None, heard.reason, part_s=part_s)
    try:
        check_label(file, name.label, instrument, hz, a4_hz)
    except RecordingError as error:
        return Measured(file, name.label, None, error.reason, part_s=part_s)
    found = Measured(file, name.label, heard.pitch, None, part_s=part_s, traits=heard.traits)
    unclear = () if name.clear else (unclear_name(name.label.named, name.shared or ""),)
    return found.with_cautions((*heard.cautions, *unclear))


def _no_plucks(name: str) -> RecordingError:
    return RecordingError(
        name,
        "holds no plucked note that lasts half a second",
        "Record each string open and at the 12th fret, and let each note ring",
    )


def _measured(
    recording: Recording, pluck: Pluck, label: Label, instrument: Instrument, a4_hz: float
) -> Measured:
    # The matrices are small: several threads at them would mostly wait for each other.
    with one_thread():
        note = cut_note(recording, pluck)
        found = _judged(note, settle(note), label, instrument, a4_hz)
    return replace(found, warnings=tuple(warnings_on(recording, pluck)))


def _judged(
    note: Note, pitch: SettledPitch, label: Label, instrument: Instrument, a4_hz: float
) -> Measured:
    """The pluck with its cautions; raises RecordingError where it cannot be used."""
    name = note.recording.path.name
    check_label(name, label, instrument, pitch.settled_hz, a4_hz)
    cautions, traits = judge_pluck(note, pitch, a4_hz)
    return Measured(name, label, pitch, None, traits=traits).with_cautions(cautions)


@contextmanager
def one_thread() -> Iterator[None]:
    """The matrices are small: several threads at them would mostly wait for each other."""
    with _threads().limit(limits=1):
        yield


@cache
def _threads() -> ThreadpoolController:
    """Finding the libraries that have threads takes milliseconds, so it is done once."""
    return ThreadpoolController()


def warnings_on(recording: Recording, pluck: Pluck) -> Iterator[str]:
    """What is to be said of a file of one pluck beside its figures."""
    name = recording.path.name
    if recording.cut_short:
        yield f"{name} ends before its header says; copy it again if the note is cut off."
    if pluck.others:
        yield f"{name} holds {pluck.others + 1} plucks; the strongest was used."


def _whole_warnings(
    recording: Recording, other_sounds: int, names: Sequence[Named]
) -> Iterator[str]:
    name = recording.path.name
    if recording.cut_short:
        yield f"{name} ends before its header says; copy it again if the end is missing."
    known = sum(each.label is not None for each in names)
    yield f"{name}: {known} plucks were found and named by their pitch."
    if other_sounds:
        counted = "1 other sound" if other_sounds == 1 else f"{other_sounds} other sounds"
        yield f"{name}: passed over {counted} (speech, knocks, notes under half a second)."
    for shared in dict.fromkeys(each.shared for each in names if each.shared is not None):
        yield f"{name}: {shared}; they were told apart by the order of the plucks."
