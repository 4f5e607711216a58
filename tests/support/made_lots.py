"""Lots of invented instruments on disk, whose true errors are known."""

from __future__ import annotations

import json
import shutil
from dataclasses import dataclass
from pathlib import Path

import joblib
import numpy as np
import soundfile
from make_demo import stopped_at_12
from pluck_model import PluckModel, recording

from analyzer.errors import UnusableInputError
from analyzer.instrument.model import Instrument
from analyzer.lot.store import FILE_NAME, open_store
from analyzer.music import note_hz

TUNING = ("E2", "A2", "D3", "G3", "B3", "E4")
INSTRUMENT = """[instrument]
name = "Invented instrument"
scale_length_mm = 647.7
tuning = {tuning}

[bridge]
saddles = {saddles}
thread = "M3"
screw_head = "tail"
smallest_turn = 0.25
travel_mm = [4.0, 6.0]
"""
SPECIFICATION = """[lot]
name = "Invented week"

[error]
plus_minus_cents = 3.0
"""


@dataclass(frozen=True)
class MadeLot:
    """``errors_cents``: the truth, shape (instruments, strings), string 6 first."""

    folder: Path
    serials: tuple[str, ...]
    errors_cents: np.ndarray


def made_lot(
    folder: Path,
    instruments: int,
    *,
    seed: int = 1,
    spread_cents: float = 1.2,
    duration_s: float = 3.0,
    rate_hz: int = 44_100,
    tuning: tuple[str, ...] = TUNING,
    played: int | None = None,
    jobs: int = 1,
) -> MadeLot:
    """Folders P00001 on, a recording of each note in each, instrument.toml and lot.toml above.

    ``played``: after so many instruments their notes come again, each under noise of its own.
    """
    folder.mkdir(parents=True, exist_ok=True)
    strings = Instrument("made", tuning).strings
    saddles = [[string] for string in strings]
    (folder / "instrument.toml").write_text(
        INSTRUMENT.format(tuning=json.dumps(tuning), saddles=saddles)
    )
    (folder / "lot.toml").write_text(SPECIFICATION)
    numbers = range(1, instruments + 1)
    errors = np.array(
        [np.random.default_rng([seed, n]).normal(0, spread_cents, len(tuning)) for n in numbers]
    )
    serials = tuple(f"P{number:05d}" for number in numbers)
    first = min(played or instruments, instruments)
    joblib.Parallel(jobs)(
        joblib.delayed(_write)(folder / serial, tuning, each, (seed, number), duration_s, rate_hz)
        for serial, each, number in zip(serials[:first], errors, numbers, strict=False)
    )
    for number in range(first, instruments):
        _write_again(folder / serials[number % first], folder / serials[number], number)
        errors[number] = errors[number % first]
    return MadeLot(folder, serials, errors)


def small_lot(folder: Path, serials: tuple[str, ...], recordings: Path) -> None:
    """The same recordings under several serial numbers: quick, for what does not look at them."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "lot.toml").write_text(SPECIFICATION)
    for serial in serials:
        shutil.copytree(recordings, folder / serial)


def _write(
    folder: Path,
    tuning: tuple[str, ...],
    errors: np.ndarray,
    seed: tuple[int, int],
    duration_s: float,
    rate_hz: int,
) -> None:
    folder.mkdir(exist_ok=True)
    rng = np.random.default_rng([*seed, 1])
    strings = Instrument("made", tuning).strings
    for string, note, error_cents in zip(strings, tuning, errors, strict=True):
        models = {"open": _open(note_hz(note), string, rng)}
        models["f12"] = stopped_at_12(models["open"], float(error_cents))
        for fret, model in models.items():
            take = recording(
                model, rng, duration_s=duration_s - 0.25, silence_s=0.25, rate_hz=rate_hz
            )
            path = folder / f"s{string}_{fret}_1.wav"
            soundfile.write(path, take, rate_hz, subtype="PCM_16")


def _write_again(source: Path, folder: Path, number: int) -> None:
    folder.mkdir(exist_ok=True)
    rng = np.random.default_rng(number)
    for path in source.iterdir():
        samples, rate_hz = soundfile.read(path, dtype="float32")
        samples += 1e-4 * rng.standard_normal(samples.size, dtype=np.float32)
        soundfile.write(folder / path.name, samples, rate_hz, subtype="PCM_16")


def _open(nominal_hz: float, string: int, rng: np.random.Generator) -> PluckModel:
    return PluckModel(
        nominal_hz * 2 ** (rng.normal(0, 2) / 1200),
        stiffness=10 ** rng.uniform(-5, -4),
        glide_cents=rng.uniform(1, 6),
        glide_time_s=rng.uniform(0.1, 0.3),
        decay_s=0.9 + 0.12 * string,
    )


def stored(out: Path) -> int:
    """How many analyses are kept there by now."""
    if not (out / FILE_NAME).exists():
        return 0
    try:
        with open_store(out / FILE_NAME, create=False, read_only=True) as store:
            return store.count_since(0.0)
    except UnusableInputError:  # it is just being made
        return 0
