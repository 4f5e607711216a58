"""A recording, from its path to settled pitches, or to the reason why there is none."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import TypeVar

from threadpoolctl import ThreadpoolController

from analyzer.errors import RecordingError
from analyzer.gate import check_label, unknown_note
from analyzer.instrument.model import Instrument
from analyzer.music import ISO16_A4_HZ
from analyzer.pitch.settle import SettledPitch, settle
from analyzer.plucks import Pluck, find_pluck
from analyzer.quality.model import Caution, Traits, widened_cents
from analyzer.quality.sound import judge_pluck
from analyzer.recording.labels import Label, holds_many, read_label
from analyzer.recording.reading import Recording, open_recording
from analyzer.recording.table import Listed
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
    remarks: tuple[str, ...] = ()
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

    def cautioned(self, caution: Caution) -> Measured:
        """The same with one caution more, and its interval wider by that."""
        if self.pitch is None:
            return self
        wider = widened_cents(self.pitch.settled_uncertainty_cents, [caution])
        pitch = replace(self.pitch, settled_uncertainty_cents=wider)
        return replace(self, pitch=pitch, cautions=(*self.cautions, caution))


def measure_file(
    path: Path,
    listed: Sequence[Listed],
    instrument: Instrument,
    a4_hz: float = ISO16_A4_HZ,
) -> list[Measured]:
    """Measure all that a file holds: what the table lists of it, or else what its name says."""
    if not listed and not holds_many(path.name):
        return [measure_recording(path, instrument, a4_hz)]
    found: list[Measured] = []
    for row in listed or [Listed(path.name, path.name)]:
        if row.label is None:
            found += measure_whole(path, instrument, a4_hz, row.start_s, row.end_s)
        else:
            found.append(_measured_row(path, row, row.label, instrument, a4_hz))
    return found


def measure_recording(path: Path, instrument: Instrument, a4_hz: float = ISO16_A4_HZ) -> Measured:
    """Measure one recording; what cannot be used comes back with its reason and never raises."""
    label: Label | None = None

    def measure() -> Measured:
        nonlocal label
        label = read_label(path.name, instrument)
        recording = open_recording(path)
        return _measured(recording, find_pluck(recording), label, instrument, a4_hz)

    found = _guarded(measure)
    return Measured(path.name, label, None, found) if isinstance(found, str) else found


def measure_whole(
    path: Path,
    instrument: Instrument,
    a4_hz: float = ISO16_A4_HZ,
    start_s: float = 0.0,
    end_s: float = float("inf"),
) -> list[Measured]:
    """Find, measure and name every pluck of a take of the whole instrument; never raises."""

    def measure() -> list[Measured]:
        recording = open_recording(path)
        found = find_plucks(recording, start_s, end_s)
        if not found.plucks:
            raise RecordingError(
                path.name,
                "holds no plucked note that lasts half a second",
                "Record each string open and at the 12th fret, and let each note ring",
            )
        with _threads().limit(limits=1):
            pitches = [_settled(recording, pluck) for pluck in found.plucks]
        heard = [each.settled_hz for each in pitches if isinstance(each, SettledPitch)]
        names = iter(name_plucks(heard, instrument, a4_hz))
        measured = [
            _named(recording, pluck, pitch, names, instrument, a4_hz)
            for pluck, pitch in zip(found.plucks, pitches, strict=True)
        ]
        remarks = tuple(_whole_remarks(recording, found.other_sounds, measured))
        return [replace(measured[0], remarks=remarks), *measured[1:]]

    found = _guarded(measure)
    return [Measured(path.name, None, None, found)] if isinstance(found, str) else found


def _guarded(measure: Callable[[], _Found]) -> _Found | str:
    """What comes of a measurement, or the reason why nothing did."""
    try:
        return measure()
    except RecordingError as error:
        return error.reason
    except Exception as error:  # noqa: BLE001 - one file must never be the end of a batch
        return f"could not be measured ({error}). Record it again, or send it with a bug report."


def _measured_row(
    path: Path, row: Listed, label: Label, instrument: Instrument, a4_hz: float
) -> Measured:
    """A row of the table that names its string and fret."""
    part_s = None

    def measure() -> Measured:
        nonlocal part_s
        recording = open_recording(path)
        length_s = recording.levels.shape[0] * recording.step_s
        part_s = (row.start_s, min(row.end_s, length_s))
        pluck = find_pluck(recording, row.start_s, row.end_s)
        return _measured(recording, pluck, label, instrument, a4_hz)

    found = _guarded(measure)
    if isinstance(found, str):
        return Measured(path.name, label, None, found, part_s=part_s)
    return replace(found, part_s=part_s)


def _settled(recording: Recording, pluck: Pluck) -> SettledPitch | RecordingError:
    try:
        return settle(recording, pluck)
    except RecordingError as error:
        return error


def _named(
    recording: Recording,
    pluck: Pluck,
    pitch: SettledPitch | RecordingError,
    names: Iterator[Named],
    instrument: Instrument,
    a4_hz: float,
) -> Measured:
    """One pluck of a whole take; ``names`` gives that of the next with a pitch."""
    file, part_s = recording.path.name, (pluck.onset_s, pluck.end_s)
    if isinstance(pitch, RecordingError):
        return Measured(file, None, None, pitch.reason, part_s=part_s)
    name = next(names)
    if name.label is None:
        reason = unknown_note(file, instrument, pitch.settled_hz, a4_hz).reason
        return Measured(file, None, None, reason, part_s=part_s)
    try:
        found = _judged(recording, pluck, pitch, name.label, instrument, a4_hz)
    except RecordingError as error:
        return Measured(file, name.label, None, error.reason, part_s=part_s)
    return replace(found, part_s=part_s, remarks=() if name.doubt is None else (name.doubt,))


def _measured(
    recording: Recording, pluck: Pluck, label: Label, instrument: Instrument, a4_hz: float
) -> Measured:
    # The matrices are small: several threads at them would mostly wait for each other.
    with _threads().limit(limits=1):
        pitch = settle(recording, pluck)
        found = _judged(recording, pluck, pitch, label, instrument, a4_hz)
    return replace(found, remarks=tuple(_remarks(recording, pluck)))


def _judged(
    recording: Recording,
    pluck: Pluck,
    pitch: SettledPitch,
    label: Label,
    instrument: Instrument,
    a4_hz: float,
) -> Measured:
    """The pluck with its cautions; raises RecordingError where it cannot be used."""
    name = recording.path.name
    check_label(name, label, instrument, pitch.settled_hz, a4_hz)
    cautions, traits = judge_pluck(recording, pluck, pitch, a4_hz)
    found = Measured(name, label, pitch, None, traits=traits)
    for caution in cautions:
        found = found.cautioned(caution)
    return found


@cache
def _threads() -> ThreadpoolController:
    """Finding the libraries that have threads takes milliseconds, so it is done once."""
    return ThreadpoolController()


def _remarks(recording: Recording, pluck: Pluck) -> Iterator[str]:
    name = recording.path.name
    if recording.cut_short:
        yield f"{name} ends before its header says; copy it again if the note is cut off."
    if pluck.others:
        yield f"{name} holds {pluck.others + 1} plucks; the strongest was used."


def _whole_remarks(
    recording: Recording, other_sounds: int, measured: Sequence[Measured]
) -> Iterator[str]:
    name = recording.path.name
    if recording.cut_short:
        yield f"{name} ends before its header says; copy it again if the end is missing."
    known = sum(each.label is not None for each in measured)
    yield f"{name}: {known} plucks were found and named by their pitch."
    if other_sounds:
        yield (
            f"{name}: {other_sounds} other sounds (speech, knocks, notes under half a second) were "
            "passed over."
        )
    for doubt in dict.fromkeys(remark for each in measured for remark in each.remarks):
        yield f"{name}: {doubt}."
