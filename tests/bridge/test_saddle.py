"""The way to a saddle move: steps, travel, what is better left alone."""

from __future__ import annotations

import math

import pytest
from made_bridges import own_screws

from analyzer.bridge.effect import LengthEffect, saddle_move_mm
from analyzer.bridge.problem import Need
from analyzer.bridge.setting import PartSetting, set_bridge
from analyzer.instrument.model import Screw
from analyzer.strings import PLUCK_SCATTER_CENTS, Scatter


@pytest.mark.parametrize("setback_mm", [0.0, 2.0, 4.0])
def test_the_move_takes_the_error_away(setback_mm) -> None:
    for error_cents in (-12.0, -0.4, 3.0, 18.0):
        effect = LengthEffect(647.7, setback_mm)
        move_mm = saddle_move_mm(error_cents, effect)
        left = error_cents + effect.change_cents(move_mm)
        assert left == pytest.approx(0, abs=1e-9)
        assert math.copysign(1, move_mm) == math.copysign(1, error_cents)


def need(error_cents: float, length_mm: float = 647.7) -> Need:
    return Need(error_cents, LengthEffect(length_mm))


def only_part(bridge, needs) -> PartSetting:
    (part,) = set_bridge(bridge.adjusters, needs)
    return part


def test_move_comes_in_whole_steps_inside_the_travel() -> None:
    bridge = own_screws([[1]], Screw(0.5, "tail", 0.25), travel_mm=(4.0, 1.3))
    part = only_part(bridge, {1: need(9.0)})
    assert part.settings_mm[0] == 1.25
    assert part.short_by_mm(0) == pytest.approx(saddle_move_mm(9.0, LengthEffect(647.7)) - 1.3)
    assert part.residual_cents[1] == pytest.approx(9.0 - 1.25 * 2.67289, abs=0.02)
    reason = part.reason(0)
    assert reason is not None
    assert "the travel ends 2.09 mm short of the best place, away from the nut" in reason
    assert "string 1 would stay +5.7 cents off" in reason


def test_saddle_that_need_not_move() -> None:
    part = only_part(own_screws([[1]], Screw(0.5, "tail", 0.25)), {1: need(0.1)})
    assert part.settings_mm[0] == 0
    assert part.reason(0) == "the best place is 0.04 mm away, and no step of 0.125 mm is better"


def test_scatter_before_any_repeat_is_that_seen_on_real_guitars() -> None:
    """Median 0.3, 90th percentile 0.5 to 0.85 cents: quantiles of the prior, by scipy."""
    from scipy import stats

    variance = stats.invgamma(1.5, scale=1.5 * PLUCK_SCATTER_CENTS**2)
    assert math.sqrt(variance.median()) == pytest.approx(0.3, abs=0.02)
    assert 0.5 < math.sqrt(variance.ppf(0.9)) < 0.85
    assert Scatter(PLUCK_SCATTER_CENTS, 3).coverage == pytest.approx(3.182, abs=1e-3)  # t table
