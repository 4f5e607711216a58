"""What to do at the bridge: from strings' results and what an earlier round taught, to advice."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from analyzer.bridge.effect import SaddleEffect, effects_of
from analyzer.bridge.problem import Need
from analyzer.bridge.response import (
    Agreement,
    Change,
    Moves,
    Response,
    learn,
    prior_response,
)
from analyzer.bridge.setting import SPARED_CENTS, PartSetting, set_bridge
from analyzer.bridge.steps import Step, steps_of
from analyzer.instrument.model import Adjuster, Bridge, Instrument, strings_named
from analyzer.report.bridge_results import BridgeFound
from analyzer.report.model import (
    AdjusterResult,
    OutcomeResult,
    ResponseResult,
    SaddleResult,
    StringResult,
)

_PAID_CENTS = 1.0  # more than a compromise costs a string unnoticed; a choice


@dataclass(frozen=True)
class Done:
    """An earlier round: each string's error before it with its interval, and what was moved.

    ``travel_mm`` and ``moved_mm``, by adjuster, are the travel that the instrument file gave then
    and the moves since it was given. ``told``: what was moved was told, and is not taken to be
    as was advised. ``mended`` names the keys of the instrument file whose
    mending made what had been learned useless.
    """

    file: str
    errors_cents: Mapping[int, tuple[float, float]]
    moves_mm: Mapping[str, float]
    travel_mm: Mapping[str, tuple[float, float] | None]
    moved_mm: Mapping[str, float]
    response: Response
    told: bool
    mended: tuple[str, ...] = ()


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
    doubted: tuple[str, ...] = ()
    moved = dict.fromkeys((each.name for each in bridge.adjusters), 0.0)
    if done is not None:
        response, outcome, agreements = _learned(done, bridge, needs, effects)
        went = {each.name: _went(each, agreements) for each in bridge.adjusters}
        moved = _moved_since_measured_mm(done, bridge, went)
        doubted = tuple(
            name for name, share in went.items() if share != 1 and done.moves_mm.get(name)
        )
    left = tuple(_with_travel_left(each, moved[each.name]) for each in bridge.adjusters)
    worth_cents = SPARED_CENTS if done and any(done.moves_mm.values()) else 0.0
    parts = set_bridge(left, needs, response.factors, worth_cents)
    advised = [each for each in parts if not each.too_far_mm]
    withheld = [each for each in parts if each.too_far_mm]
    found = BridgeFound(replace(bridge, adjusters=left), needs, response, advised, withheld)
    return Adjustment(
        tuple(found.saddle(each) for each in bridge.saddles),
        tuple(found.adjuster(each, moved[each.name]) for each in bridge.adjusters),
        tuple(steps_of(found.parts, response.doubts)),
        _response_result(response),
        outcome,
        (
            *_forgotten(done),
            *_travel_counted(done, moved),
            *_travel_doubted(doubted),
            *_travel_ends(found.parts),
            *(words for each in found.parts for words in _compromise(each)),
        ),
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
) -> tuple[Response, tuple[OutcomeResult, ...], list[Agreement]]:
    changes = {
        string: Change(*done.errors_cents[string], need.error_cents, need.error_uncertainty_cents)
        for string, need in needs.items()
        if string in done.errors_cents
    }
    moves = Moves(bridge.adjusters, done.moves_mm, effects)
    response, agreements = learn(done.response, moves, changes)
    learned = response is not done.response
    return response, tuple(_outcome(each, learned=learned) for each in agreements), agreements


def _went(adjuster: Adjuster, agreements: Sequence[Agreement]) -> int:
    """How an adjuster went, against what was given: 1, or 0 or -1 where all its strings say so."""
    own = [each for each in agreements if each.moved and adjuster.share.get(each.string)]
    if own and all(each.not_moved for each in own):
        return 0
    return -1 if own and all(each.wrong_way for each in own) else 1


def _outcome(found: Agreement, *, learned: bool) -> OutcomeResult:
    return OutcomeResult(
        found.string,
        found.predicted_cents,
        found.predicted_uncertainty_cents,
        found.found_cents,
        found.found_uncertainty_cents,
        found.normalised_difference,
        learned and found.learned_from,
        found.in_words,
    )


def _moved_since_measured_mm(
    done: Done, bridge: Bridge, went: Mapping[str, int]
) -> dict[str, float]:
    """A travel that still stands in the file as it did then was not measured anew."""
    return {
        each.name: done.moved_mm.get(each.name, 0.0)
        + went[each.name] * done.moves_mm.get(each.name, 0.0)
        if each.travel_mm == done.travel_mm.get(each.name)
        else 0.0
        for each in bridge.adjusters
    }


def _with_travel_left(adjuster: Adjuster, moved_mm: float) -> Adjuster:
    if adjuster.travel_mm is None or moved_mm == 0:
        return adjuster
    toward, away = adjuster.travel_mm
    return replace(adjuster, travel_mm=(max(toward + moved_mm, 0.0), max(away - moved_mm, 0.0)))


def _forgotten(done: Done | None) -> Iterator[str]:
    if done is not None and done.mended:
        yield (
            f"{' and '.join(done.mended)} of the instrument file changed since {done.file}: what "
            "had been learned before that round is forgotten, and learned anew from it."
        )


def _travel_counted(done: Done | None, moved: Mapping[str, float]) -> Iterator[str]:
    if done is not None and any(
        moved[name] and travel is not None for name, travel in done.travel_mm.items()
    ):
        yield (
            f"travel_mm is as it was for {done.file}, so the moves since are taken off it. "
            "Where you measure the travel anew, give what is left then."
        )


def _travel_doubted(adjusters: Sequence[str]) -> Iterator[str]:
    if adjusters:
        yield (
            f"What was found says that {', '.join(adjusters)} did not go as given. Measure the "
            "travel that is left, give it as travel_mm, and look before you turn anything further."
        )


def _travel_ends(parts: Sequence[PartSetting]) -> Iterator[str]:
    """What else to look at where the saddle cannot go far enough; common practice of the trade."""
    short = [part for part in parts if any(map(part.short_by_mm, range(part.settings_mm.size)))]
    if short:
        yield (
            "Where a travel ends short of the best place, look at the strings' age and gauge, the "
            "action and the nut before more is asked of the saddle. "
            + _more_room(short[0].problem.adjusters)
        )


def _compromise(part: PartSetting) -> Iterator[str]:
    """Which strings of one piece pay for another: the least worst is not the least of each."""
    before = dict(zip(part.problem.strings, part.problem.errors_cents, strict=True))
    paying = [
        string
        for string, after in part.residual_cents.items()
        if abs(after) > abs(before[string]) + _PAID_CENTS
    ]
    if paying:
        worst = max(before, key=lambda string: abs(before[string]))
        yield (
            f"{strings_named(paying).capitalize()} will be further off than now, so that string "
            f"{worst}, the worst, comes nearer: they share one piece, and the least worst error "
            "over all of them is what it is set for."
        )


def _more_room(adjusters: Sequence[Adjuster]) -> str:
    if adjusters[0].action == "file":
        return "A wider saddle is work for a qualified repairer."
    if len(adjusters) > 1:
        return "Another place for the whole piece is work for a qualified repairer."
    return "A saddle that can be turned round gains some travel."


def _response_result(response: Response) -> ResponseResult:
    return ResponseResult(
        response.rounds,
        response.instrument_factor,
        response.instrument_factor_uncertainty,
        tuple(map(float, response.state)),
        tuple(tuple(map(float, row)) for row in response.covariance),
    )
