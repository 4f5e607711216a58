"""The best setting of a bridge, against closed forms and against trying every whole step.

What stands here of lengths is worked out again from the strings' geometry, not with the project's
own functions: open length S + c, at the 12th fret S/2 + c, c the setback.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from made_bridges import SCREW, own_screws, two_posts

from analyzer.bridge.effect import LengthEffect
from analyzer.bridge.problem import Need
from analyzer.bridge.setting import PartSetting, set_bridge
from analyzer.instrument.across import shares_of_ends, shares_of_slant
from analyzer.instrument.model import Adjuster, Screw, Steps

S_MM = 647.7


def need(error: float, uncertainty: float = 0.2, length: float = S_MM, setback: float = 0) -> Need:
    return Need(error, LengthEffect(length, setback), uncertainty)


def error_then(error: float, move_mm: float, length: float = S_MM, setback: float = 0) -> float:
    """From the lengths of an ideal string that is retuned."""

    def sharp(c: float) -> float:
        return 1200 * math.log2((length + c) / (length / 2 + c) / 2)

    return error + sharp(setback + move_mm) - sharp(setback)


@pytest.mark.parametrize("setback", [0.0, 2.5])
@pytest.mark.parametrize("error", [-14.0, -2.0, 3.0, 14.0])
def test_one_string_is_the_closed_form(error, setback) -> None:
    """(S+c+d)/(S+2c+2d) = (S+c)/(S+2c) / 2^(e/1200), solved for d."""
    (part,) = set_bridge(own_screws([[1]]).adjusters, {1: need(error, setback=setback)})
    w = (S_MM + setback) / (S_MM + 2 * setback) / 2 ** (error / 1200)
    move_mm = (w * (S_MM + 2 * setback) - (S_MM + setback)) / (1 - 2 * w)
    assert part.settings_mm[0] == pytest.approx(move_mm, abs=1e-6)
    assert math.copysign(1, part.settings_mm[0]) == math.copysign(1, error)


@pytest.mark.parametrize(("one", "other"), [(6.4, 2.0), (-3.0, 4.6), (-9.0, -8.0), (5.0, -5.0)])
def test_a_pair_splits_the_difference(one, other) -> None:
    """Common practice; both strings have one effect, so the move is that for the mean error."""
    part, *_ = set_bridge(own_screws([[2, 1]]).adjusters, {2: need(one), 1: need(other)})
    w = 0.5 ** ((one + other) / 2 / 1200) if one + other else 1.0
    assert part.settings_mm[0] == pytest.approx((w * S_MM - S_MM) / (1 - 2 * w), abs=1e-6)
    left = part.residual_cents
    assert left[2] == pytest.approx((one - other) / 2, abs=1e-4)
    assert left[1] == pytest.approx((other - one) / 2, abs=1e-4)


def test_three_on_a_saddle_leave_the_middle_one_alone() -> None:
    needs = {3: need(6.0), 2: need(1.0), 1: need(-2.0)}
    (part,) = set_bridge(own_screws([[3, 2, 1]]).adjusters, needs)
    assert part.residual_cents[3] == pytest.approx(4.0, abs=1e-4)
    assert part.residual_cents[1] == pytest.approx(-4.0, abs=1e-4)


@pytest.mark.parametrize("errors", [(5.0, -1.0, 2.0), (-3.0, 4.0, 8.0), (7.0, 7.5, 1.0)])
def test_three_strings_on_two_posts_are_a_line_through_three_points(errors) -> None:
    """The best line misses three evenly spaced values by |a - 2b + c|/4, in turn (Chebyshev).

    Two hundredths of a cent are for the lengths, which do not go quite straight.
    """
    needs = {string: need(error, 0.001) for string, error in zip((3, 2, 1), errors, strict=True)}
    (part,) = set_bridge(two_posts((3, 2, 1)), needs)
    a, b, c = errors
    off = (a - 2 * b + c) / 4
    assert list(part.residual_cents.values()) == pytest.approx([off, -off, off], abs=0.02)


def test_two_strings_on_two_posts_end_at_nought() -> None:
    (part,) = set_bridge(two_posts((2, 1)), {2: need(8.0), 1: need(-5.0)})
    assert part.residual_cents == pytest.approx({2: 0, 1: 0}, abs=1e-4)


def brute_force(adjusters, needs, steps_mm, travel_mm, doubt=0.0) -> tuple[float, float]:
    """Worst error and sum of squares of the best whole-step setting, every one of them tried."""
    counts = [np.arange(-round(t[0] / s), round(t[1] / s) + 1) * s for t, s in zip(
        travel_mm, steps_mm, strict=True)]  # fmt: skip
    found = []
    for setting in itertools.product(*counts):
        errors = []
        for string, each in needs.items():
            moved = sum(
                adjuster.share.get(string, 0) * move
                for adjuster, move in zip(adjusters, setting, strict=True)
            )
            errors.append(error_then(each.error_cents, moved))
        found.append((max(map(abs, errors)) - doubt, sum(e**2 for e in errors)))
    least = min(worst for worst, _ in found)
    return least, min(squares for worst, squares in found if worst <= least + 0.05)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("kind", ["posts", "swivel"])
def test_whole_steps_of_two_adjusters_are_the_best_of_all(kind, seed) -> None:
    rng = np.random.default_rng([seed, 11])
    strings = (5, 4, 3, 2, 1) if kind == "posts" else (3, 2, 1)
    travel = (2.1, 2.8)
    steps = Steps(0.7 / 4, 0.35)
    adjusters = two_posts(strings, travel, steps)
    if kind == "swivel":
        positions = {string: 10.0 * place for place, string in enumerate(strings)}
        share = dict.fromkeys(strings, 1.0)
        adjusters = [
            Adjuster("shift", share, SCREW, travel, steps),
            Adjuster("slant", shares_of_slant(positions), None, travel, steps),
        ]
    needs = {string: need(rng.uniform(-9, 9), 0.01) for string in strings}
    (part,) = set_bridge(adjusters, needs)
    worst, squares = brute_force(adjusters, needs, [0.175] * 2, [travel] * 2)
    left = np.array(list(part.residual_cents.values()))
    assert np.max(np.abs(left)) <= worst + 0.0501
    assert np.sum(left**2) <= squares + 1e-6 or np.max(np.abs(left)) < worst + 1e-6
    counts = part.settings_mm / 0.175
    assert counts == pytest.approx(np.round(counts), abs=1e-9)
    assert np.all(part.settings_mm >= -2.1 - 1e-9)
    assert np.all(part.settings_mm <= 2.8 + 1e-9)
    # the other way round would be worse than doing nothing
    wrong = [error_then(n.error_cents, -m) for n, m in zip(
        needs.values(), part.problem.moves_mm(part.settings_mm), strict=True)]  # fmt: skip
    assert np.max(np.abs(wrong)) > np.max(np.abs(left))


def test_many_adjusters_come_from_an_integer_program(monkeypatch) -> None:
    """Three adjusters that hang together, the box too large to try: against all 9261 settings."""
    from analyzer.bridge import whole_steps

    monkeypatch.setattr(whole_steps, "_MOST_TRIED", 30)
    monkeypatch.setattr(whole_steps, "_FEW", 30)
    travel, steps = (2.0, 2.0), Steps(0.2, 0.4)
    adjusters = [
        Adjuster("a", {4: 1.0, 3: 0.5}, None, travel, steps),
        Adjuster("b", {3: 0.5, 2: 1.0, 1: 0.2}, None, travel, steps),
        Adjuster("c", {1: 0.8, 4: 0.3}, None, travel, steps),
    ]
    needs = {4: need(4.0, 0.01), 3: need(-3.0, 0.01), 2: need(2.5, 0.01), 1: need(-4.5, 0.01)}
    (part,) = set_bridge(adjusters, needs)
    worst, _ = brute_force(adjusters, needs, [0.2] * 3, [travel] * 3)
    assert max(map(abs, part.residual_cents.values())) == pytest.approx(worst, abs=0.02)


def test_a_string_known_badly_does_not_pull_the_others() -> None:
    """Both on one saddle: one is right to 0.2 cents, the other 6 cents off, give or take 7."""
    bridge = own_screws([[2, 1]])
    (equal,) = set_bridge(bridge.adjusters, {2: need(0.5, 0.2), 1: need(6.5, 0.9)})
    assert equal.residual_cents[2] == pytest.approx(-3.0, abs=1e-3)  # both known to a cent: halves
    (unsure,) = set_bridge(bridge.adjusters, {2: need(0.5, 0.2), 1: need(6.5, 7.0)})
    assert abs(unsure.residual_cents[2]) <= 0.5
    (doubtful,) = set_bridge(bridge.adjusters, {2: need(-1.5, 0.2), 1: need(9.5, 3.0)})
    # |r2| = |r1| - 2: halves, but for the two cents by which the interval exceeds one cent
    assert doubtful.residual_cents[2] == pytest.approx(-4.5, abs=0.01)
    assert doubtful.residual_cents[1] == pytest.approx(6.5, abs=0.01)


def test_least_squares_decide_where_the_worst_cannot() -> None:
    """The bass end is at its limit and string 4 stays worst; the rest is set by least squares."""
    share = [{4: 1.0}, {3: 0.5, 4: 1e-3}, {3: 0.5, 2: 1.0, 1: 1.0}]
    adjusters = [
        Adjuster("a", share[0], None, (0.1, 0.1)),
        Adjuster("b", share[1], None, (0.0, 0.5)),
        Adjuster("c", share[2], None, (9.0, 9.0)),
    ]
    needs = {4: need(15.0, 0.01), 3: need(3.0, 0.01), 2: need(4.0, 0.01), 1: need(1.0, 0.01)}
    (part,) = set_bridge(adjusters, needs)
    left = part.residual_cents
    # b goes as far as it may for string 4; then c by the mean of what is left, string 3 at half.
    slope = 1731.234 / S_MM
    three = 3.0 - 0.25 * slope
    by_hand = (0.5 * three + 4.0 + 1.0) / (0.25 + 1 + 1) / slope
    assert part.settings_mm[2] == pytest.approx(by_hand, rel=0.01)
    assert left[4] == pytest.approx(15.0 - 0.1 * slope - 5e-4 * slope, abs=0.01)


def test_uncertainty_of_a_pairs_move_is_that_of_the_mean() -> None:
    (part,) = set_bridge(own_screws([[2, 1]]).adjusters, {2: need(5.0, 0.6), 1: need(2.0, 0.8)})
    half_width_mm = math.hypot(0.6, 0.8) / 2 / (1731.234 / S_MM)
    assert part.uncertainty_mm[0] == pytest.approx(half_width_mm, rel=0.02)


def test_a_move_within_its_uncertainty_is_not_made() -> None:
    bridge = own_screws([[1]], Screw(0.5, "tail", 0.125))
    (part,) = set_bridge(bridge.adjusters, {1: need(0.9, 1.0)})
    assert part.settings_mm[0] == 0
    reason = part.reason(0)
    assert reason == (
        "the move, 0.34 mm, is within its own uncertainty, 0.37; more takes make it surer"
    )
    (sure,) = set_bridge(bridge.adjusters, {1: need(0.9, 0.8)})
    assert sure.settings_mm[0] == pytest.approx(0.3125)  # 0.34 mm in eighths of 0.5 mm


def test_an_end_in_doubt_is_held_and_the_other_one_set_again() -> None:
    adjusters = two_posts((4, 3, 2, 1))
    line = np.array([8.1, 5.9, 4.1, 2.0])  # a line that is nearly nought at the treble post
    needs = dict(zip((4, 3, 2, 1), (need(e, 0.8) for e in line), strict=True))
    (part,) = set_bridge(adjusters, needs)
    assert part.settings_mm[1] == 0
    assert part.settings_mm[0] > 2.0
    reason = part.reason(1)
    assert reason is not None
    assert "within its own uncertainty" in reason


def test_learned_response_scales_the_move() -> None:
    bridge = own_screws([[1]])
    (plain,) = set_bridge(bridge.adjusters, {1: need(8.0)})
    (weak,) = set_bridge(bridge.adjusters, {1: need(8.0)}, {"saddle 1": 0.8})
    assert weak.settings_mm[0] == pytest.approx(plain.settings_mm[0] / 0.8, rel=1e-6)


def test_effect_of_another_model_is_used_as_given() -> None:
    """Any effect with its derivative will do: here a straight 2 cents a millimetre."""

    class Straight:
        def change_cents(self, move_mm: float) -> float:
            return -2.0 * np.asarray(move_mm)

        def slope_cents_per_mm(self, move_mm: float) -> float:
            return np.full_like(np.asarray(move_mm, dtype=float), -2.0)

    (part,) = set_bridge(own_screws([[1]]).adjusters, {1: Need(5.0, Straight(), 0.1)})
    assert part.settings_mm[0] == pytest.approx(2.5)


def test_a_free_end_is_set_though_the_other_end_stands_at_its_limit() -> None:
    """The worst error is that of string 2, which can go no further; string 1 still goes to nought.

    And the free end follows its own string's doubt alone: 0.3 cents over 2.67 cents a mm.
    """
    share = shares_of_ends({2: 0.0, 1: 10.0}, (0.0, 10.0))
    steps = Steps(0.0625, 0.25)
    for errors, place in (({2: 9.0, 1: -4.0}, 1), ({2: -4.0, 1: 9.0}, 0)):
        travels = [(3.0, 1.0), (3.0, 3.0)] if place == 1 else [(3.0, 3.0), (3.0, 1.0)]
        adjusters = [
            Adjuster(name, each, SCREW, travel, steps)
            for name, each, travel in zip(("bass", "treble"), share, travels, strict=True)
        ]
        (part,) = set_bridge(adjusters, {s: need(e, 0.3) for s, e in errors.items()})
        assert part.settings_mm[1 - place] == 1.0
        assert part.settings_mm[place] == pytest.approx(-1.5, abs=0.0626)
        assert part.uncertainty_mm[place] == pytest.approx(0.3 / (1200 / math.log(2) / S_MM), 0.02)
        assert part.uncertainty_mm[1 - place] == 0
        assert abs(part.residual_cents[1 if place == 1 else 2]) < 0.1


def test_uncertainty_of_settings_is_what_noisy_errors_give() -> None:
    """Monte Carlo over the errors of four strings on two posts, one post at its limit."""
    rng = np.random.default_rng(5)
    errors, spread = {4: 9.0, 3: 2.0, 2: -3.0, 1: -4.5}, 0.05
    travels = ((2.0, 0.5), (4.0, 4.0))
    ends = [replace(each, travel_mm=t) for each, t in zip(
        two_posts((4, 3, 2, 1)), travels, strict=True)]  # fmt: skip

    def set_with(noise) -> PartSetting:
        needs = {s: need(e + n, 1.96 * spread) for (s, e), n in zip(
            errors.items(), noise, strict=True)}  # fmt: skip
        return set_bridge(ends, needs)[0]

    wanted = [set_with(rng.normal(0, spread, 4)).wanted_mm for _ in range(300)]
    told = set_with(np.zeros(4)).uncertainty_mm
    assert 1.96 * np.std(wanted, axis=0) == pytest.approx(told, rel=0.15, abs=1e-6)


@pytest.mark.parametrize(("error", "moved"), [(5.4, False), (5.8, True)])
def test_after_a_round_nothing_is_slackened_for_next_to_nothing(error, moved) -> None:
    """Splitting 5.4 and -5.0 gains one string 0.2 cents and costs the other as much."""
    needs = {2: need(error, 0.02), 1: need(-5.0, 0.02)}
    adjusters = own_screws([[2, 1]], SCREW).adjusters
    (part,) = set_bridge(adjusters, needs, worth_cents=0.25)
    assert bool(part.settings_mm[0] > 0) == moved
    if not moved:
        assert part.reason(0) == "no string would gain enough to be worth slackening them again"
    (part,) = set_bridge(adjusters, needs)  # at first, the best is wanted
    assert part.settings_mm[0] > 0
