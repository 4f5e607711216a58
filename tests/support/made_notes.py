"""Notes made by hand or from the published string model, as if they had been measured."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from compensation_tables import NUT_HEIGHT_MM, RISE_MM, SCALE_LENGTH_MM, TABLES

from analyzer.instrument.model import Instrument
from analyzer.measure import Measured
from analyzer.music import note_hz
from analyzer.pitch.settle import SettledPitch
from analyzer.recording.labels import Label
from analyzer.report.build import build_report
from analyzer.report.model import Report
from analyzer.string_model.fretting import FrettedString, Setbacks, fret_error_cents

SIX = Instrument(
    "made", ("E2", "A2", "D3", "G3", "B3", "E4"), scale_lengths_mm=(SCALE_LENGTH_MM,) * 6
)
OPEN_B = 5e-5
# A clean pluck: nothing in it is a reason to look further.
CLEAN = SettledPitch(
    settled_hz=110.0,
    settled_uncertainty_cents=0.02,
    first_partial_hz=110.0,
    misfit_cents=0.3,
    sustain_drift_cents=-1.5,
    glide_cents=3.0,
    glide_time_s=0.3,
    late_slope_cents_per_s=-0.05,
    stiffness=OPEN_B,
    stiffness_uncertainty=0.02 * OPEN_B,
    partials=18,
    beat_hz=math.nan,
    clipped=False,
)


def note(label: str, cents: float = 0.0, take: int = 1, **changes: float) -> Measured:
    """A pluck so many cents above what its label such as ``6 f12`` promises.

    B goes with the square of the string's length, as the law has it.
    """
    string, fret = int(label.split(maxsplit=1)[0]), label.split()[1]
    place = Label(string, fret, take)
    hz = note_hz(SIX.note(string)) * 2 ** ((100 * place.semitones + cents) / 1200)
    grown = 2 ** (place.semitones / 6)
    clean = replace(
        CLEAN,
        settled_hz=hz,
        first_partial_hz=hz,
        stiffness=OPEN_B * grown,
        stiffness_uncertainty=0.02 * OPEN_B * grown,
    )
    pitch = replace(clean, **changes)
    return Measured(f"s{string}_{fret}_{take}.wav", place, pitch, None)


def report_of(*notes: Measured, instrument: Instrument = SIX) -> Report:
    return build_report(instrument, 440.0, notes, [])


def published_string(
    string: int, set_name: str = "normal nylon", **heights: float
) -> FrettedString:
    row = TABLES[set_name][string - 1]
    made = FrettedString(SCALE_LENGTH_MM, row.kappa, row.stiffness, NUT_HEIGHT_MM, RISE_MM)
    return replace(made, **heights)


def model_errors(
    string: FrettedString, setbacks: Setbacks, frets: tuple[int, ...]
) -> Mapping[int, float]:
    """Cents at each fret by [AB24]'s formulas (``test_anderson_beausoleil_2024``)."""
    return {fret: float(fret_error_cents(string, fret, setbacks)) for fret in frets}


def fretted_notes(
    number: int, string: FrettedString, setbacks: Setbacks, frets: tuple[int, ...]
) -> list[Measured]:
    """The open note and these frets of a string with its ends so placed."""
    errors = model_errors(string, setbacks, frets)
    return [note(f"{number} open"), *(note(f"{number} f{n}", e) for n, e in errors.items())]


def octave_of_partials(stiffness: float) -> float:
    """1200 log2 of f2 / (2 f1) with f_k = k f0 sqrt(1 + B k^2) (Fletcher 1964), cents."""
    return 1200 * math.log2(math.sqrt(1 + 4 * stiffness) / math.sqrt(1 + stiffness))
