"""What is taken for a string of which the file says little, from [AB24]'s tables again."""

from __future__ import annotations

import math

import numpy as np
import pytest
from compensation_tables import TABLES
from scipy import stats

from analyzer.instrument.string_data import StringData
from analyzer.string_model.from_data import (
    PLASTIC_HEIGHTS_MM,
    TYPICAL_KAPPA,
    TYPICAL_KAPPA_UNCERTAINTY,
    model_string,
)


def test_typical_kappa_is_that_of_the_published_strings() -> None:
    """Their mean, and the 95 % interval for one more string (Student's t)."""
    kappa = np.array([row.kappa for table in TABLES.values() for row in table])
    assert kappa.size == 18
    assert pytest.approx(np.mean(kappa), abs=0.05) == TYPICAL_KAPPA
    half_width = stats.t.ppf(0.975, 17) * np.std(kappa, ddof=1) * math.sqrt(1 + 1 / 18)
    assert pytest.approx(half_width, abs=0.1) == TYPICAL_KAPPA_UNCERTAINTY


def test_usual_heights_are_those_of_the_paper() -> None:
    """b = 1 mm at the nut and c = 4 mm more at the saddle: b + c (1 - 2^(-n/12)) at fret n."""
    heights = [1 + 4 * (1 - 2 ** (-fret / 12)) for fret in (1, 12)]
    assert pytest.approx(heights, abs=0.006) == PLASTIC_HEIGHTS_MM


def test_one_height_alone_says_nothing() -> None:
    given = {"diameter_mm": 0.7, "tension_n": 70.0, "material": "nylon"}
    plain, _ = model_string(StringData(**given), 650.0, 329.6)
    one, _ = model_string(StringData(**given, height_at_fret_1_mm=0.3), 650.0, 329.6)
    assert plain is not None
    assert one is not None
    assert one.string == plain.string
