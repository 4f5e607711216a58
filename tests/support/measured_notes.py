"""What the program makes of real notes, as they are and moved by known intervals."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import TypeVar

import numpy as np
import soundfile
import soxr
from pluck_model import PluckModel, recording
from threadpoolctl import threadpool_limits

from analyzer.analysis import analyze_folder
from analyzer.pitch.note import cut_note
from analyzer.pitch.settle import SettledPitch, settle
from analyzer.plucks import find_pluck
from analyzer.recording.reading import open_recording
from analyzer.report.model import Report

LONGEST_S = 3.0  # as long as is asked for; so a note and its octave are the same stretch of sound

Each = TypeVar("Each")


def measured(path: Path) -> SettledPitch:
    with threadpool_limits(1):
        recording = open_recording(path)
        return settle(cut_note(recording, find_pluck(recording)))


def measured_pluck(folder: Path, model: PluckModel, seed: int, **take: float) -> SettledPitch:
    """The settled pitch of a made pluck, by way of a file in ``folder``."""
    path = folder / "s1_open_1.wav"
    samples = recording(model, np.random.default_rng(seed), **take)
    soundfile.write(path, samples, 44100, subtype="FLOAT")
    return measured(path)


def higher(samples: np.ndarray, rate_hz: int, cents: float) -> np.ndarray:
    """Samples, (n,), so many cents higher at the same rate (soxr, very high quality)."""
    return soxr.resample(samples, rate_hz, rate_hz / 2 ** (cents / 1200), quality="VHQ")


def moved(source: Path, target: Path, cents: float, longest_s: float | None = None) -> Path:
    """Write a recording, or its beginning, so many cents higher."""
    samples, rate_hz = soundfile.read(source)
    count = samples.size if longest_s is None else round(longest_s * rate_hz)
    # The same route at 0 cents, so that only the move differs.
    soundfile.write(target, higher(samples[:count], rate_hz, cents), rate_hz, subtype="FLOAT")
    return target


def own_octaves(folder: Path, notes: Mapping[str, tuple[Path, float]]) -> Report:
    """The report of an instrument whose 12th frets are its open notes, an octave and cents higher.

    ``notes`` has for each string, the highest number first, under the name of its open note: its
    recording, and by how many cents its 12th fret is to miss the octave.
    """
    for string, (source, cents) in _numbered(list(notes.values())):
        moved(source, folder / f"s{string}_open_1.wav", 0.0, LONGEST_S)
        moved(source, folder / f"s{string}_f12_1.wav", 1200 + cents, LONGEST_S)
    return _analyzed(folder, list(notes))


def as_instrument(folder: Path, strings: Sequence[tuple[str, Path, Path]]) -> Report:
    """The report of an instrument whose notes are these recordings.

    ``strings`` has for each, the highest number first: the name of its open note, the recording
    of that, and that of its 12th fret.
    """
    for string, (_, opened, fretted) in _numbered(strings):
        shutil.copy(opened, folder / f"s{string}_open_1.wav")
        shutil.copy(fretted, folder / f"s{string}_f12_1.wav")
    return _analyzed(folder, [name for name, _, _ in strings])


def _numbered(strings: Sequence[Each]) -> Iterator[tuple[int, Each]]:
    return zip(range(len(strings), 0, -1), strings, strict=True)


def _analyzed(folder: Path, tuning: list[str]) -> Report:
    text = f"[instrument]\nscale_length_mm = 863.6\ntuning = {json.dumps(tuning)}\n"
    (folder / "instrument.toml").write_text(text, encoding="utf-8")
    return analyze_folder(folder, jobs=1)
