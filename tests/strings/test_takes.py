"""The interval of a string from its takes: coverage where the truth is known, and by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from benchmark_takes import as_seen_on_guitars, coverage, take

from analyzer.strings import (
    PLUCK_SCATTER_CENTS,
    PLUCK_SCATTER_FREEDOM,
    combine_takes,
    intonation,
    larger_drift,
    pluck_scatter,
)


@pytest.mark.parametrize("takes", [1, 2, 3, 5])
def test_interval_holds_the_truth_as_often_as_it_says(takes) -> None:
    """1800 virtual strings, the scatter distributed as it was seen to be on real guitars."""
    share, _ = coverage(takes, 300, as_seen_on_guitars)
    assert 0.93 <= share <= 0.98


def test_repeats_narrow_the_interval() -> None:
    widths = [coverage(takes, 60, as_seen_on_guitars)[1] for takes in (1, 2, 3, 5)]
    assert widths == sorted(widths, reverse=True)
    assert widths[-1] < 0.5 * widths[0]


def test_one_take_has_the_allowance_alone() -> None:
    """By hand: t at 0.975 for 3 degrees of freedom is 3.182 (any t table); two notes, sqrt 2."""
    rng = np.random.default_rng(1)
    notes = [[take(110.0, 0.0, rng)], [take(220.0, 0.0, rng)]]
    scatter = pluck_scatter(notes)
    assert (scatter.cents, scatter.freedom) == (PLUCK_SCATTER_CENTS, PLUCK_SCATTER_FREEDOM)
    found = intonation(combine_takes(notes[0], scatter), combine_takes(notes[1], scatter), scatter)
    assert found.error_uncertainty_cents == pytest.approx(3.182 * 0.27 * math.sqrt(2), rel=0.01)


def test_a_take_known_less_well_counts_less() -> None:
    rng = np.random.default_rng(3)
    sure = take(110.0, 0.0, rng)
    vague = replace(sure, settled_hz=110.0 * 2 ** (4 / 1200), settled_uncertainty_cents=5.0)
    note = combine_takes([sure, vague], pluck_scatter([]))
    assert 0 < 1200 * math.log2(note.hz / sure.settled_hz) < 0.1


def test_larger_drift_is_by_size() -> None:
    assert larger_drift(-3.0, 2.0) == -3.0
    assert larger_drift(-1.0, 2.0) == 2.0
    assert math.isnan(larger_drift(math.nan, 2.0))


def test_drift_is_the_mean_of_the_takes_that_have_one() -> None:
    plain = take(110.0, 0.0, np.random.default_rng(4))
    takes = [replace(plain, sustain_drift_cents=cents) for cents in (-2.0, math.nan, -4.0)]
    assert combine_takes(takes, pluck_scatter([])).drift_cents == pytest.approx(-3)
    assert math.isnan(combine_takes(takes[1:2], pluck_scatter([])).drift_cents)


def test_variance_of_a_take_is_that_of_its_fit_and_of_the_scatter() -> None:
    """A half-width of 1.96 cents is a standard deviation of one."""
    plain = replace(take(110.0, 0.0, np.random.default_rng(5)), settled_uncertainty_cents=1.96)
    scatter = pluck_scatter([])
    assert combine_takes([plain], scatter).variance == pytest.approx(1 + scatter.cents**2)
    assert combine_takes([plain] * 4, scatter).variance == pytest.approx((1 + scatter.cents**2) / 4)
