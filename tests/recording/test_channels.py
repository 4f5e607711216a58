"""The channel that hears the note best: neither the loudest, nor a mean that may cancel."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile
from pluck_model import PluckModel, recording

from analyzer.channels import best_channel
from analyzer.instrument.model import assumed_instrument
from analyzer.measure import measure_recording
from analyzer.recording.reading import open_recording

RATE_HZ = 44_100
TRUE_HZ = 110.0


def noise(level: float, size: int, seed: int = 9) -> np.ndarray:
    return np.random.default_rng(seed).normal(0, level, size)


def clean(peak: float = 0.3) -> np.ndarray:
    return recording(PluckModel(TRUE_HZ), np.random.default_rng(1), snr_db=60, peak=peak)


def others(kind: str, note: np.ndarray) -> list[np.ndarray]:
    """Worse channels beside a clean one of peak 0.3."""
    t_s = np.arange(note.size) / RATE_HZ
    return {
        "clipped and louder": [np.clip(6 * note, -0.9, 0.9)],
        "noisy and louder": [2 * note + noise(0.05, note.size)],
        "silent": [np.zeros(note.size)],
        "hum alone, louder": [0.8 * np.sin(2 * np.pi * 50 * t_s)],
        "noise alone, louder": [noise(0.3, note.size)],
        "seven of them": [*(noise(0.01 * n, note.size, n) for n in range(1, 7)), 0.02 * note],
    }[kind]


KINDS = (
    "clipped and louder",
    "noisy and louder",
    "silent",
    "hum alone, louder",
    "noise alone, louder",
    "seven of them",
)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("last", [False, True])
def test_clean_channel_is_used(tmp_path, kind, last) -> None:
    note = clean()
    worse = others(kind, note)
    channels = [*worse, note] if last else [note, *worse]
    path = tmp_path / "s5_open_1.wav"
    soundfile.write(path, np.column_stack(channels), RATE_HZ, subtype="PCM_24")
    assert best_channel(open_recording(path)) == (len(worse) if last else 0)
    found = measure_recording(path, assumed_instrument())
    assert found.cautions == ()
    assert abs(1200 * np.log2(found.pitch.settled_hz / TRUE_HZ)) < 0.02


def test_opposite_phases_do_not_cancel(tmp_path) -> None:
    note = clean()
    path = tmp_path / "s5_open_1.wav"
    soundfile.write(path, np.column_stack([note, -note]), RATE_HZ, subtype="PCM_24")
    found = measure_recording(path, assumed_instrument())
    assert abs(1200 * np.log2(found.pitch.settled_hz / TRUE_HZ)) < 0.02


def test_of_channels_alike_the_louder(tmp_path) -> None:
    note = clean()
    path = tmp_path / "s5_open_1.wav"
    soundfile.write(path, np.column_stack([0.5 * note, note]), RATE_HZ, subtype="PCM_24")
    assert best_channel(open_recording(path)) == 1


def test_best_channel_of_a_bad_lot_is_still_used(tmp_path) -> None:
    """Where every channel is clipped, the figure comes with its caution."""
    loud = np.clip(4 * clean(), -0.5, 0.5)
    path = tmp_path / "s5_open_1.wav"
    soundfile.write(path, np.column_stack([loud, loud]), RATE_HZ, subtype="PCM_24")
    found = measure_recording(path, assumed_instrument())
    assert any("clipped" in each.text for each in found.cautions)
