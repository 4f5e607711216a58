"""What to do at the bridge: from strings' results and what an earlier round taught, to advice."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from analyzer.bridge.effect import SaddleEffect, effects_of
from analyzer.bridge.problem import Need
from analyzer.bridge.response import (
    Change,
    Moves,
    Response,
    learn,
    predicted_changes_cents,
    prior_response,
)
from analyzer.bridge.setting import PartSetting, set_bridge
from analyzer.bridge.steps import Direction, Step, in_working_order, steps_of, turns_for
from analyzer.instrument.model import Adjuster, Bridge, Instrument
from analyzer.report.model import (
    AdjusterResult,
    OutcomeResult,
    ResponseResult,
    SaddleResult,
    StringResult,
)

_COVERAGE = 1.96


@dataclass(frozen=True)
class Done:
    """An earlier round: each string's error before it with its interval, and what was moved.

    ``travel_mm`` and ``moved_mm``, by adjuster, are the travel that the instrument file gave then
    and the moves since it was given.
    """

    file: str
    errors_cents: Mapping[int, tuple[float, float]]
    moves_mm: Mapping[str, float]
    travel_mm: Mapping[str, tuple[float, float] | None]
    moved_mm: Mapping[str, float]
    response: Response


@dataclass(frozen=True)
class Adjustment:
    """All that a report says about the bridge."""

    saddles: tuple[SaddleResult, ...] = ()
    adjusters: tuple[AdjusterResult, ...] = ()
    steps: tuple[Step, ...] = ()
    response: ResponseResult | None = None
    outcome: tuple[OutcomeResult, ...] = ()
    warnings: tuple[str, ...] = ()


def adjust(
    instrument: Instrument, strings: Sequence[StringResult], done: Done | None = None
) -> Adjustment:
    """The advice for an instrument; nothing where it has no bridge or no scale length."""
    bridge, effects = instrument.bridge, effects_of(instrument)
    if bridge is None or not effects:
        return Adjustment()
    needs = dict(_needs(strings, effects))
    response = prior_response(bridge.adjusters)
    outcome: tuple[OutcomeResult, ...] = ()
    moved = dict.fromkeys((each.name for each in bridge.adjusters), 0.0)
    if done is not None:
        response, outcome = _learned(done, bridge, needs, effects)
        moved = _moved_since_measured_mm(done, bridge)
    left = tuple(_with_travel_left(each, moved[each.name]) for each in bridge.adjusters)
    found = _Found(
        replace(bridge, adjusters=left), needs, response, set_bridge(left, needs, response.factors)
    )
    return Adjustment(
        tuple(found.saddle(each) for each in bridge.saddles),
        tuple(found.adjuster(each, moved[each.name]) for each in bridge.adjusters),
        tuple(steps_of(found.parts)),
        _response_result(response),
        outcome,
        (*_travel_counted(done, moved), *_travel_ends(found.parts)),
    )


def _needs(
    strings: Sequence[StringResult], effects: Mapping[int, SaddleEffect]
) -> Iterator[tuple[int, Need]]:
    for each in strings:
        error, uncertainty = each.error_cents, each.error_uncertainty_cents
        if error is not None and uncertainty is not None:
            yield each.string, Need(error, effects[each.string], uncertainty)


def _learned(
    done: Done, bridge: Bridge, needs: Mapping[int, Need], effects: Mapping[int, SaddleEffect]
) -> tuple[Response, tuple[OutcomeResult, ...]]:
    changes = {
        string: Change(*done.errors_cents[string], need.error_cents, need.error_uncertainty_cents)
        for string, need in needs.items()
        if string in done.errors_cents
    }
    moves = Moves(bridge.adjusters, done.moves_mm, effects)
    response, agreements = learn(done.response, moves, changes)
    outcome = tuple(
        OutcomeResult(
            each.string,
            each.predicted_cents,
            each.predicted_uncertainty_cents,
            each.found_cents,
            each.found_uncertainty_cents,
            each.normalised_difference,
            each.learned_from,
            each.in_words,
        )
        for each in agreements
    )
    return response, outcome


def _moved_since_measured_mm(done: Done, bridge: Bridge) -> dict[str, float]:
    """A travel that still stands in the file as it did then was not measured anew."""
    return {
        each.name: done.moved_mm.get(each.name, 0.0) + done.moves_mm.get(each.name, 0.0)
        if each.travel_mm == done.travel_mm.get(each.name)
        else 0.0
        for each in bridge.adjusters
    }


def _with_travel_left(adjuster: Adjuster, moved_mm: float) -> Adjuster:
    if adjuster.travel_mm is None or moved_mm == 0:
        return adjuster
    toward, away = adjuster.travel_mm
    return replace(adjuster, travel_mm=(max(toward + moved_mm, 0.0), max(away - moved_mm, 0.0)))


def _travel_counted(done: Done | None, moved: Mapping[str, float]) -> Iterator[str]:
    if done is not None and any(
        moved[name] and travel is not None for name, travel in done.travel_mm.items()
    ):
        yield (
            f"travel_mm is as it was for {done.file}, so the moves since are taken off it. "
            "Where you measure the travel anew, give what is left then."
        )


def _travel_ends(parts: Sequence[PartSetting]) -> Iterator[str]:
    """What else to look at where the saddle cannot go far enough; common practice of the trade."""
    short = [
        part.problem.adjusters[place]
        for part in parts
        for place in range(len(part.problem.adjusters))
        if part.short_by_mm(place)
    ]
    if short:
        yield (
            "Where a travel ends short of the best place, look at the strings' age and gauge, the "
            "action and the nut before more is asked of the saddle. "
            + (
                "A wider saddle is work for a qualified repairer."
                if short[0].action == "file"
                else "A saddle that can be turned round gains some travel."
            )
        )


def _response_result(response: Response) -> ResponseResult:
    return ResponseResult(
        response.rounds,
        float(1 + response.state[0]),
        float(_COVERAGE * response.covariance[0, 0] ** 0.5),
        tuple(map(float, response.state)),
        tuple(tuple(map(float, row)) for row in response.covariance),
    )


@dataclass(frozen=True)
class _Found:
    """The setting of a whole bridge, from which each saddle's and adjuster's result is read."""

    bridge: Bridge
    needs: Mapping[int, Need]
    response: Response
    parts: Sequence[PartSetting]

    def saddle(self, strings: Sequence[int]) -> SaddleResult:
        names = tuple(strings)
        movers = [each for each in self.bridge.adjusters if set(names) & set(each.strings)]
        part = self._part_of(movers[0])
        if part is None:
            return SaddleResult(names, self._missing(movers[0]))
        places = [part.problem.adjusters.index(each) for each in movers]
        by_place = dict(zip(places, movers, strict=True))
        moves = {
            string: float(
                sum(part.settings_mm[k] * each.share.get(string, 0) for k, each in by_place.items())
            )
            for string in names
        }
        reasons = dict.fromkeys(filter(None, map(part.reason, places)))
        turns, direction = self._turned_as_a_whole(movers, part)
        return SaddleResult(
            names,
            _sentence("; ".join(reasons)) if reasons else None,
            sum(moves.values()) / len(moves),
            turns,
            direction,
            {string: part.residual_cents[string] for string in names},
            self._residual_uncertainty_cents(names),
            moves,
        )

    def adjuster(self, given: Adjuster, moved_mm: float) -> AdjusterResult:
        adjuster = next(each for each in self.bridge.adjusters if each.name == given.name)
        response = self.response.factor(given.name)
        result = AdjusterResult(
            given.name,
            given.strings,
            given.action,
            dict(given.share),
            response,
            self.response.factor_uncertainty(given.name),
            given.travel_mm,
            moved_mm,
        )
        part = self._part_of(adjuster)
        if part is None:
            return replace(result, reason=self._missing(adjuster))
        place = part.problem.adjusters.index(adjuster)
        move_mm = float(part.settings_mm[place])
        turns, direction = _turned(adjuster, move_mm)
        reason = part.reason(place)
        per_mm = {
            string: float(need.effect.slope_cents_per_mm(0.0)) * given.share[string] * response
            for string, need in self.needs.items()
            if string in given.share
        }
        pitch_mm = None if given.screw is None else given.screw.pitch_mm
        return replace(
            result,
            reason=_sentence(reason) if reason else None,
            order=self._order(part) if move_mm else None,
            move_mm=move_mm,
            move_uncertainty_mm=float(part.uncertainty_mm[place]),
            turns=turns,
            direction=direction,
            cents_per_mm=per_mm,
            cents_per_turn=None
            if pitch_mm is None
            else {string: each * pitch_mm for string, each in per_mm.items()},
        )

    def _part_of(self, adjuster: Adjuster) -> PartSetting | None:
        for part in self.parts:
            if adjuster in part.problem.adjusters:
                return part
        return None

    def _order(self, part: PartSetting) -> int:
        return 1 + in_working_order(self.parts).index(part)

    def _missing(self, adjuster: Adjuster) -> str:
        """Why an adjuster has no advice: a string that hangs together with it is not known."""
        near = set(adjuster.strings)
        while True:
            grown = near.union(
                *(each.strings for each in self.bridge.adjusters if near & set(each.strings))
            )
            if grown == near:
                break
            near = grown
        missing = max(string for string in near if string not in self.needs)
        return f"String {missing} has no result."

    def _turned_as_a_whole(
        self, movers: Sequence[Adjuster], part: PartSetting
    ) -> tuple[float | None, Direction | None]:
        (first, *others) = movers
        if others or set(first.share.values()) != {1.0}:
            return None, None
        return _turned(first, float(part.settings_mm[part.problem.adjusters.index(first)]))

    def _residual_uncertainty_cents(self, strings: Sequence[int]) -> dict[int, float]:
        """That of the error now, and that of the change which the move should make."""
        moves_mm = {
            each.name: float(part.settings_mm[place])
            for part in self.parts
            for place, each in enumerate(part.problem.adjusters)
        }
        effects = {string: self.needs[string].effect for string in strings}
        moves = Moves(self.bridge.adjusters, moves_mm, effects)
        predicted = predicted_changes_cents(self.response, moves, strings)
        return {
            string: (self.needs[string].error_uncertainty_cents ** 2 + half_width**2) ** 0.5
            for string, (_, half_width) in predicted.items()
        }


def _turned(adjuster: Adjuster, move_mm: float) -> tuple[float | None, Direction | None]:
    return (None, None) if adjuster.screw is None else turns_for(move_mm, adjuster.screw)


def _sentence(text: str) -> str:
    return text[0].upper() + text[1:].rstrip(".") + "."
