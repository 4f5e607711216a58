"""The string model over many moves at once."""

from __future__ import annotations

import numpy as np
import pytest
from published_strings import DEFAULT

from analyzer.string_model.effect import ModelledEffect


def test_effect_of_many_moves_at_once_and_its_slope() -> None:
    effect = ModelledEffect(DEFAULT, 1.5)
    moves_mm = np.arange(-60, 60, 0.5).reshape(3, -1)
    changes = effect.change_cents(moves_mm)
    assert changes.shape == moves_mm.shape
    assert changes[1, 7] == pytest.approx(float(effect.change_cents(moves_mm[1, 7])))
    assert effect.change_cents(0.0) == 0
    assert np.all(np.diff(changes.ravel()) < 0)
    # 1731.234 / 650 mm by length (as published), and a little more by what retuning does.
    assert effect.slope_cents_per_mm(0.0) == pytest.approx(-1731.234 / 650, rel=0.02)
    slopes = effect.slope_cents_per_mm(moves_mm).ravel()
    assert np.cumsum((slopes[1:] + slopes[:-1]) / 4) == pytest.approx(
        changes.ravel()[1:] - changes.ravel()[0], rel=1e-3
    )
