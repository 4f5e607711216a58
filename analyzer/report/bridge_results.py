"""What is said of each saddle and each adjuster, read from the setting of a whole bridge."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from analyzer.bridge.problem import Need, parts_of
from analyzer.bridge.response import Moves, Response, predicted_changes_cents
from analyzer.bridge.setting import PartSetting
from analyzer.bridge.steps import Direction, in_working_order, turns_for
from analyzer.instrument.model import MOST_COMMON_TRAVEL_MM, Adjuster, Bridge
from analyzer.report.model import AdjusterResult, SaddleResult


@dataclass(frozen=True)
class BridgeFound:
    """The setting of a whole bridge. Its adjusters have the travel that is left now.

    ``withheld``: parts of which some string asks for more than a bridge can be out of place.
    """

    bridge: Bridge
    needs: Mapping[int, Need]
    response: Response
    parts: Sequence[PartSetting]
    withheld: Sequence[PartSetting] = ()

    def saddle(self, strings: Sequence[int]) -> SaddleResult:
        """The result of the saddle that carries these strings."""
        names = tuple(strings)
        movers = [each for each in self.bridge.adjusters if set(names) & set(each.strings)]
        part = self._part_of(movers[0])
        if part is None:
            return SaddleResult(names, self._why_no_advice(movers[0]))
        places = [part.problem.adjusters.index(each) for each in movers]
        moves = _moves_mm(part, names)
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
        """The result of an adjuster as the instrument file gives it."""
        result = AdjusterResult(
            given.name,
            given.strings,
            given.action,
            dict(given.share),
            self.response.factor(given.name),
            self.response.factor_uncertainty(given.name),
            given.travel_mm,
            moved_mm,
            None if given.screw is None else given.screw.pitch_mm,
            screw_head=None if given.screw is None else given.screw.head,
            smallest_turn=None if given.screw is None else given.screw.smallest_turn,
            smallest_step_mm=given.steps.smallest_mm if given.screw is None else None,
            loose=given.loose,
        )
        adjuster = next(each for each in self.bridge.adjusters if each.name == given.name)
        part = self._part_of(adjuster)
        if part is None:
            return replace(result, reason=self._why_no_advice(adjuster))
        return self._with_effect(_with_advice(result, adjuster, part, self._order(part)))

    def _with_effect(self, result: AdjusterResult) -> AdjusterResult:
        """What it does to each of its strings, with the response learned so far."""
        per_mm = {
            string: float(self.needs[string].effect.slope_cents_per_mm(0.0))
            * share
            * result.response
            for string, share in result.share.items()
        }
        pitch_mm = result.pitch_mm
        per_turn = None if pitch_mm is None else {s: each * pitch_mm for s, each in per_mm.items()}
        return replace(result, cents_per_mm=per_mm, cents_per_turn=per_turn)

    def _part_of(self, adjuster: Adjuster) -> PartSetting | None:
        for part in self.parts:
            if adjuster in part.problem.adjusters:
                return part
        return None

    def _order(self, part: PartSetting) -> int | None:
        """Its place in working order, from 1; None where it stays as it is."""
        return 1 + self._in_order.index(part) if part in self._in_order else None

    @cached_property
    def _in_order(self) -> list[PartSetting]:
        return in_working_order(self.parts)

    def _why_no_advice(self, adjuster: Adjuster) -> str:
        """Why not: of the strings that hang together with it one is not known, or is too far."""
        for part in self.withheld:
            if adjuster in part.problem.adjusters:
                return _too_far(part.too_far_mm)
        near = next(
            strings for strings, part in parts_of(self.bridge.adjusters) if adjuster in part
        )
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


def _too_far(too_far_mm: Mapping[int, float]) -> str:
    string = max(too_far_mm, key=lambda each: abs(too_far_mm[each]))
    return (
        f"String {string} asks for {abs(too_far_mm[string]):.1f} mm, and common bridges travel "
        f"{MOST_COMMON_TRAVEL_MM:g} mm at most: the scale length, the bridge's place, or the "
        "string or fret that was recorded is likely wrong. If all are right, measure the travel "
        "that is left and give it as travel_mm."
    )


def _moves_mm(part: PartSetting, strings: Sequence[int]) -> dict[int, float]:
    """How far the saddle moves under each string, by the geometry."""
    settings = list(zip(part.problem.adjusters, part.settings_mm, strict=True))
    return {
        string: float(sum(move_mm * each.share.get(string, 0.0) for each, move_mm in settings))
        for string in strings
    }


def _with_advice(
    result: AdjusterResult, adjuster: Adjuster, part: PartSetting, order: int | None
) -> AdjusterResult:
    place = part.problem.adjusters.index(adjuster)
    move_mm = float(part.settings_mm[place])
    turns, direction = _turned(adjuster, move_mm)
    reason = part.reason(place)
    return replace(
        result,
        reason=_sentence(reason) if reason else None,
        order=order if move_mm else None,
        move_mm=move_mm,
        move_uncertainty_mm=float(part.uncertainty_mm[place]),
        turns=turns,
        direction=direction,
    )


def _turned(adjuster: Adjuster, move_mm: float) -> tuple[float | None, Direction | None]:
    return (None, None) if adjuster.screw is None else turns_for(move_mm, adjuster.screw)


def _sentence(text: str) -> str:
    return text[0].upper() + text[1:].rstrip(".") + "."
