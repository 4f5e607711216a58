"""Notes that were too loud for their recorder, from plucks whose truth is known.

Each is clipped 12 dB below its peak; its open and slow strings stay clipped for most of the note.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import soundfile
from benchmark_pitch import measure
from pluck_model import PluckModel, early_drift_cents, recording

from analyzer.errors import RecordingError

RATE_HZ = 44_100

# Strings whose glide follows their slowly falling energy, and so hides in what is clipped.
PLUCKS = [
    PluckModel(36.2, 1.5e-5, 7.0, None, 2.0, pluck_position=0.29),
    PluckModel(58.3, 1.3e-4, 3.5, None, 2.3, pluck_position=0.20),
    PluckModel(106.7, 2.4e-5, 5.7, None, 2.3, pluck_position=0.24),
    PluckModel(213.4, 1.4e-5, 6.3, None, 2.1, pluck_position=0.11),
    PluckModel(551.4, 9.4e-5, 5.8, None, 1.9, pluck_position=0.26),
    PluckModel(815.3, 2.0e-4, 8.0, 0.3, 1.6, pluck_position=0.33),
]


def hard(samples, limit):
    return np.clip(samples, -limit, limit)


def soft(samples, limit):
    """As it is to nine tenths of the limit, then bent towards it."""
    size = np.abs(samples) / limit
    return (
        np.copysign(np.where(size < 0.9, size, 0.9 + 0.1 * np.tanh(10 * size - 9)), samples) * limit
    )


def uneven(samples, limit):
    return np.clip(samples, -0.8 * limit, limit)


def clipped(path, model, shape):
    samples = recording(model, np.random.default_rng(7), rate_hz=RATE_HZ)
    limit = np.max(np.abs(samples)) * 10 ** (-12 / 20)
    soundfile.write(path, shape(samples, limit), RATE_HZ, subtype="PCM_24")
    return measure(path)


@pytest.fixture(scope="module", params=[hard, soft, uneven])
def found(request, tmp_path_factory):
    """All plucks and what was measured of them, for one way of clipping."""
    path = tmp_path_factory.mktemp("clipped") / "p.wav"
    return [(model, clipped(path, model, request.param)) for model in PLUCKS]


def off_cents(model, pitch) -> float:
    return 1200 * math.log2(pitch.settled_hz / model.f1_hz)


def test_clipped_note_is_within_a_tenth_of_a_cent(found) -> None:
    for model, pitch in found:
        assert pitch.clipped
        assert abs(off_cents(model, pitch)) < 0.1, model
        assert pitch.settled_uncertainty_cents < 0.4, model


def test_glide_under_the_flat_tops_is_found(found) -> None:
    for model, pitch in found:
        true_cents = early_drift_cents(model)
        assert pitch.sustain_drift_cents == pytest.approx(true_cents, abs=0.3), model


def test_interval_holds_the_truth(found) -> None:
    """Of 6, one outside comes now and then; three would come once in 450 times."""
    outside = [abs(off_cents(*each)) > each[1].settled_uncertainty_cents for each in found]
    assert sum(outside) <= 2


def test_sine_that_is_clipped_throughout_is_refused_in_plain_words(tmp_path) -> None:
    """Between its tops a steady sine at a fifth of its peak shows an eighth of its period."""
    t = np.arange(3 * RATE_HZ) / RATE_HZ
    tone = np.clip(np.sin(2 * np.pi * 110 * t + 1), -0.2, 0.2)
    soundfile.write(tmp_path / "s.wav", np.concatenate([np.zeros(RATE_HZ // 4), tone]), RATE_HZ)
    with pytest.raises(RecordingError, match=r"clipped so heavily.*more quietly"):
        measure(tmp_path / "s.wav")


def test_dying_sine_that_is_clipped_at_first_is_measured(tmp_path) -> None:
    t = np.arange(3 * RATE_HZ) / RATE_HZ
    tone = np.clip(np.exp(-t / 0.6) * np.sin(2 * np.pi * 110 * t + 1), -0.2, 0.2)
    tone = np.concatenate([np.zeros(RATE_HZ // 4), tone])
    tone += np.random.default_rng(1).normal(0, 1e-4, tone.size)
    soundfile.write(tmp_path / "s.wav", np.clip(tone, -0.2, 0.2), RATE_HZ, subtype="PCM_24")
    assert abs(1200 * math.log2(measure(tmp_path / "s.wav").settled_hz / 110)) < 0.02
