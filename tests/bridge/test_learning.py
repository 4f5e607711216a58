"""What a round of adjustment teaches: against the conjugate normal, by coverage, and in words."""

from __future__ import annotations

import math

import numpy as np
import pytest
from made_bridges import own_screws

from analyzer.bridge.effect import LengthEffect
from analyzer.bridge.response import (
    OWN_SPREAD,
    SHARED_SPREAD,
    Agreement,
    Change,
    Moves,
    Response,
    learn,
    predicted_changes_cents,
    prior_response,
)
from analyzer.instrument.model import Screw

S_MM = 647.7
STRINGS = (6, 5, 4, 3, 2, 1)
EFFECTS = {string: LengthEffect(S_MM) for string in STRINGS}
ANYWHERE = own_screws([[string] for string in STRINGS]).adjusters
SCREWED = own_screws([[string] for string in STRINGS], Screw(0.5, "tail", 0.25)).adjusters


def change_of_lengths(move_mm: float) -> float:
    return 1200 * math.log2((S_MM + move_mm) / (S_MM / 2 + move_mm) / 2)


def test_one_string_is_the_conjugate_normal() -> None:
    """Textbook: precisions add. A millimetre's effect is so nearly straight that both agree."""
    move_mm, noise = 1.0, 0.1
    straight = change_of_lengths(move_mm)
    found = 0.9 * straight
    change = Change(5.0, 0.0, 5.0 + found, 1.96 * noise)
    response, _ = learn(
        prior_response(ANYWHERE), Moves(ANYWHERE, {"saddle 3": move_mm}, EFFECTS), {3: change}
    )
    prior, data = SHARED_SPREAD**2 + OWN_SPREAD**2, (noise / straight) ** 2
    variance = 1 / (1 / prior + 1 / data)
    assert response.factor("saddle 3") == pytest.approx(1 + variance / data * -0.1, abs=2e-4)
    assert response.factor_uncertainty("saddle 3") == pytest.approx(
        1.96 * math.sqrt(variance), rel=0.01
    )
    # Others learn the common part: regression of s + a_6 on s + a_3.
    pull = SHARED_SPREAD**2 / prior * (response.factor("saddle 3") - 1)
    assert response.factor("saddle 6") == pytest.approx(1 + pull, abs=2e-4)


def test_stronger_than_expected_is_more_than_one() -> None:
    found = 1.15 * change_of_lengths(2.0)
    change = {3: Change(6.0, 0.1, 6.0 + found, 0.1)}
    response, (agreement,) = learn(
        prior_response(ANYWHERE), Moves(ANYWHERE, {"saddle 3": 2.0}, EFFECTS), change
    )
    assert 1.12 < response.factor("saddle 3") < 1.16
    assert agreement.predicted_cents == pytest.approx(change_of_lengths(2.0))
    assert agreement.in_words == "as predicted"  # 15 % is within what is expected beforehand
    assert agreement.normalised_difference < 0  # fell further than predicted


def test_interval_holds_the_true_response_as_often_as_it_says() -> None:
    """900 instruments drawn from the prior: 95 % intervals, so 0.93 to 0.97 of 5400 factors."""
    rng = np.random.default_rng(7)
    held = []
    for _ in range(900):
        true = 1 + rng.normal(0, SHARED_SPREAD) + rng.normal(0, OWN_SPREAD, len(STRINGS))
        moves = {each.name: rng.uniform(-3, 3) for each in ANYWHERE}
        changes = {}
        for string, factor in zip(STRINGS, true, strict=True):
            fell = change_of_lengths(factor * moves[f"saddle {string}"])
            before, after = rng.normal(0, 0.15, 2)
            changes[string] = Change(before, 1.96 * 0.15, fell + after, 1.96 * 0.15)
        response, _ = learn(prior_response(ANYWHERE), Moves(ANYWHERE, moves, EFFECTS), changes)
        held += [
            abs(response.factor(f"saddle {s}") - f) <= response.factor_uncertainty(f"saddle {s}")
            for s, f in zip(STRINGS, true, strict=True)
        ]
    assert 0.93 <= np.mean(held) <= 0.97


def test_a_second_round_carries_on_from_the_first() -> None:
    moves = Moves(SCREWED, {"saddle 3": 1.0}, EFFECTS)
    fell = 0.9 * change_of_lengths(1.0)
    first, _ = learn(prior_response(SCREWED), moves, {3: Change(5.0, 0.3, 5.0 + fell, 0.3)})
    second, _ = learn(first, moves, {3: Change(3.0, 0.3, 3.0 + fell, 0.3)})
    assert second.rounds == 2
    assert second.factor_uncertainty("saddle 3") < first.factor_uncertainty("saddle 3")
    assert abs(second.factor("saddle 3") - 0.9) < abs(first.factor("saddle 3") - 0.9)


