"""One recording, from its path to a settled pitch or the reason why there is none."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from threadpoolctl import ThreadpoolController

from analyzer.errors import RecordingError
from analyzer.gate import check_label
from analyzer.instrument.model import Instrument
from analyzer.music import ISO16_A4_HZ
from analyzer.pitch.settle import SettledPitch, settle
from analyzer.plucks import Pluck, find_pluck
from analyzer.recording.labels import Label, read_label
from analyzer.recording.reading import Recording, open_recording


@dataclass(frozen=True)
class Measured:
    """One recording and what came of it: a pitch, or the reason why not."""

    file: str
    label: Label | None
    pitch: SettledPitch | None
    reason: str | None
    remarks: tuple[str, ...] = ()


def measure_recording(path: Path, instrument: Instrument, a4_hz: float = ISO16_A4_HZ) -> Measured:
    """Measure one recording; what cannot be used comes back with its reason and never raises."""
    label = None
    try:
        label = read_label(path.name, instrument)
        recording = open_recording(path)
        pluck = find_pluck(recording)
        # The matrices are small: several threads at them would mostly wait for each other.
        with _threads().limit(limits=1):
            pitch = settle(recording, pluck)
        check_label(path.name, label, instrument, pitch.settled_hz, a4_hz)
    except RecordingError as error:
        return Measured(path.name, label, None, error.reason)
    except Exception as error:  # noqa: BLE001 - one file must never be the end of a batch
        reason = f"could not be measured ({error}). Record it again, or send it with a bug report."
        return Measured(path.name, label, None, reason)
    return Measured(path.name, label, pitch, None, tuple(_remarks(recording, pluck, pitch)))


@cache
def _threads() -> ThreadpoolController:
    """Finding the libraries that have threads takes milliseconds, so it is done once."""
    return ThreadpoolController()


def _remarks(recording: Recording, pluck: Pluck, pitch: SettledPitch) -> Iterator[str]:
    name = recording.path.name
    if recording.cut_short:
        yield f"{name} ends before its header says; copy it again if the note is cut off."
    if pluck.others:
        yield f"{name} holds {pluck.others + 1} plucks; the strongest was used."
    if pitch.clipped:
        yield f"{name} was too loud for its recorder (clipped); record it again more quietly."
