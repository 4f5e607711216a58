"""Advice as a bench uses it: steps, their order, and what the strings should read after each."""

from __future__ import annotations

import math

import pytest
from made_bridges import own_screws

from analyzer.bridge.response import prior_response
from analyzer.bridge.steps import Step
from analyzer.instrument.model import Adjuster, Bridge, Instrument, Screw, Steps
from analyzer.report.adjustment import Adjustment, Done, adjust
from analyzer.report.model import StringResult

S_MM = 647.7
TUNING = ("E2", "A2", "D3", "G3", "B3", "E4")


def advice(errors, bridge, uncertainty=0.2, done=None) -> Adjustment:
    """``errors`` by string, cents; a string with None has no result."""
    tuning = TUNING[-len(errors) :]
    strings = tuple(
        StringResult(
            string,
            "E2",
            error_cents=error,
            error_uncertainty_cents=None if error is None else uncertainty,
        )
        for string, error in errors.items()
    )
    return adjust(Instrument("x", tuning, (S_MM,) * len(tuning), bridge), strings, done)


def error_then(error: float, moved_mm: float) -> float:
    """From the lengths of an ideal string: S + d open, S/2 + d at the 12th fret."""
    return error + 1200 * math.log2((S_MM + moved_mm) / (S_MM / 2 + moved_mm) / 2)


def test_steps_of_half_a_turn_and_what_each_should_read() -> None:
    found = advice({1: 6.0}, own_screws([[1]], Screw(0.5, "tail", 0.25)))
    assert [step.turns for step in found.steps] == [0.5] * 9
    assert {step.direction for step in found.steps} == {"clockwise"}
    for number, step in enumerate(found.steps, start=1):
        assert step.error_cents[1] == pytest.approx(error_then(6.0, 0.25 * number), abs=1e-9)
    (saddle,) = found.saddles
    assert saddle.turns == 4.5
    assert found.steps[-1].error_cents == pytest.approx(saddle.residual_cents)


@pytest.mark.parametrize(("most", "turns"), [(1.0, [1, 1, 0.75]), (0.6, [0.5] * 5 + [0.25])])
def test_largest_step_is_a_choice(most, turns) -> None:
    bridge = own_screws([[1]], Screw(0.5, "neck", 0.25), max_step_turns=most)
    found = advice({1: -3.6}, bridge)
    assert [step.turns for step in found.steps] == pytest.approx(turns)
    assert {step.direction for step in found.steps} == {"clockwise"}  # head at the neck: shortens


def test_a_long_move_is_coarse_first_and_never_past_its_end_before_a_check() -> None:
    """2.25 mm, known to 0.2 cents, by screws that do what geometry says to 1.96 x 11.2 %.

    (2.25 mm - 0.2 cents / 2.673 cents a mm) / 1.219 = 1.784 mm, which is 3.57 turns: the furthest
    whole half turn that cannot be too far yet is 3.5. It and the first are checked, as is the rest.
    """
    found = advice({1: 6.0}, own_screws([[1]], Screw(0.5, "tail", 0.25)))
    assert sum(step.turns for step in found.steps) == found.saddles[0].turns == 4.5
    checked = [0.5 * n for n, step in enumerate(found.steps, 1) if not step.check_may_be_skipped]
    assert checked == [0.5, 3.5, 4.0, 4.5]


def test_short_moves_and_what_has_no_screw_are_checked_after_each_step() -> None:
    short = advice({1: 2.0}, own_screws([[1]], Screw(0.5, "tail", 0.25)))
    assert [step.turns for step in short.steps] == [0.5, 0.5, 0.5]
    by_hand = advice({1: 12.0}, own_screws([[1]]))
    assert len(by_hand.steps) > 5
    filed = Adjuster("break point 1", {1: 1.0}, None, (5.0, 5.0), Steps(0.1, 0.2), "file")
    away = advice({1: 6.0}, Bridge(((1,),), (filed,)))
    assert len(away.steps) > 5
    for found in (short, by_hand, away):
        assert not any(step.check_may_be_skipped for step in found.steps)


