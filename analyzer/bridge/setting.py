"""What to set each adjuster of a bridge to, and where it is better left alone.

A move smaller than its own uncertainty is not made: it would as likely harm as help. The others
are then found again without it, unless that would cost a string more than a quarter of a cent,
which is half of what is aimed at. After a first round, strings that hang together are left as they
are where none of them would gain as much: what one gains there another loses, and settings that
are about as good are not worth a round of slackening.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from analyzer.bridge.effect import Array, saddle_move_mm
from analyzer.bridge.least_worst import least_worst_mm, settings_uncertainty_mm
from analyzer.bridge.problem import Need, Problem, parts_of, problem_of
from analyzer.bridge.whole_steps import whole_steps_mm
from analyzer.instrument.model import MOST_COMMON_TRAVEL_MM, Adjuster

_NO_MOVE_MM = 1e-6
NOT_SURE = "is within its own uncertainty"  # the reason of a move that is left for that
SPARED_CENTS = 0.25  # what a move that is spared may cost a string; a choice, see below
_LEAST_SHORTFALL_MM = 0.05  # nobody measures a travel better


@dataclass(frozen=True, eq=False)
class PartSetting:
    """Adjusters that have strings in common, and where they go. Arrays are (m,), mm.

    ``wanted_mm``: the best place without steps; ``held_mm``: the same with what is in doubt left
    alone, from which the steps are found; ``unlimited_mm``: as wanted, without travel.
    ``not_worth_it``: there was something to move, but no string would gain by it.
    """

    problem: Problem
    settings_mm: Array
    uncertainty_mm: Array
    wanted_mm: Array
    held_mm: Array
    unlimited_mm: Array
    not_worth_it: bool

    @cached_property
    def residual_cents(self) -> dict[int, float]:
        """Each string's error afterwards."""
        residuals = self.problem.residuals_cents(self.settings_mm)
        return dict(zip(self.problem.strings, map(float, residuals), strict=True))

    @cached_property
    def gain_cents(self) -> float:
        """By how much the worst error falls."""
        before = np.max(np.abs(self.problem.errors_cents))
        after = np.max(np.abs(self.problem.residuals_cents(self.settings_mm)))
        return float(before - after)

    @cached_property
    def too_far_mm(self) -> dict[int, float]:
        """What strings ask for that no common bridge can give, by string, away from the nut.

        Empty where the travel is known: that is then the limit, and the advice keeps inside it.
        """
        if all(each.travel_mm is not None for each in self.problem.adjusters):
            return {}
        needs = zip(self.problem.strings, self.problem.needs, strict=True)
        return {
            string: saddle_move_mm(need.error_cents, need.effect)
            for string, need in needs
            if _asks_too_much(need)
        }

    def short_by_mm(self, place: int) -> float:
        """How far the best place lies beyond the travel, away from the nut; 0 if nobody can tell.

        What is less than half a step, or than a travel can be measured to, counts as nothing.
        """
        wanted_mm = float(self.unlimited_mm[place])
        short_mm = wanted_mm - min(
            max(wanted_mm, float(self.problem.low_mm[place])), float(self.problem.high_mm[place])
        )
        step_mm = self.problem.adjusters[place].steps.smallest_mm or 0.0
        return short_mm if abs(short_mm) > max(_LEAST_SHORTFALL_MM, step_mm / 2) else 0.0

    def reason(self, place: int) -> str | None:
        """Why an adjuster, by its place, does not go to the best place; None if it nearly does."""
        short_mm = self.short_by_mm(place)
        if short_mm:
            return _shortfall(self, short_mm)
        return None if self.settings_mm[place] else self._reason_to_leave(place)

    def _reason_to_leave(self, place: int) -> str:
        step_mm = self.problem.adjusters[place].steps.smallest_mm
        wanted_mm, unsure_mm = abs(self.wanted_mm[place]), self.uncertainty_mm[place]
        if wanted_mm <= unsure_mm:
            return (
                f"the move, {wanted_mm:.2f} mm, {NOT_SURE}, {unsure_mm:.2f}; "
                "more takes make it surer"
            )
        held_mm = abs(self.held_mm[place])
        if held_mm < _NO_MOVE_MM:
            return "it is where it is best"
        if self.not_worth_it:
            return "no string would gain enough to be worth slackening them again"
        if not step_mm:
            return "it is where it is best"
        return f"the best place is {held_mm:.2f} mm away, and no step of {step_mm:.3g} mm is better"


