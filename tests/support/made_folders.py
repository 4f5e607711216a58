"""Folders of recordings of invented instruments: good ones, and ones whose names are wrong."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import soundfile
from pluck_model import PluckModel, recording

from analyzer.analysis import analyze_folder
from analyzer.instrument.model import Instrument
from analyzer.music import note_hz
from analyzer.report.model import Report

RATE_HZ = 22_050
TUNINGS = (
    ("E2", "A2", "D3", "G3", "B3", "E4"),
    ("D2", "A2", "D3", "G3", "B3", "E4"),
    ("D2", "G2", "D3", "G3", "B3", "D4"),
    ("D2", "A2", "D3", "G3", "A3", "D4"),
    ("E1", "A1", "D2", "G2"),
    ("B0", "E1", "A1", "D2", "G2"),
    ("G4", "C4", "E4", "A4"),
    ("G3", "D4", "A4", "E5"),
)


@dataclass(frozen=True)
class MadeInstrument:
    """``errors_cents`` by string are the truth; ``tuned_cents`` how far it is up as a whole."""

    instrument: Instrument
    errors_cents: dict[int, float]
    tuned_cents: float
    models: dict[tuple[int, str], PluckModel]


def made_instrument(
    rng: np.random.Generator, tuning: tuple[str, ...], tuned_cents: float = 0.0
) -> MadeInstrument:
    """Strings a few cents out of tune, errors of some cents, each string with its own sound."""
    instrument = Instrument("made", tuning)
    errors, models = {}, {}
    for string in instrument.strings:
        cents = tuned_cents + rng.normal(0, 5)
        open_hz = note_hz(instrument.note(string)) * 2 ** (cents / 1200)
        errors[string] = float(rng.normal(0, 8))
        stiffness = 10 ** rng.uniform(-5, -4)
        for fret, octave, shift in (("open", 1, 0.0), ("f12", 2, errors[string])):
            models[string, fret] = PluckModel(
                octave * open_hz * 2 ** (shift / 1200),
                stiffness * octave**2,
                glide_cents=rng.uniform(0, 8),
                glide_time_s=rng.uniform(0.1, 0.4),
                decay_s=rng.uniform(0.8, 2.5),
                pluck_position=rng.uniform(0.08, 0.3),
                partial_scatter_cents=rng.uniform(0, 0.3),
            )
    return MadeInstrument(instrument, errors, tuned_cents, models)


def write_notes(
    folder: Path,
    made: MadeInstrument,
    rng: np.random.Generator,
    names: dict[tuple[int, str], tuple[int, str]] | None = None,
    octaves: dict[tuple[int, str], int] | None = None,
) -> Path:
    """A take of each note. ``names`` maps what sounds to what its file says, where that differs;
    ``octaves`` are factors of the pitch of what sounds."""
    folder.mkdir(parents=True)
    snr_db, silence_s = rng.uniform(25, 60), rng.uniform(0.1, 0.8)
    for key, model in made.models.items():
        string, fret = (names or {}).get(key, key)
        sounding = replace(model, f1_hz=model.f1_hz * (octaves or {}).get(key, 1))
        samples = recording(
            sounding,
            rng,
            duration_s=rng.uniform(1.5, 3.0),
            silence_s=silence_s,
            rate_hz=RATE_HZ,
            snr_db=snr_db,
            peak=10 ** (-rng.uniform(6, 20) / 20),
        )
        path = folder / f"s{string}_{fret}_1.wav"
        soundfile.write(path, samples, RATE_HZ, subtype="PCM_24")
    return folder


def analyzed(folder: Path, instrument: Instrument) -> Report:
    """The report of a folder, with the instrument written beside the recordings."""
    tuning = ", ".join(f'"{note}"' for note in instrument.tuning)
    text = f"[instrument]\nscale_length_mm = 650\ntuning = [{tuning}]\n"
    (folder / "instrument.toml").write_text(text, encoding="utf-8")
    return analyze_folder(folder, jobs=1)


def mislabelled(
    rng: np.random.Generator, made: MadeInstrument, kind: str
) -> tuple[dict[tuple[int, str], tuple[int, str]], dict[tuple[int, str], int], set[str]]:
    """Names, octaves and the files that are then wrong, for a kind of mistake."""
    strings = made.instrument.strings
    one, other = (int(each) for each in rng.permutation(strings)[:2])
    if kind == "octave":
        key = (one, str(rng.choice(["open", "f12"])))
        return {}, {key: 2}, {f"s{one}_{key[1]}_1.wav"}
    if kind == "swapped notes":
        names = {(one, "open"): (one, "f12"), (one, "f12"): (one, "open")}
    else:
        fret = str(rng.choice(["open", "f12"]))
        names = {(one, fret): (other, fret), (other, fret): (one, fret)}
    return names, {}, {f"s{string}_{fret}_1.wav" for string, fret in names.values()}