def test_what_was_learned_of_the_screws_lengthens_the_coarse_move() -> None:
    bridge = own_screws([[3], [2], [1]], Screw(0.5, "tail", 0.25))
    moves = {"saddle 3": 2.0, "saddle 2": -2.0, "saddle 1": 2.0}
    errors = {3: 9.0, 2: -9.0, 1: 9.0}
    after = {n: error_then(errors[n], moves[f"saddle {n}"]) for n in errors}
    nowhere, still = dict.fromkeys(moves), dict.fromkeys(moves, 0.0)
    known = {string: (error, 0.05) for string, error in errors.items()}
    done = Done("before", known, moves, nowhere, still, prior_response(bridge.adjusters), told=True)
    new, learned = advice(after, bridge, 0.05), advice(after, bridge, 0.05, done)
    assert len(new.steps) == len(learned.steps)
    skipped = [sum(each.check_may_be_skipped for each in found.steps) for found in (new, learned)]
    assert skipped[0] < skipped[1]


def test_most_to_gain_comes_first_and_pairs_are_read_together() -> None:
    screw = Screw(0.5, "tail", 0.25)
    found = advice({4: 2.0, 3: 3.0, 2: -9.0, 1: -8.0}, own_screws([[4, 3], [2, 1]], screw))
    first = found.steps[0]
    assert (first.adjuster, set(first.error_cents)) == ("saddle 2-1", {2, 1})
    assert {each.name: each.order for each in found.adjusters} == {"saddle 4-3": 2, "saddle 2-1": 1}
    names = [step.adjuster for step in found.steps]
    assert names == sorted(names)  # one saddle is finished before the next


def test_ends_of_one_piece_are_taken_in_turn() -> None:
    from test_best_setting import two_posts

    from analyzer.instrument.model import Bridge

    found = advice({4: 9.0, 3: 8.0, 2: 7.0, 1: 6.0}, Bridge(((4, 3, 2, 1),), tuple(
        two_posts((4, 3, 2, 1)))))  # fmt: skip
    names = [step.adjuster for step in found.steps]
    assert names[:2] == ["bass", "treble"]
    assert set(names[-3:]) == {"bass", "treble"}  # neither is done long before the other
    (saddle,) = found.saddles
    assert (saddle.turns, saddle.direction) == (None, None)
    assert saddle.moves_mm is not None
    assert saddle.move_mm == pytest.approx(sum(saddle.moves_mm.values()) / 4)
    last: dict[int, float] = {}
    for step in found.steps:
        last.update(step.error_cents)
    assert last == pytest.approx(saddle.residual_cents)


def test_ends_that_go_unequally_far_go_in_proportion() -> None:
    """The piece is never further askew than by a step, so that it does not bind on its posts."""
    ends = [
        Adjuster(name, share, Screw(0.5, "tail", 0.25), None, Steps(0.125, 0.25))
        for name, share in (("bass", {2: 1.0}), ("treble", {2: 0.0001, 1: 1.0}))
    ]
    found = advice({2: 12.0, 1: 3.0}, Bridge(((2, 1),), tuple(ends)), uncertainty=0.01)
    whole = {each.name: each.move_mm for each in found.adjusters}
    assert whole["bass"] > 3.5 * whole["treble"]
    done = dict.fromkeys(whole, 0.0)
    for step in found.steps:
        done[step.adjuster] += step.move_mm
        behind = done["bass"] / whole["bass"] - done["treble"] / whole["treble"]
        assert abs(behind) <= 0.25 / whole["treble"] + 1e-9
    assert done == pytest.approx(whole)


