"""Two rounds of one invented instrument of two strings, recorded synthetically."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from pluck_model import PluckModel, recording

S_MM = 650.0
INSTRUMENT = (
    '[instrument]\nname = "Dunlin"\nscale_length_mm = 650\ntuning = ["E2", "A2"]\n[bridge]\n'
    'saddles = [[2], [1]]\nthread = "M3"\nscrew_head = "tail"\nsmallest_turn = 0.125\n'
    "travel_mm = [4.0, 6.0]\n"
)
BEFORE = {2: 8.0, 1: -5.0}
RATE_HZ = 22050


def moved(error_cents: float, move_mm: float) -> float:
    """From the lengths of an ideal string."""
    return error_cents + 1200 * math.log2((S_MM + move_mm) / (S_MM / 2 + move_mm) / 2)


def write_round(folder: Path, errors, instrument: str = INSTRUMENT) -> Path:
    """Two takes of each note of the two strings, with these true errors."""
    folder.mkdir()
    for string, open_hz in ((2, 82.407), (1, 110.0)):
        fretted_hz = 2 * open_hz * 2 ** (errors[string] / 1200)
        for take in (1, 2):
            rng = np.random.default_rng(take)
            # Half as long, a string has four times the B.
            for fret, hz, b in (("open", open_hz, 5e-5), ("f12", fretted_hz, 2e-4)):
                model = PluckModel(hz, b, glide_cents=2.0)
                samples = recording(model, rng, rate_hz=RATE_HZ, duration_s=2.0)
                soundfile.write(folder / f"s{string}_{fret}_{take}.wav", samples, RATE_HZ)
    (folder / "instrument.toml").write_text(instrument, encoding="utf-8")
    return folder


def loaded(path: Path) -> dict[str, Any]:
    """A report's JSON."""
    return json.loads(path.read_text(encoding="utf-8"))
