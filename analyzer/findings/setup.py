"""Causes in how the instrument is built and set up: nut, action, travel, scale length."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from analyzer.findings.model import Finding, Room, StringCase
from analyzer.findings.thresholds import COMMON_MOVE_MM, FEWEST_FOR_COMMON_MOVE, SETBACKS_MM
from analyzer.frets.fit import shapes
from analyzer.frets.judge import USUAL_STRETCH_CENTS, FretResult
from analyzer.instrument.model import MOST_COMMON_TRAVEL_MM
from analyzer.string_model.fretting import Setbacks, fret_error_cents
from analyzer.string_model.from_data import Modelled
from analyzer.string_model.setbacks import FIRST_TWELVE

MORE_THAN_A_SADDLE = "more than a saddle can be out of place"


def nut_and_action(case: StringCase) -> Iterator[Finding]:
    """What the frets beside the 12th say of the nut and of the strings' height."""
    frets = case.frets
    if frets is None:
        return
    if "stretch" in frets.cure:
        yield Finding(
            "high nut",
            (case.string,),
            f"fret 1 is {frets.stretch_part_cents:.1f} ± "
            f"{frets.stretch_part_uncertainty_cents:.1f} cents sharper than saddle and nut can "
            f"make up for; up to {USUAL_STRETCH_CENTS:g} is usual",
            "Measure the gap over fret 1, open and with the string held down at fret 3; press no "
            "harder than in playing and record frets 1, 3 and 12 again.",
        )
    if "nut" in frets.cure and (frets.nut_part_cents or 0.0) > 0:
        yield _sharp_alike(case, frets)


def _sharp_alike(case: StringCase, frets: FretResult) -> Finding:
    evidence = (
        f"all its fretted notes are {frets.nut_part_cents:.1f} ± "
        f"{frets.nut_part_uncertainty_cents:.1f} cents sharp alike"
    )
    cause = "high action, or a nut too far from the saddle"
    if case.model is not None and case.model.heights_given:
        by_heights = heights_part_cents(case.model, case.setback_mm or 0.0)
        evidence += f"; the heights in the file account for {by_heights:.1f}"
        left = (frets.nut_part_cents or 0.0) - by_heights
        explained = abs(left) <= (frets.nut_part_uncertainty_cents or 0.0)
        cause = "high action" if explained else "nut too far from the saddle"
    return Finding(
        cause,
        (case.string,),
        evidence,
        "Measure the open string's height over frets 1 and 12, and from the nut's edge to fret 12: "
        "half the scale length.",
    )


def heights_part_cents(model: Modelled, setback_mm: float) -> float:
    """What the string's heights alone, the nut in its place, sharpen every fretted note by."""
    setbacks = Setbacks(setback_mm)
    errors = [fret_error_cents(model.string, fret, setbacks) for fret in FIRST_TWELVE]
    parts = np.linalg.lstsq(shapes(FIRST_TWELVE), np.array(errors), rcond=None)[0]
    return float(parts[1])


def wrong_side_of_travel(room: Room) -> Iterator[Finding]:
    """A saddle that has to go where it has no room, and has room where it need not go."""
    away = room.wanted_mm > 0
    here, there = (
        (room.away_from_nut_mm, room.toward_nut_mm)
        if away
        else (room.toward_nut_mm, room.away_from_nut_mm)
    )
    if abs(room.wanted_mm) <= here or there <= here:
        return
    way, other = ("away from", "toward") if away else ("toward", "away from")
    yield Finding(
        "saddle on the wrong side of its travel",
        room.strings,
        f"it has to go {abs(room.wanted_mm):.1f} mm {way} the nut and has {here:.1f} mm left; "
        f"{there:.1f} mm are left {other} it",
        "Measure from the nut to fret 12 and from there to the saddle: is the saddle the right way "
        "round, and the bridge in its place?",
    )


def further_than_bridges_go(case: StringCase) -> Iterator[Finding]:
    """A string asks for more than the whole travel of any common bridge."""
    move_mm = case.saddle_move_mm
    if move_mm is None or abs(move_mm) <= MOST_COMMON_TRAVEL_MM:
        return
    way = "away from" if move_mm > 0 else "toward"
    yield Finding(
        MORE_THAN_A_SADDLE,
        (case.string,),
        f"it asks for {abs(move_mm):.1f} mm {way} the nut; common bridges travel "
        f"{MOST_COMMON_TRAVEL_MM:g} mm at most",
        "Record both notes again: was it fret 12, on this string, and not retuned between? "
        "Measure from the nut to the crown of fret 12: twice that is the scale length. Is the "
        "bridge in its place?",
    )


def scale_length(cases: Sequence[StringCase]) -> Iterator[Finding]:
    """Every string asks for the same large move, or a saddle would lie where none can be right."""
    moves = {case.string: case.saddle_move_mm for case in cases if case.saddle_move_mm is not None}
    smallest = min(map(abs, moves.values()), default=0.0)
    one_way = len({move > 0 for move in moves.values()}) == 1
    if len(moves) >= FEWEST_FOR_COMMON_MOVE and one_way and smallest > COMMON_MOVE_MM:
        way = "away from" if next(iter(moves.values())) > 0 else "toward"
        yield _scale_finding(
            tuple(moves), f"all of them ask for {smallest:.1f} mm or more {way} the nut"
        )
    for case in cases:
        if case.setback_mm is None or case.saddle_move_mm is None:
            continue
        place_mm = case.setback_mm + case.saddle_move_mm
        if not SETBACKS_MM[0] <= place_mm <= SETBACKS_MM[1]:
            yield _scale_finding(
                (case.string,),
                f"its saddle would lie {place_mm:+.1f} mm from the nominal scale length",
            )


def _scale_finding(strings: tuple[int, ...], evidence: str) -> Finding:
    return Finding(
        "scale length or bridge position",
        strings,
        evidence,
        "Measure from the nut to the crown of fret 12: twice that is the scale length, and the "
        "saddles should lie a few mm beyond it. Was the octave taken at fret 12, with no capo?",
    )
