"""[AB24]'s strings as notes and recordings: error and saddle move.

The string data of the normal-tension nylon set are published; the errors at the 12th fret and the
moves were computed from the paper's formulas apart from this project.
"""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
import soundfile
from compensation_tables import (
    AB24,
    SCALE_LENGTH_MM,
)
from pluck_model import PluckModel, recording
from published_strings import ROWS, string_of
from string_sets import HEAD, SIXTH

from analyzer.analysis import analyze_folder
from analyzer.bridge.effect import LengthEffect, saddle_move_mm
from analyzer.string_model.effect import ModelledEffect

pytestmark = pytest.mark.source(
    AB24, "published formula", "saddle move, within 2 % of the full model"
)


# string: open Hz, 12th fret Hz, error cents, saddle back by the paper's full model, mm (650 mm)
AB24_NORMAL = {
    1: (329.627557, 661.1708, 5.023, 1.881),
    2: (246.941651, 495.4818, 5.594, 2.095),
    3: (195.997718, 393.6912, 7.473, 2.796),
    4: (146.832384, 294.5106, 4.979, 1.865),
    5: (110.000000, 220.7570, 5.947, 2.226),
    6: (82.406889, 165.5617, 7.838, 2.932),
}


@pytest.mark.parametrize("string", AB24_NORMAL)
def test_move_is_within_two_percent_of_the_full_model(string) -> None:
    open_hz, fretted_hz, error_cents, back_mm = AB24_NORMAL[string]
    assert 1200 * math.log2(fretted_hz / (2 * open_hz)) == pytest.approx(error_cents, abs=0.002)
    assert saddle_move_mm(error_cents, LengthEffect(650.0)) == pytest.approx(back_mm, rel=0.02)


@ROWS
def test_saddle_advice_by_effect_and_by_length_is_within_two_percent(row) -> None:
    effect = ModelledEffect(string_of(row))
    assert effect.move_mm(row.error_12_cents) == pytest.approx(row.null_12_mm, rel=0.02)
    assert saddle_move_mm(row.error_12_cents, LengthEffect(SCALE_LENGTH_MM)) == pytest.approx(
        row.null_12_mm, rel=0.02
    )
    assert effect.change_cents(1.0) < 0 < effect.change_cents(-1.0)


@pytest.mark.source(AB24, "published formula", "six pairs of notes from sound to error and move")
def test_published_pairs_as_recordings(tmp_path) -> None:
    """The six pairs sounded as stiff strings at 55 dB: 0.01 cents, and moves within 2 %."""
    rng = np.random.default_rng(24)
    for string, (open_hz, fretted_hz, *_) in AB24_NORMAL.items():
        for fret, hz, stiffness in (("open", open_hz, 3e-5), ("f12", fretted_hz, 1.2e-4)):
            samples = recording(PluckModel(hz, stiffness=stiffness), rng, rate_hz=22050)
            soundfile.write(tmp_path / f"s{string}_{fret}_1.wav", samples, 22050, subtype="PCM_24")
    (tmp_path / "instrument.toml").write_text(
        '[instrument]\nscale_length_mm = 650\ntuning = ["E2", "A2", "D3", "G3", "B3", "E4"]\n',
        encoding="utf-8",
    )
    for found in analyze_folder(tmp_path, jobs=1).strings:
        *_, error_cents, back_mm = AB24_NORMAL[found.string]
        assert found.error_cents == pytest.approx(error_cents, abs=0.01)
        assert found.saddle_move_mm == pytest.approx(back_mm, rel=0.02)


@pytest.mark.source(AB24, "published formula", "six pairs of notes from sound to error and move")
def test_report_uses_the_model_where_it_can(tmp_path, called, write_pluck) -> None:
    """[AB24] string 6 of the normal set: 82.406889 and 165.5617 Hz, back by 2.932 mm (computed)."""
    for name, hertz in (("open", 82.406889), ("f12", 165.5617)):
        write_pluck(f"s6_{name}_1.wav", PluckModel(hertz))
        write_pluck(f"s5_{name}_1.wav", PluckModel(hertz * 110 / 82.406889))
    text = HEAD + SIXTH
    (tmp_path / "instrument.toml").write_text(text, encoding="utf-8")
    report = json.loads(called("analyze", tmp_path, "--jobs", 1, "--json", "-").out)
    sixth, fifth = report["strings"][:2]
    assert sixth["saddle_move_mm"] == pytest.approx(2.932, rel=0.02)
    assert fifth["saddle_move_mm"] == pytest.approx(2.963, rel=0.005)  # computed, length alone
    assert sixth["saddle_move_mm"] < fifth["saddle_move_mm"] - 0.02


# Computed: L e / 1731.234 and L (m - 1) / (2 - m) at 650 mm, strings 1 to 6, mm.
@pytest.mark.parametrize(
    ("string", "linear_mm", "exact_mm"),
    [
        (1, 1.886, 1.894),
        (2, 2.100, 2.111),
        (3, 2.806, 2.824),
        (4, 1.870, 1.878),
        (5, 2.233, 2.244),
        (6, 2.943, 2.963),
    ],
)
def test_move_by_length_alone(string, linear_mm, exact_mm) -> None:
    error_cents = AB24_NORMAL[string][2]
    effect = LengthEffect(650.0)
    assert saddle_move_mm(error_cents, effect) == pytest.approx(exact_mm, abs=0.001)
    assert -error_cents / effect.slope_cents_per_mm(0.0) == pytest.approx(linear_mm, abs=0.001)