def test_a_turn_is_read_to_half_a_step() -> None:
    """The prediction's interval holds the reading: 0.125 mm / sqrt(12) on each string."""
    changes = predicted_changes_cents(
        prior_response(SCREWED), Moves(SCREWED, {"saddle 3": 1.0}, EFFECTS), [3]
    )
    slope = 1731.234 * (1 / 648.7 - 2 / 649.7)
    spread = slope * math.sqrt(SHARED_SPREAD**2 + OWN_SPREAD**2)
    both = math.hypot(spread, slope * 0.125 / math.sqrt(12))
    assert changes[3][1] == pytest.approx(1.96 * both, rel=1e-4)


@pytest.mark.parametrize(
    ("found", "words"),
    [
        (-8.0, "as predicted"),
        (-5.4, "less than predicted"),
        (-11.2, "more than predicted"),
        (0.1, "no change found; was it moved, and are these the later recordings?"),
        (8.0, "the wrong way; check screw_head and the way it was turned"),
        (-3.0, "far less than predicted; check thread and turns"),
        (-14.0, "far more than predicted; check thread and turns"),
    ],
)
def test_agreement_in_words(found, words) -> None:
    agreement = Agreement(3, -8.0, 2.0, found, 0.6)
    assert agreement.in_words == words


def test_normalised_difference_is_that_of_iso_13528() -> None:
    """E_n = (x - X) / sqrt(U_x^2 + U_X^2), the formula recalled."""
    assert Agreement(1, -8.0, 0.3, -7.0, 0.4).normalised_difference == pytest.approx(2.0)


@pytest.mark.parametrize(
    ("found", "words"), [(0.2, "unmoved, and unchanged"), (3.0, "changed though unmoved; was")]
)
def test_a_string_that_was_not_moved(found, words) -> None:
    moves = Moves(SCREWED, {}, EFFECTS)
    response, (agreement,) = learn(
        prior_response(SCREWED), moves, {3: Change(1.0, 0.3, 1.0 + found, 0.3)}
    )
    assert agreement.in_words.startswith(words)
    assert response.rounds == 0


def test_nothing_is_learned_where_most_strings_contradict() -> None:
    """Four of six did not change at all: these recordings are not of what was done."""
    moves = {each.name: 2.0 for each in SCREWED}
    fell = change_of_lengths(2.0)
    changes = {
        string: Change(6.0, 0.3, 6.0 + (fell if string > 4 else 0.0), 0.3) for string in STRINGS
    }
    response, agreements = learn(prior_response(SCREWED), Moves(SCREWED, moves, EFFECTS), changes)
    assert response.rounds == 0
    assert response.factor("saddle 6") == 1
    assert sum(each.learned_from for each in agreements) == 2


def test_one_string_that_contradicts_is_passed_over() -> None:
    moves = {each.name: 2.0 for each in SCREWED}
    fell = 0.9 * change_of_lengths(2.0)
    changes = {
        string: Change(6.0, 0.2, 6.0 + (fell if string != 4 else -fell), 0.2) for string in STRINGS
    }
    response, agreements = learn(prior_response(SCREWED), Moves(SCREWED, moves, EFFECTS), changes)
    assert [each.string for each in agreements if not each.learned_from] == [4]
    assert response.factor("saddle 6") == pytest.approx(0.9, abs=0.01)
    assert response.factor("saddle 4") == pytest.approx(0.9, abs=0.03)  # by the common part


def test_what_the_instrument_shares_is_the_conjugate_normal() -> None:
    """s of s + a_3 seen with noise, beside other adjusters that were not moved: regression."""
    straight, noise = change_of_lengths(1.0), 0.1
    change = Change(5.0, 0.0, 5.0 + 0.8 * straight, 1.96 * noise)
    response, _ = learn(
        prior_response(ANYWHERE), Moves(ANYWHERE, {"saddle 3": 1.0}, EFFECTS), {3: change}
    )
    seen = SHARED_SPREAD**2 + OWN_SPREAD**2 + (noise / straight) ** 2
    pull = SHARED_SPREAD**2 / seen
    assert response.instrument_factor == pytest.approx(1 - 0.2 * pull, abs=5e-4)
    left = SHARED_SPREAD * math.sqrt(1 - pull)
    assert response.instrument_factor_uncertainty == pytest.approx(1.96 * left, rel=0.01)
    assert prior_response(ANYWHERE).instrument_factor_uncertainty == pytest.approx(0.196)


