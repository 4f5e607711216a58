"""Two sines beat as often as their frequencies differ.

The truth is the model's (``sample_audio/pluck_model.py``): a second polarisation so many cents
sharper makes the first partial beat at f (2^(cents/1200) - 1), plain arithmetic.
"""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest
from compensation_tables import AB24
from made_notes import CLEAN
from measured_notes import measured_pluck
from pluck_model import PluckModel

from analyzer.findings.condition import magnet_pull, worn_or_wrong
from analyzer.findings.model import StringCase
from analyzer.findings.thresholds import BEAT_HZ
from analyzer.music import cents_between, note_hz

pytestmark = pytest.mark.source(
    "Sum of two sines: they beat at f2 - f1",
    "published formula",
    "rate of beating of two polarisations",
)


@pytest.mark.parametrize("split_cents", [3.0, 6.0])
@pytest.mark.parametrize("f1_hz", [82.41, 196.0, 329.63])
def test_rate_of_beating(tmp_path: Path, f1_hz: float, split_cents: float) -> None:
    rate_hz = f1_hz * (2 ** (split_cents / 1200) - 1)
    for seed, snr_db in enumerate((55.0, 30.0)):
        model = PluckModel(f1_hz, 5e-5, 4.0, 0.2, polarisation_split_cents=split_cents)
        found = measured_pluck(tmp_path, model, seed, snr_db=snr_db)
        assert found.beat_hz == pytest.approx(rate_hz, rel=0.1)


@pytest.mark.source(AB24, "published example", "the slowest beats that raise a finding")
def test_a_trained_ear_tunes_to_one_hertz() -> None:
    """As published: 1 Hz, which is 8 cents at A3 and 5 at E4."""
    for note, cents in (("A3", 8), ("E4", 5)):
        hz = note_hz(note)
        assert round(cents_between(hz, hz + BEAT_HZ)) == cents


@pytest.mark.source(AB24, "published example", "the slowest beats that raise a finding")
def test_beats_where_they_were_measured() -> None:
    """1 Hz: what a trained ear tunes to ([AB24], as published)."""

    def case(open_hz: float, fretted_hz: float) -> StringCase:
        open_note = replace(CLEAN, beat_hz=open_hz)
        fretted = replace(CLEAN, stiffness=4 * CLEAN.stiffness, beat_hz=fretted_hz)
        return StringCase(6, {"open": (open_note,), "f12": (fretted,)})

    (worn,) = worn_or_wrong(case(2.0, math.nan))
    assert "open note beats at 2.0 Hz" in worn.evidence
    assert not list(magnet_pull(case(2.0, math.nan)))
    (magnet,) = magnet_pull(case(0.4, 3.0))
    assert "beats at 3.0 Hz at the 12th fret" in magnet.evidence
    same_split = case(0.67, 1.37)  # 6 cents at 196 Hz and at 392 Hz: a property of the string
    assert not list(magnet_pull(same_split))
    for quiet in (case(math.nan, math.nan), case(0.5, 0.9)):
        assert not list(worn_or_wrong(quiet))
        assert not list(magnet_pull(quiet))
