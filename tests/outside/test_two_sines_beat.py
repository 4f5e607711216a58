"""Two sines beat as often as their frequencies differ.

The truth is the model's (``sample_audio/pluck_model.py``): a second polarisation so many cents
sharper makes the first partial beat at f (2^(cents/1200) - 1), plain arithmetic.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile
from pluck_model import PluckModel, recording

from analyzer.pitch.note import cut_note
from analyzer.pitch.settle import SettledPitch, settle
from analyzer.plucks import find_pluck
from analyzer.recording.reading import open_recording

pytestmark = pytest.mark.source(
    "Sum of two sines: they beat at f2 - f1",
    "published formula",
    "rate of beating of two polarisations",
)


def measured(folder: Path, model: PluckModel, seed: int, **take: float) -> SettledPitch:
    path = folder / "s1_open_1.wav"
    samples = recording(model, np.random.default_rng(seed), **take)
    soundfile.write(path, samples, 44100, subtype="FLOAT")
    take_read = open_recording(path)
    return settle(cut_note(take_read, find_pluck(take_read)))


@pytest.mark.parametrize("split_cents", [3.0, 6.0])
@pytest.mark.parametrize("f1_hz", [82.41, 196.0, 329.63])
def test_rate_of_beating(tmp_path: Path, f1_hz: float, split_cents: float) -> None:
    rate_hz = f1_hz * (2 ** (split_cents / 1200) - 1)
    for seed, snr_db in enumerate((55.0, 30.0)):
        model = PluckModel(f1_hz, 5e-5, 4.0, 0.2, polarisation_split_cents=split_cents)
        found = measured(tmp_path, model, seed, snr_db=snr_db)
        assert found.beat_hz == pytest.approx(rate_hz, rel=0.1)