def _asks_too_much(need: Need) -> bool:
    """Whether the whole travel of a common bridge would leave some of the error."""
    furthest_mm = math.copysign(MOST_COMMON_TRAVEL_MM, need.error_cents)
    left_cents = need.error_cents + float(need.effect.change_cents(furthest_mm))
    return left_cents * need.error_cents > 0


def _shortfall(part: PartSetting, short_mm: float) -> str:
    way = "away from the nut" if short_mm > 0 else "toward the nut"
    errors = part.residual_cents
    worst = max(errors, key=lambda string: abs(errors[string]))
    return (
        f"the travel ends {abs(short_mm):.2f} mm short of the best place, {way}; string {worst} "
        f"would stay {errors[worst]:+.1f} cents off"
    )


def set_bridge(
    adjusters: Sequence[Adjuster],
    needs: Mapping[int, Need],
    factors: Mapping[str, float] | None = None,
    worth_cents: float = 0.0,
) -> list[PartSetting]:
    """The best setting of each part of a bridge all of whose strings are in ``needs``.

    Parts without a need are left out. ``factors`` maps adjusters' names to how strongly they
    answer, against the effects; 1 where there is none. ``worth_cents``: what a string must gain
    for those that hang together with it to be slackened.
    """
    parts = []
    for strings, part in parts_of(adjusters):
        if all(string in needs for string in strings):
            problem = problem_of(strings, part, needs, factors or {})
            parts.append(_set_part(problem, worth_cents))
    return parts


def _set_part(problem: Problem, worth_cents: float) -> PartSetting:
    wanted = least_worst_mm(problem)
    uncertainty = settings_uncertainty_mm(problem, wanted)
    held, best = _left_alone(problem, wanted, uncertainty)
    steps = problem.steps_mm
    settings = best if steps is None else whole_steps_mm(problem.holding(held), best, steps)
    not_worth_it = _gain_cents(problem, settings) < worth_cents
    settings = np.zeros_like(settings) if not_worth_it else settings
    room_mm = np.minimum(wanted - problem.low_mm, problem.high_mm - wanted)
    at_limit = bool(np.min(room_mm) < _NO_MOVE_MM)
    unlimited = least_worst_mm(problem.without_travel()) if at_limit else wanted
    return PartSetting(problem, settings, uncertainty, wanted, best, unlimited, not_worth_it)


def _gain_cents(problem: Problem, settings: Array) -> float:
    """What the string that gains most gains; without an end where nothing is lost or given up."""
    if len(problem.strings) == 1 or not np.any(settings):
        return math.inf
    gains = np.abs(problem.errors_cents) - np.abs(problem.residuals_cents(settings))
    return float(np.max(gains))


def _left_alone(problem: Problem, wanted: Array, uncertainty: Array) -> tuple[list[int], Array]:
    """The adjusters whose moves are in doubt and not made, and the best place without them.

    Where all moves are in doubt, none is made. Where another one is made, the strings are
    slackened anyway, so that one is spared only if that costs next to nothing.
    """
    in_doubt = [place for place in range(wanted.size) if abs(wanted[place]) <= uncertainty[place]]
    if len(in_doubt) == wanted.size:
        return in_doubt, np.zeros_like(wanted)
    held: list[int] = []
    best = wanted
    errors = np.abs(problem.residuals_cents(wanted))
    for place in sorted(in_doubt, key=lambda place: abs(wanted[place])):
        without = least_worst_mm(problem.holding([*held, place]))
        costs = np.abs(problem.residuals_cents(without)) - errors
        if np.max(costs) <= SPARED_CENTS:
            held, best = [*held, place], without
    return held, best
