"""From takes and results to what the other frets say, and to the causes beside the saddle."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from analyzer.findings.collect import find_causes
from analyzer.findings.model import Finding, Room, StringCase
from analyzer.frets.judge import FretResult, judge_frets
from analyzer.instrument.model import Instrument
from analyzer.measure import Measured
from analyzer.pitch.settle import SettledPitch
from analyzer.report.model import AdjusterResult, StringResult
from analyzer.string_model.of_instrument import modelled
from analyzer.strings import Scatter

Plucks = dict[str, tuple[SettledPitch, ...]]


def frets_of(
    instrument: Instrument, measured: Sequence[Measured], scatter: Scatter
) -> tuple[FretResult, ...]:
    """What the frets beside the 12th say, for each string that has any of them."""
    found = (
        judge_frets(number, plucks, scatter, instrument.scale_length_mm(number))
        for number, plucks in _plucks(instrument, measured).items()
    )
    return tuple(each for each in found if each is not None)


def nut_first(frets: Sequence[FretResult], strings: Sequence[StringResult]) -> list[int]:
    """Strings whose saddle should move, but only after work at the nut."""
    moving = {each.string for each in strings if each.saddle_move_mm}
    return [each.string for each in frets if each.string in moving and each.nut_first]


def findings_of(
    instrument: Instrument,
    measured: Sequence[Measured],
    strings: Sequence[StringResult],
    frets: Sequence[FretResult],
    adjusters: Sequence[AdjusterResult],
) -> tuple[Finding, ...]:
    """The causes that the recordings give evidence of."""
    plucks = _plucks(instrument, measured)
    by_string = {each.string: each for each in frets}
    known_setbacks = instrument.bridge.setback_mm if instrument.bridge else {}
    cases = [
        StringCase(
            each.string,
            plucks[each.string],
            each.saddle_move_mm,
            each.saddle_move_uncertainty_mm,
            by_string.get(each.string),
            modelled(instrument, each.string),
            known_setbacks.get(each.string),
        )
        for each in strings
    ]
    return find_causes(cases, tuple(_rooms(adjusters, strings)))


def _plucks(instrument: Instrument, measured: Sequence[Measured]) -> dict[int, Plucks]:
    """By string and fret's label, in the order of their takes."""
    found: dict[int, dict[str, list[tuple[int, SettledPitch]]]]
    found = {number: {} for number in instrument.strings}
    for each in measured:
        if each.pitch is not None and each.label is not None:
            takes = found[each.label.string].setdefault(each.label.fret, [])
            takes.append((each.label.take, each.pitch))
    return {
        number: {label: _in_order(takes) for label, takes in notes.items()}
        for number, notes in found.items()
    }


def _in_order(takes: Sequence[tuple[int, SettledPitch]]) -> tuple[SettledPitch, ...]:
    return tuple(pitch for _, pitch in sorted(takes, key=lambda take: take[0]))


def _rooms(adjusters: Sequence[AdjusterResult], strings: Sequence[StringResult]) -> Iterator[Room]:
    """What each saddle that moves as a whole is asked for: midway between what its strings ask."""
    wanted: Mapping[int, float | None] = {each.string: each.saddle_move_mm for each in strings}
    for each in adjusters:
        moves = [move for number in each.strings if (move := wanted[number]) is not None]
        if each.travel_mm is None or not moves or set(each.share.values()) != {1.0}:
            continue
        toward_mm, away_mm = each.travel_mm
        yield Room(
            each.strings,
            (min(moves) + max(moves)) / 2,
            toward_mm + each.moved_mm,
            away_mm - each.moved_mm,
        )
