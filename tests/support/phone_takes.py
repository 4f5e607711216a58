"""Real notes joined into one long take of an instrument, a room's noise under them, as phones send.

The notes are those of ``fetch_recordings``: a note as the open string, its octave as the same
string's 12th fret. The noise (50 dB below the notes' peak) and the words between are synthetic,
as ``whole_takes.joined`` makes them: no recording of a room was at hand.
"""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import numpy as np
import soundfile
from phone_files import Format, encode
from real_notes import ACOUSTIC, ELECTRIC
from whole_takes import RATE_HZ, joined

from analyzer.instrument.model import Instrument
from analyzer.measure import Measured, measure_whole
from analyzer.music import cents_between
from analyzer.pitch.settle import SettledPitch

GUITARS = {"acoustic": ACOUSTIC, "electric": ELECTRIC}
# What phones make of sound, by mono bit rates of their recorders and of messages (from memory).
LOSSLESS = Format("without loss, at 48 kHz.mkv", "matroska", "flac", 48000)  # what resampling does
PHONES = [
    Format("AAC at 128 kbit/s.m4a", "ipod", "aac", 48000, 128_000),
    Format("AAC at 64 kbit/s.m4a", "ipod", "aac", 44100, 64_000),
    Format("Opus at 64 kbit/s.webm", "webm", "libopus", 48000, 64_000),
    Format("Opus at 24 kbit/s.webm", "webm", "libopus", 48000, 24_000),
]


class Take(NamedTuple):
    """``sound``, shape (n,), and where and what was played in it, in its order."""

    instrument: Instrument
    sound: np.ndarray
    places: list[tuple[int, str]]


class Agreement(NamedTuple):
    """Of a string: error of the phone's file less that of the lossless one, and both intervals."""

    string: int
    off_cents: float
    interval_cents: float


def real_take(folder: Path, guitar: str) -> Take:
    """Every string of a guitar open and at the 12th fret, one after another."""
    notes = GUITARS[guitar]
    strings = sorted(notes, reverse=True)
    tuning = tuple(notes[each][0].replace("s", "#") for each in strings)
    places = [(each, fret) for each in strings for fret in ("open", "f12")]
    sounds = [_note(folder / guitar / f"{notes[string][fret == 'f12']}.wav")
              for string, fret in places]  # fmt: skip
    sound, _, _ = joined(sounds, np.random.default_rng(1))
    return Take(Instrument("joined", tuning, None, None), sound, places)


def _note(path: Path) -> np.ndarray:
    samples, rate_hz = soundfile.read(path, always_2d=True)
    assert rate_hz == RATE_HZ
    loud = np.abs(samples[:, 0]) > 0.05 * np.max(np.abs(samples[:, 0]))
    return samples[max(0, int(np.argmax(loud)) - 200) :, 0]


def lossless(take: Take, folder: Path) -> list[Measured]:
    path = folder / "whole.wav"
    soundfile.write(path, take.sound, RATE_HZ, subtype="PCM_24")
    return measure_whole(path, take.instrument)


def sent(take: Take, folder: Path, form: Format) -> list[Measured]:
    """What is measured of the take once a phone has encoded it."""
    path = encode(folder / f"whole.{form.file.rpartition('.')[2]}", take.sound, RATE_HZ, form)
    return measure_whole(path, take.instrument)


def agreements(one: list[Measured], other: list[Measured]) -> list[Agreement]:
    """String by string."""
    found = []
    ours, theirs = _by_place(one), _by_place(other)
    for string in sorted({string for string, _ in ours}, reverse=True):
        errors, squares = [], 0.0
        for notes in (ours, theirs):
            open_note, fretted = notes[string, "open"], notes[string, "f12"]
            errors.append(cents_between(2 * open_note.settled_hz, fretted.settled_hz))
            squares += open_note.settled_uncertainty_cents**2
            squares += fretted.settled_uncertainty_cents**2
        found.append(Agreement(string, errors[1] - errors[0], float(np.sqrt(squares))))
    return found


def _by_place(measured: list[Measured]) -> dict[tuple[int, str], SettledPitch]:
    return {(each.label.string, each.label.fret): each.pitch for each in measured if each.pitch}
