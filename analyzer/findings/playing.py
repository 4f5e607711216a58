"""Causes in how the string was stretched and plucked."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from analyzer.findings.model import Finding, StringCase, middle
from analyzer.findings.thresholds import (
    FEWEST_FOR_TREND,
    HARD_GLIDE_CENTS,
    LATE_FALL_CENTS_PER_S,
    TAKES_APART_CENTS,
    TREND_CENTS,
)
from analyzer.music import cents_between
from analyzer.pitch.settle import SettledPitch
from analyzer.recording.labels import OPEN


def not_settled(case: StringCase) -> Iterator[Finding]:
    """The open note moves one way from take to take, or still falls late in each."""
    takes = case.takes.get(OPEN, ())
    seen = []
    if _runs_one_way(takes):
        cents = cents_between(takes[0].settled_hz, takes[-1].settled_hz)
        seen.append(f"its open pitch goes {cents:+.1f} cents over {len(takes)} takes, all one way")
    slope = middle(take.late_slope_cents_per_s for take in takes)
    if slope < -LATE_FALL_CENTS_PER_S:
        seen.append(f"its open note still falls by {-slope:.1f} cents a second in its second half")
    if seen:
        yield Finding(
            "not settled",
            (case.string,),
            " and ".join(seen),
            "Stretch the string, see that it binds neither in the nut nor at its anchor, retune "
            "and record again: it has settled when takes agree.",
        )


def plucked_hard(case: StringCase) -> Iterator[Finding]:
    """Notes that start far sharper than a string in ordinary playing."""
    glides = {
        label: middle(take.glide_cents for take in takes) for label, takes in case.takes.items()
    }
    hard = {label: glide for label, glide in glides.items() if glide > HARD_GLIDE_CENTS}
    if hard:
        heard = " and ".join(f"{label} starts {glide:.0f} cents" for label, glide in hard.items())
        yield Finding(
            "plucked too hard",
            (case.string,),
            f"{heard} sharper than it settles",
            "Pluck with half the force and record again; the start should be a few cents sharp.",
        )


def repeats_scatter(case: StringCase) -> Iterator[Finding]:
    """Takes of one note that lie apart, and not in a row."""
    for label, takes in case.takes.items():
        hertz = [take.settled_hz for take in takes]
        apart = cents_between(min(hertz), max(hertz))
        if apart > TAKES_APART_CENTS and not (label == OPEN and _runs_one_way(takes)):
            yield Finding(
                "repeats scatter",
                (case.string,),
                f"the takes of s{case.string}_{label} lie {apart:.1f} cents apart, and the "
                "interval of every string is the wider for it",
                "Were they recorded before and after a change? Keep each round in a folder of its "
                "own. Else record three takes, with the same force at the same place.",
            )


def _runs_one_way(takes: tuple[SettledPitch, ...]) -> bool:
    if len(takes) < FEWEST_FOR_TREND:
        return False
    steps = [cents_between(one.settled_hz, other.settled_hz) for one, other in pairwise(takes)]
    one_way = all(step > 0 for step in steps) or all(step < 0 for step in steps)
    return one_way and abs(sum(steps)) > TREND_CENTS