def test_what_is_left_alone_says_why_and_has_no_step() -> None:
    bridge = own_screws([[2], [1]], Screw(0.5, "tail", 0.25))
    found = advice({2: 0.1, 1: 6.0}, bridge, uncertainty=0.05)
    left = found.saddles[0]
    assert (left.move_mm, left.turns, left.direction) == (0, 0, "none")
    assert left.reason == "The best place is 0.04 mm away, and no step of 0.125 mm is better."
    assert found.adjusters[0].order is None
    assert {step.adjuster for step in found.steps} == {"saddle 1"}


def test_past_the_travel_says_what_remains_and_where_to_look() -> None:
    bridge = own_screws([[1]], Screw(0.5, "tail", 0.25), travel_mm=(4.0, 1.0))
    found = advice({1: 8.0}, bridge)
    (saddle,) = found.saddles
    assert saddle.move_mm == 1.0
    left, w = error_then(8.0, 1.0), 2 ** (-8.0 / 1200)
    wanted_mm = S_MM * (w - 1) / (1 - 2 * w)  # (S + d) / (S + 2d) = w
    assert saddle.reason == (
        f"The travel ends {wanted_mm - 1.0:.2f} mm short of the best place, "
        f"away from the nut; string 1 would stay {left:+.1f} cents off."
    )
    assert any("age and gauge, the action and the nut" in each for each in found.warnings)


def test_a_string_without_result_stops_only_what_hangs_together_with_it() -> None:
    bridge = own_screws([[4, 3], [2, 1]], Screw(0.5, "tail", 0.25))
    found = advice({4: 5.0, 3: None, 2: 4.0, 1: 4.0}, bridge)
    assert found.saddles[0].move_mm is None
    assert found.saddles[0].reason == "String 3 has no result."
    assert found.adjusters[0].reason == "String 3 has no result."
    assert found.saddles[1].turns == pytest.approx(3.0)


def test_cents_a_turn_are_those_of_the_handbook() -> None:
    """M3, 0.50 mm: 1.3364 cents a turn at 647.7 mm (coarse pitch after ISO 4762 size tables)."""
    found = advice({1: 5.0}, own_screws([[1]], Screw(0.5, "tail", 0.25)))
    assert found.adjusters[0].cents_per_turn == pytest.approx({1: -1.3364}, abs=1e-4)


def test_step_is_a_value() -> None:
    step = Step("saddle 1", 0.25, 0.5, "clockwise", {1: 1.0})
    with pytest.raises(AttributeError):
        step.turns = 1.0
    assert not step.check_may_be_skipped  # unless somebody knows that it may


def test_a_string_that_agrees_by_chance_is_not_said_to_teach() -> None:
    """Nothing was moved, and three were said to be: the small move of string 1 proves nothing."""
    bridge = own_screws([[3], [2], [1]], Screw(0.5, "tail", 0.25))
    moves = {"saddle 3": 3.0, "saddle 2": 2.0, "saddle 1": 0.05}
    errors = {3: 8.0, 2: 5.0, 1: 0.2}
    nowhere = dict.fromkeys(moves)
    still = dict.fromkeys(moves, 0.0)
    known = {string: (error, 0.2) for string, error in errors.items()}
    done = Done("before", known, moves, nowhere, still, prior_response(bridge.adjusters), told=True)
    found = advice(errors, bridge, done=done)
    assert found.response is not None
    assert found.response.rounds == 0
    assert [each.learned_from for each in found.outcome] == [False] * 3


def test_one_piece_that_ends_its_travel_is_not_told_to_be_turned_round() -> None:
    """Its posts stand where they stand; moving them is no bench work."""
    ends = [
        Adjuster(name, share, Screw(0.7, "tail", 0.25), (1.0, 0.5), Steps(0.175, 0.35))
        for name, share in (("bass post", {2: 0.8, 1: 0.2}), ("treble post", {2: 0.2, 1: 0.8}))
    ]
    found = advice({2: 9.0, 1: 8.0}, Bridge(((2, 1),), tuple(ends)))
    said = " ".join(found.warnings)
    assert "Another place for the whole piece is work for a qualified repairer." in said
    assert "turned round" not in said
