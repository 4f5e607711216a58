"""Causes in the string itself, and in what pulls at it."""

from __future__ import annotations

import math
from collections.abc import Iterator

from analyzer.findings.model import Finding, StringCase, middle
from analyzer.findings.thresholds import (
    BEAT_HZ,
    HARMONIC_CENTS,
    MAGNET_RATIO,
    MISFIT_CENTS,
    MOST_STIFFNESS,
    STIFFNESS_FACTOR,
    STIFFNESS_RATIOS,
    VAGUE_STIFFNESS,
)
from analyzer.recording.labels import OPEN, TWELFTH_FRET

TWO_STRINGS = "open and fretted notes of two strings"


def worn_or_wrong(case: StringCase) -> Iterator[Finding]:
    """The open note, which no fret and no finger disturbs, does not sound like one sound string."""
    seen = [*_rough(case), *_stiffness_of_another(case)]
    if seen:
        yield Finding(
            "worn or wrong string",
            (case.string,),
            " and ".join(seen),
            "Look for dents, rust and loose winding, check its gauge and place, fit a new string "
            "and record again.",
        )


def two_strings(case: StringCase) -> Iterator[Finding]:
    """Stopped at half its length a string has four times the B; another string has another."""
    open_b, fretted_b = _stiffness(case, OPEN), _stiffness(case, TWELFTH_FRET)
    if open_b is None or fretted_b is None:
        return
    ratio = fretted_b[0] / open_b[0], math.hypot(open_b[1], fretted_b[1])
    if _outside(ratio, *STIFFNESS_RATIOS):
        yield Finding(
            TWO_STRINGS,
            (case.string,),
            f"its stiffness at the 12th fret is {ratio[0]:.1f} times that open; on one string it "
            "is about 4 times",
            "See that both recordings bear the right string's name, and record both notes again in "
            "a row. If it stays, the string is uneven along its length: fit a new one.",
        )


def magnet_pull(case: StringCase) -> Iterator[Finding]:
    """The 12th fret is rough where the open string is not: nearer a pickup, if there is one."""
    seen = []
    rough, open_rough = _misfit(case, TWELFTH_FRET), _misfit(case, OPEN)
    if rough > MISFIT_CENTS and rough > MAGNET_RATIO * open_rough:
        seen.append(
            f"its partials disagree by {rough:.1f} cents at the 12th fret, {open_rough:.1f} open"
        )
    beats, open_beats = _beats_hz(case, TWELFTH_FRET), _beats_hz(case, OPEN)
    # What splits a string's planes by so many cents beats twice as fast an octave higher.
    if beats > BEAT_HZ and beats > MAGNET_RATIO * 2 * open_beats:
        against = f", {open_beats:.1f} Hz open" if open_beats else " and not open"
        seen.append(f"it beats at {beats:.1f} Hz at the 12th fret{against}")
    if seen:
        yield Finding(
            "magnet's pull",
            (case.string,),
            " and ".join(seen),
            "Only where a magnetic pickup is near: lower it on this string's side and record both "
            "notes again. If nothing changes, look at the 12th fret and the string instead.",
        )


def uneven_or_retuned(case: StringCase) -> Iterator[Finding]:
    """The harmonic is the open string's second partial, and must lie where the law has it."""
    frets = case.frets
    if frets is None or frets.harmonic_cents is None or frets.harmonic_uncertainty_cents is None:
        return
    off = frets.harmonic_cents - (frets.harmonic_law_cents or 0.0)
    if abs(off) > max(HARMONIC_CENTS, frets.harmonic_uncertainty_cents):
        yield Finding(
            "uneven string, or retuned between takes",
            (case.string,),
            f"the harmonic over the 12th fret lies {off:+.1f} ± "
            f"{frets.harmonic_uncertainty_cents:.1f} cents from where its open note has it",
            "Record open, h12 and f12 in a row without touching the tuning. If it stays, the "
            "string is uneven along its length: fit a new one.",
        )


def _rough(case: StringCase) -> Iterator[str]:
    misfit, beats = _misfit(case, OPEN), _beats_hz(case, OPEN)
    if misfit > MISFIT_CENTS:
        yield f"the partials of its open note disagree by {misfit:.1f} cents with one string"
    if beats > BEAT_HZ:
        yield f"its open note beats at {beats:.1f} Hz"


def _stiffness_of_another(case: StringCase) -> Iterator[str]:
    open_b = _stiffness(case, OPEN)
    if open_b is None:
        return
    if open_b[0] * (1 - open_b[1]) > MOST_STIFFNESS:
        yield f"its stiffness B is {open_b[0]:.1e}, more than an open string's"
    if case.model is not None:
        expected = (math.pi * case.model.string.stiffness) ** 2
        if _outside(open_b, expected / STIFFNESS_FACTOR, expected * STIFFNESS_FACTOR):
            yield f"its stiffness B is {open_b[0]:.1e}, and {expected:.1e} by its data"


def _outside(value: tuple[float, float], low: float, high: float) -> bool:
    """Whether a value with its relative half-width lies wholly outside."""
    return value[0] * (1 + value[1]) < low or value[0] * (1 - value[1]) > high


def _stiffness(case: StringCase, label: str) -> tuple[float, float] | None:
    """Fletcher's B of a note and its relative half-width; None where it is not known well."""
    takes = case.takes.get(label, ())
    known = middle(take.stiffness for take in takes)
    half_width = middle(take.stiffness_uncertainty for take in takes)
    if not known > 0 or not half_width < VAGUE_STIFFNESS * known:
        return None
    return known, half_width / known


def _misfit(case: StringCase, label: str) -> float:
    return middle(take.misfit_cents for take in case.takes.get(label, ()))


def _beats_hz(case: StringCase, label: str) -> float:
    """The middle take's rate; 0 where it does not beat."""
    rates = (take.beat_hz for take in case.takes.get(label, ()))
    return middle(rate if rate > 0 else 0.0 for rate in rates)
