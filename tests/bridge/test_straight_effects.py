"""Where a saddle's effect is a straight line, a bridge's setting can be worked out by hand.

Two cents a millimetre here; the best place, its interval and its reach are closed forms then.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from analyzer.bridge import least_worst
from analyzer.bridge.effect import (
    FURTHEST_MOVE_MM,
    LengthEffect,
    saddle_move_mm,
    saddle_move_uncertainty_mm,
)
from analyzer.bridge.least_worst import (
    exact_reach_mm,
    least_worst_mm,
    rough_reach_mm,
    settings_uncertainty_mm,
)
from analyzer.bridge.problem import Need, Problem, parts_of
from analyzer.bridge.setting import PartSetting, set_bridge
from analyzer.bridge.steps import move_of_turns_mm, steps_of
from analyzer.instrument.model import Adjuster, Screw, Steps


class Straight:
    def change_cents(self, move_mm) -> np.ndarray:
        return -2.0 * np.asarray(move_mm)

    def slope_cents_per_mm(self, move_mm) -> np.ndarray:
        return np.full_like(np.asarray(move_mm, dtype=float), -2.0)


def problem(errors, uncertainties, shares, travel_mm: float = 50.0) -> Problem:
    shares = np.array(shares, dtype=float)
    strings = tuple(range(len(errors), 0, -1))
    needs = tuple(Need(e, Straight(), u) for e, u in zip(errors, uncertainties, strict=True))
    adjusters = tuple(Adjuster(f"a{j}", {}) for j in range(shares.shape[1]))
    far = np.full(shares.shape[1], travel_mm)
    return Problem(strings, needs, adjusters, shares, -far, far)


# Two strings 5 and -5 cents off on one adjuster can only stay so. That leaves the other adjuster to
# the least squares of its own two strings, of which one is known to a cent and one to four: the
# second counts 1 / (1 + 3) of the first, squared.
PAIRS = problem((5, -5, 1, 3), (1, 1, 1, 4), [(1, 0), (1, 0), (0, 1), (0, 1)])
SIXTEENTH = 1 / 16


def test_least_squares_in_the_room_that_the_worst_leaves() -> None:
    mean_cents = (1 + 3 * SIXTEENTH) / (1 + SIXTEENTH)
    assert least_worst_mm(PAIRS) == pytest.approx([0, mean_cents / 2], abs=1e-5)


def test_interval_in_the_room_that_the_worst_leaves() -> None:
    """Of the mean of two, 1 cent each; and of the weighted mean, 1 and 4 cents."""
    expected = math.hypot(1, 1) / 2 / 2, math.hypot(1, 4 * SIXTEENTH) / (1 + SIXTEENTH) / 2
    told = settings_uncertainty_mm(PAIRS, least_worst_mm(PAIRS))
    assert told == pytest.approx(expected, rel=1e-4)


@pytest.mark.parametrize("middle", [4, 9.2])
def test_interval_of_three_on_a_saddle_is_that_of_the_two_worst(middle) -> None:
    """The third is far better off than these, or by 0.8 cents, which is enough."""
    three = problem((0, middle, 10), (0.6, 0.5, 0.8), [(1,), (1,), (1,)])
    assert least_worst_mm(three) == pytest.approx([2.5], abs=1e-5)
    told = settings_uncertainty_mm(three, np.array([2.5]))
    assert told == pytest.approx([math.hypot(0.6, 0.8) / 2 / 2])


def test_interval_where_the_worst_is_a_string_in_doubt() -> None:
    """0 and 20 cents, the second known to 5: both are 8 beyond doubt at 4 mm, and lead alike."""
    two = problem((0, 20), (0.5, 5.0), [(1,), (1,)])
    assert least_worst_mm(two) == pytest.approx([4.0], abs=1e-5)
    told = settings_uncertainty_mm(two, np.array([4.0]))
    assert told == pytest.approx([math.hypot(0.5, 5.0) / 2 / 2])


@pytest.mark.parametrize(("error", "half_width_mm"), [(0.8, 0.15), (9.0, 0), (-9.0, 0)])
def test_a_setting_at_its_limit_stays_there(error, half_width_mm) -> None:
    one = problem((error,), (0.3,), [(1,)], travel_mm=0.5)
    setting = least_worst_mm(one)
    assert setting == pytest.approx([np.clip(error / 2, -0.5, 0.5)])
    assert settings_uncertainty_mm(one, setting) == pytest.approx([half_width_mm])


@pytest.mark.parametrize("reach_mm", [exact_reach_mm, rough_reach_mm])
@pytest.mark.parametrize(("uncertainty", "doubt"), [(0.5, 0), (3.0, 2.0)])
def test_reach_of_one_string(reach_mm, uncertainty, doubt) -> None:
    """|r| - d <= 1.5 is |x - 2| <= (1.5 + d) / 2."""
    one = problem((4.0,), (uncertainty,), [(1,)])
    low, high = reach_mm(one, np.array([2.0]), 1.5)
    assert (low[0], high[0]) == pytest.approx((2 - (1.5 + doubt) / 2, 2 + (1.5 + doubt) / 2))


def test_rough_reach_of_two_is_never_less_than_the_exact_one() -> None:
    rng = np.random.default_rng(3)
    for _ in range(40):
        two = problem(rng.uniform(-6, 6, 3), rng.uniform(0, 3, 3), rng.uniform(0, 1, (3, 2)))
        best = least_worst_mm(two)
        worst = float(two.worst_cents(two.residuals_cents(best))) + rng.uniform(0.05, 1)
        (low, high), (lower, higher) = (
            reach_mm(two, best, worst) for reach_mm in (exact_reach_mm, rough_reach_mm)
        )
        assert np.all(lower <= low + 1e-6)
        assert np.all(higher >= high - 1e-6)


def test_rough_reach_has_no_end_where_adjusters_undo_each_other() -> None:
    low, high = rough_reach_mm(problem((4,), (0,), [(1, -1)]), np.array([1.0, -1.0]), 0.5)
    assert np.all(np.isneginf(low))
    assert np.all(np.isposinf(high))


def test_where_rounding_leaves_no_room_the_corner_itself_is_taken(monkeypatch) -> None:
    monkeypatch.setattr(least_worst, "least_squares_within", lambda *_: None)
    assert least_worst_mm(problem((3, -1), (0, 0), [(1, 0), (0, 1)])) == pytest.approx([1.5, -0.5])


def test_squares_count_a_string_by_how_well_it_is_known() -> None:
    """Known to 0.5 and to 3 cents: 2^2 + (6 / 3)^2."""
    two = problem((2, 6), (0.5, 3.0), [(1,), (1,)])
    assert two.squares(np.array([2.0, 6.0])) == pytest.approx(8)
    assert two.worst_cents(np.array([2.0, -6.0])) == pytest.approx(4)  # beyond doubt


def test_parts_keep_the_order_of_the_bridge() -> None:
    first, other, third = (Adjuster(n, dict.fromkeys(s, 1.0)) for n, s in
                           (("a", (1, 2)), ("b", (3,)), ("c", (2, 4))))  # fmt: skip
    assert list(parts_of((first, other, third))) == [([1, 2, 4], [first, third]), ([3], [other])]


def test_no_move_is_longer_than_the_bracket() -> None:
    """60 mm of 650 are some 140 cents."""
    effect = LengthEffect(650.0)
    assert saddle_move_mm(200.0, effect) == FURTHEST_MOVE_MM
    assert saddle_move_mm(-200.0, effect) == -FURTHEST_MOVE_MM
    for move_mm in (59.8, -59.8):
        error_cents = -1200 * math.log2((650 + move_mm) / (650 + 2 * move_mm))
        assert saddle_move_mm(error_cents, effect) == pytest.approx(move_mm)
    for move_mm in (60.2, -60.2):
        error_cents = -1200 * math.log2((650 + move_mm) / (650 + 2 * move_mm))
        assert saddle_move_mm(error_cents, effect) == math.copysign(FURTHEST_MOVE_MM, move_mm)


def test_half_width_of_a_move_is_that_of_the_error() -> None:
    """650 mm * 0.4 cents * ln 2 / 1200."""
    told_mm = saddle_move_uncertainty_mm(3.0, 0.4, LengthEffect(650.0))
    assert told_mm == pytest.approx(650 * 0.4 * math.log(2) / 1200, rel=0.02)
    assert saddle_move_uncertainty_mm(3.0, 0.4, Straight()) == pytest.approx(0.2)


def one_saddle(error: float, step_mm: float | None = None) -> PartSetting:
    """With half a millimetre of travel either way."""
    adjuster = Adjuster("saddle 1", {1: 1.0}, None, (0.5, 0.5), Steps(step_mm))
    return set_bridge([adjuster], {1: Need(error, Straight(), 0.1)})[0]


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(
    ("wanted_mm", "step_mm", "short_mm"),
    [(0.7, None, 0.2), (0.54, None, 0), (0.65, 0.4, 0), (0.75, 0.4, 0.25), (0.3, 0.1, 0)],
)
def test_shortfall_is_what_lies_beyond_the_travel(wanted_mm, step_mm, short_mm, sign) -> None:
    """Less than 0.05 mm, or than half a step, is nothing."""
    part = one_saddle(sign * 2 * wanted_mm, step_mm)
    assert part.short_by_mm(0) == pytest.approx(sign * short_mm, abs=1e-6)
    way = "away from the nut" if sign > 0 else "toward the nut"
    assert not short_mm or way in str(part.reason(0))


def test_a_place_nearer_than_any_step_is_left() -> None:
    """0.15 mm away, of which a step of 0.4 mm would make 0.25."""
    part = one_saddle(0.3, 0.4)
    assert part.settings_mm[0] == 0
    assert part.reason(0) == "the best place is 0.15 mm away, and no step of 0.4 mm is better"


def test_a_string_alone_is_set_however_little_it_gains() -> None:
    """Nobody else has to be slackened for it."""
    adjuster = Adjuster("saddle 1", {1: 1.0})
    (part,) = set_bridge([adjuster], {1: Need(0.2, Straight(), 0.02)}, worth_cents=0.25)
    assert part.settings_mm == pytest.approx([0.1])


def test_gain_is_what_the_worst_error_falls_by() -> None:
    needs = {2: Need(5.0, Straight(), 0.1), 1: Need(-3.0, Straight(), 0.1)}
    (part,) = set_bridge([Adjuster("saddle 2-1", {2: 1.0, 1: 1.0})], needs)
    assert part.gain_cents == pytest.approx(1.0)


def test_a_move_in_doubt_is_spared_though_others_stay_far_off() -> None:
    """Strings 3 and 2 end 5 and -5 off; string 1 would gain a tenth of a cent, or lose it."""
    adjusters = [Adjuster("a", {3: 1.0, 2: 1.0}), Adjuster("b", {2: 0.0, 1: 1.0})]
    errors = {3: (6.0, 0.1), 2: (-4.0, 0.1), 1: (0.1, 0.3)}
    (part,) = set_bridge(adjusters, {s: Need(e, Straight(), u) for s, (e, u) in errors.items()})
    assert part.settings_mm == pytest.approx([0.5, 0], abs=1e-5)
    assert part.settings_mm[1] == 0


@pytest.mark.parametrize("sign", [1, -1])
def test_a_move_of_the_largest_step_is_one_step(sign) -> None:
    adjuster = Adjuster("saddle 1", {1: 1.0}, steps=Steps(None, 1.0))
    (step,) = steps_of(
        set_bridge([adjuster], {1: Need(2.0 * sign, Straight(), 0.1)}), {"saddle 1": 0.2}
    )
    assert step.move_mm == pytest.approx(sign)
    assert step.error_cents[1] == pytest.approx(0, abs=1e-6)


def test_turns_back_to_millimetres() -> None:
    screw = Screw(0.5, "tail")  # facing its head at the tail, clockwise draws the saddle there
    assert move_of_turns_mm(1.0, "clockwise", screw) == 0.5
    assert move_of_turns_mm(1.0, "counterclockwise", screw) == -0.5
    assert move_of_turns_mm(0.0, "clockwise", screw) == 0
    assert move_of_turns_mm(3.0, "none", screw) == 0


@pytest.mark.parametrize(("apart", "spared"), [(0.4, True), (0.6, False)])
def test_a_move_in_doubt_is_spared_where_that_costs_a_quarter_of_a_cent(apart, spared) -> None:
    """One adjuster moves both strings, another the first alone: half of what they lie apart.

    Both are known to 0.9 cents, so what they lie apart is in doubt. Without the second adjuster
    either string is left half of it off.
    """
    adjusters = [Adjuster("both", {2: 1.0, 1: 1.0}), Adjuster("one", {2: 1.0})]
    needs = {2: Need(5.0 + apart, Straight(), 0.9), 1: Need(5.0, Straight(), 0.9)}
    (part,) = set_bridge(adjusters, needs)
    assert part.wanted_mm == pytest.approx([2.5, apart / 2], abs=1e-5)
    expected = [2.5 + apart / 4, 0] if spared else [2.5, apart / 2]
    assert part.settings_mm == pytest.approx(expected, abs=1e-5)
