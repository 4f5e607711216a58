"""Reports of invented instruments from notes made by hand, to draw and to write of."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from made_notes import CLEAN

from analyzer.instrument.file import read_instrument
from analyzer.instrument.model import Instrument
from analyzer.measure import Measured
from analyzer.music import note_hz
from analyzer.pitch.settle import Course
from analyzer.recording.labels import Label
from analyzer.report.adjustment import Done
from analyzer.report.build import build_report
from analyzer.report.model import Report

SIX_TUNING = ("E2", "A2", "D3", "G3", "B3", "E4")
TWELVE_TUNING = tuple("E3 E2 A3 A2 D4 D3 G4 G3 B3 B3 E4 E4".split())
COURSE = Course((0.06, 0.1, 0.3, 1.0, 2.5), (3.0, 2.2, 0.9, 0.1, 0.0))
SCREW = 'thread = "M3"\nscrew_head = "tail"\nsmallest_turn = 0.25\ntravel_mm = [8.0, 8.0]\n'


def instrument_of(
    folder: Path,
    bridge: str,
    tuning: tuple[str, ...] = SIX_TUNING,
    name: str = "Knot",
    screw: str = SCREW,
) -> Instrument:
    """An instrument with these lines under ``[bridge]``, and a screw."""
    path = folder / "instrument.toml"
    notes = ", ".join(f'"{each}"' for each in tuning)
    path.write_text(
        f'[instrument]\nname = "{name}"\nscale_length_mm = 647.7\ntuning = [{notes}]\n'
        f"[bridge]\n{bridge}\n{screw}",
        encoding="utf-8",
    )
    return read_instrument(path)


def own_saddles(tuning: tuple[str, ...] = SIX_TUNING) -> str:
    return f"saddles = [{', '.join(f'[{n}]' for n in range(len(tuning), 0, -1))}]"


def notes_of(instrument: Instrument, errors_cents: Mapping[int, float], takes: int = 2):
    """Open and 12th-fret plucks with these errors; their file names are as usual."""
    found = []
    for string, error in errors_cents.items():
        for fret, cents in (("open", 0.0), ("f12", 1200.0 + error)):
            hz = note_hz(instrument.note(string)) * 2 ** (cents / 1200)
            for take in range(1, takes + 1):
                pitch = replace(CLEAN, settled_hz=hz, first_partial_hz=hz, course=COURSE)
                name = f"s{string}_{fret}_{take}.wav"
                found.append(Measured(name, Label(string, fret, take), pitch, None))
    return found


def report_with(
    instrument: Instrument,
    errors_cents: Mapping[int, float],
    *others: Measured,
    done: Done | None = None,
    warnings: tuple[str, ...] = (),
) -> Report:
    """The report of such notes, ``others`` among them."""
    measured = [*notes_of(instrument, errors_cents), *others]
    return build_report(instrument, 440.0, measured, warnings, done)
