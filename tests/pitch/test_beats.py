"""Two polarisations beat, and the report says how fast.

The truth is the model's (``sample_audio/pluck_model.py``): a second polarisation so many cents
sharper makes the first partial beat at f (2^(cents/1200) - 1), plain arithmetic.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from measured_notes import measured_pluck
from pluck_model import PluckModel, early_drift_cents

from analyzer.pitch.envelopes import Envelopes
from analyzer.pitch.phases import fit_phases
from analyzer.pitch.second_lines import with_second_lines


@pytest.mark.parametrize("f1_hz", [41.2, 110.0, 329.63, 659.3])
def test_no_beating_where_there_is_none(tmp_path: Path, f1_hz: float) -> None:
    """Noise, a glide, hum beside single partials, and scattered partials do not beat."""
    for seed, spoilt in enumerate(({}, {"snr_db": 22.0}, {"hum_hz": 50.0})):
        found = measured_pluck(tmp_path, PluckModel(f1_hz, 5e-5, 8.0, None), seed, **spoilt)
        assert np.isnan(found.beat_hz)
    scattered = PluckModel(f1_hz, 5e-5, 4.0, 0.2, partial_scatter_cents=1.0)
    assert np.isnan(measured_pluck(tmp_path, scattered, 7).beat_hz)


@pytest.mark.parametrize("split_cents", [0.6, -0.6])
@pytest.mark.parametrize("f1_hz", [41.2, 55.0, 82.41, 110.0])
def test_slow_beating_moves_neither_pitch_nor_drift(
    tmp_path: Path, f1_hz: float, split_cents: float
) -> None:
    """The first partial beats once in 26 s to 70 s: only all partials together can tell.

    The second polarisation is 0.4 as strong: taken for the string it is 0.1 cents and more.
    """
    for seed in range(3):
        model = PluckModel(f1_hz, 5e-5, 5.0, 0.25, polarisation_split_cents=split_cents)
        found = measured_pluck(tmp_path, model, seed)
        assert 1200 * np.log2(found.settled_hz / f1_hz) == pytest.approx(0, abs=0.02)
        assert found.settled_uncertainty_cents < 0.04
        assert found.sustain_drift_cents == pytest.approx(early_drift_cents(model), abs=0.1)


def test_no_second_line_where_there_is_none() -> None:
    """One line that bends by itself in each partial is not called two."""
    times_s = np.arange(100) * 0.03 + 0.06
    k = np.arange(1, 13)[:, None]
    rng = np.random.default_rng(3)
    rate_hz, start = rng.uniform(0.1, 0.8, (12, 1)), rng.uniform(0, 6.28, (12, 1))
    bends = 0.2 * np.sin(2 * np.pi * rate_hz * times_s + start)
    noise = 1e-3 * (rng.normal(size=(2, 12, 100)) * [[[1]], [[1j]]]).sum(axis=0)
    values = np.exp(-0.7 * times_s + 1j * bends) / k + noise
    envelopes = Envelopes(values, 110.0 * k[:, 0], times_s, None, 3.1)
    fit, rest = fit_phases(envelopes, np.ones(12))
    assert with_second_lines(envelopes, fit, rest, np.ones(12))[0] is fit