def test_a_reading_in_steps_adds_to_the_noise() -> None:
    """0.125 mm / sqrt(12) of 1 mm, beside the noise of the errors."""
    straight, noise = change_of_lengths(1.0), 0.05
    change = Change(5.0, 0.0, 5.0 + 0.9 * straight, 1.96 * noise)
    response, _ = learn(
        prior_response(SCREWED), Moves(SCREWED, {"saddle 3": 1.0}, EFFECTS), {3: change}
    )
    prior = SHARED_SPREAD**2 + OWN_SPREAD**2
    data = (noise / straight) ** 2 + (0.9 * 0.125 / math.sqrt(12)) ** 2  # 0.9: as it answers
    assert response.factor_uncertainty("saddle 3") == pytest.approx(
        1.96 / math.sqrt(1 / prior + 1 / data), rel=0.02
    )


@pytest.mark.parametrize("move_mm", [1.0, -1.0])
def test_a_reading_counts_by_the_response(move_mm) -> None:
    """Known to answer 1.5 times, a step read wrong is half as much again."""
    names = tuple(each.name for each in SCREWED)
    known = Response(names, np.array([0.5] + [0.0] * 6), np.zeros((7, 7)))
    told = predicted_changes_cents(known, Moves(SCREWED, {"saddle 3": move_mm}, EFFECTS), [3])
    slope = 1731.234 * (1 / (S_MM + 1.5 * move_mm) - 2 / (S_MM + 3 * move_mm))
    assert told[3][0] == pytest.approx(change_of_lengths(1.5 * move_mm))
    assert told[3][1] == pytest.approx(1.96 * 1.5 * abs(slope) * 0.125 / math.sqrt(12), rel=1e-5)


def test_half_of_the_strings_are_enough_to_learn_from() -> None:
    moves = {each.name: 2.0 for each in SCREWED}
    fell = change_of_lengths(2.0)
    changes = {
        string: Change(6.0, 0.3, 6.0 + (fell if string > 3 else 0.0), 0.3) for string in STRINGS
    }
    response, _ = learn(prior_response(SCREWED), Moves(SCREWED, moves, EFFECTS), changes)
    assert response.rounds == 1


@pytest.mark.parametrize(
    ("predicted", "half_width", "found", "found_half_width", "words"),
    [
        (-8.0, 0.3, -7.5, 0.4, "as predicted"),  # E_n of 1: they agree
        # Both a change of -0.2 and none lie within 0.45 of what was found, or the one alone.
        (-0.2, 0.1, -0.4, 0.45, "cannot be told from no change"),
        (-0.2, 0.1, -0.46, 0.45, "as predicted"),
        (0.0, 0.0, 0.3, 0.3, "unmoved, and unchanged"),
        (0.0, 0.0, 0.45, 0.3, "changed though unmoved; was the string, too?"),
        (-8.0, 0.3, 0.6, 0.6, "no change found; was it moved, and are these the later recordings?"),
        (-0.2, 0.1, -1.0, 0.1, "far more than predicted; check thread and turns"),
        (-0.2, 0.05, 0.8, 0.1, "the wrong way; check screw_head and the way it was turned"),
        (-0.3, 0.5, 0.6, 0.33, "the wrong way; check screw_head and the way it was turned"),
        (-0.2, 0.1, 0.4, 0.45, "less than predicted"),  # the other way, but that is not sure
    ],
)
def test_words_at_the_edges(predicted, half_width, found, found_half_width, words) -> None:
    assert Agreement(1, predicted, half_width, found, found_half_width).in_words == words


def test_edges_of_what_is_learned_from_and_of_doubt() -> None:
    assert Agreement(3, -8.0, 0.3, -7.0, 0.4).learned_from  # E_n is 2, as far as it goes
    assert not Agreement(3, -8.0, 0.3, -6.9, 0.4).learned_from
    assert not Agreement(1, -0.3, 1.2, 0.6, 0.5).wrong_way  # the prediction leaves room for it
    assert Agreement(1, -8.0, 0.0, -8.0, 0.0).normalised_difference == 0
    assert not Change(0.0, 0.3, 0.5, 0.4).beyond_doubt
    assert Change(0.0, 0.3, -0.51, 0.4).beyond_doubt
