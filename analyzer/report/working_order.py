"""The work at the bridge, part by part in working order, and the manner of it: for every output."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from analyzer.bridge.response import WRONG_WAY
from analyzer.bridge.steps import Step
from analyzer.report.model import AdjusterResult, Report

ORDER = (
    "Largest gain first, one saddle at a time: the other strings keep their load (common practice)."
)
EACH_STEP = "Each step: slacken the string, adjust, retune, pluck and compare."
EACH_STEP_SHARED = "Each step: slacken its strings, adjust, retune, pluck and compare."
EACH_STEP_LOOSE = "Each step: ease the strings, move the bridge, retune, pluck and compare."
SHARED = "Strings that share a saddle: slacken and retune them together."
ENDS = (
    "One piece with two adjusters: slacken all its strings a little, keep to the order of the "
    "steps, which go from end to end so that it does not bind, and retune all before each check."
)
_AT_PITCH = "Never move a saddle under a string at pitch."
_AT_PITCH_LOOSE = "Never move the bridge while its strings are at pitch."
CAUTION = (
    "Guard the finish, keep eyes clear of strings "
    "under tension. If a screw binds, or a part is loose, lifting or cracked, stop and ask a "
    "qualified repairer; local rules come first."
)
LOOSE = (
    "Only its strings hold this bridge: ease them a little, one after another, so that all still "
    "press on it; then see that it stands upright, and retune all of them before each check."
)
FACING = "Clockwise is as seen facing the head of the screw."
COARSE = (
    "Once the first step of a screw has read as it should, slacken again, turn on to the next "
    "reading that is given, and only then retune and compare: those in between may be "
    "skipped, and small steps end the move (common practice). If it has not, stop and find out why."
)
LOOSE_CAUTION = "A bridge that only its strings hold falls: never slacken all of them entirely."
FILING = (
    "What is filed away does not come back: stop short, check more often, and keep the height of "
    "the crown."
)


@dataclass(frozen=True)
class Part:
    """Adjusters that are worked on together, their place in the order, and their steps."""

    order: int | None
    adjusters: tuple[AdjusterResult, ...]
    steps: tuple[Step, ...]


def parts_of(report: Report) -> list[Part]:
    """The parts that move, in working order."""
    moving: dict[int, list[AdjusterResult]] = {}
    for each in report.adjusters:
        if each.order is not None:
            moving.setdefault(each.order, []).append(each)
    return [
        Part(order, tuple(moving[order]), _steps_for(report, moving[order]))
        for order in sorted(moving)
    ]


def _steps_for(report: Report, adjusters: Sequence[AdjusterResult]) -> tuple[Step, ...]:
    names = {each.name for each in adjusters}
    return tuple(step for step in report.steps if step.adjuster in names)


def until_checks(steps: Sequence[Step]) -> list[tuple[Step, ...]]:
    """The steps in order, put together up to each check that is not to be skipped."""
    found: list[list[Step]] = [[]]
    for step in steps:
        found[-1].append(step)
        if not step.check_may_be_skipped:
            found.append([])
    return [tuple(each) for each in found if each]


def manner_of(report: Report) -> Iterator[str]:
    """How the steps are done, in sentences; nothing where there are none."""
    if not report.steps:
        return
    if wrong := wrong_way(report):
        yield f"{wrong} Until you know, do not follow these steps: they take the screws as given."
    parts = parts_of(report)
    loose = _is_loose(report)
    ends = any(len(_together(report, part)) > 1 for part in parts)
    shared = any(len(each.strings) > 1 for part in parts for each in part.adjusters)
    each_step = EACH_STEP_SHARED if ends or shared else EACH_STEP
    each_step = EACH_STEP_LOOSE if loose else each_step
    yield f"{ORDER} {each_step}" if len(parts) > 1 else each_step
    if loose:
        yield LOOSE
    elif ends:
        yield ENDS
    elif shared:
        yield SHARED
    if any(step.check_may_be_skipped for step in report.steps):
        yield COARSE


def wrong_way(report: Report) -> str:
    """What to find out first, where the last round moved strings the wrong way; else nothing."""
    strings = [str(each.string) for each in report.outcome if each.in_words == WRONG_WAY]
    if not strings:
        return ""
    which = f"String {strings[0]}" if len(strings) == 1 else f"Strings {', '.join(strings)}"
    return (
        f"{which} went the wrong way in the last round: find out first which way the screw was "
        "turned, and which end its head faces."
    )


def caution(report: Report) -> str:
    """What to heed before anything is moved."""
    filed = any(each.action == "file" and each.move_mm for each in report.adjusters)
    more = (LOOSE_CAUTION, _is_loose(report)), (FILING, filed)
    first = _AT_PITCH_LOOSE if _is_loose(report) else _AT_PITCH
    return " ".join((first, CAUTION, *(text for text, applies in more if applies)))


def _is_loose(report: Report) -> bool:
    """Whether only strings hold something that moves."""
    return any(each.loose and each.order is not None for each in report.adjusters)


def _together(report: Report, part: Part) -> list[AdjusterResult]:
    """Whatever moves the strings of a part, also what is left as it is."""
    strings = {string for each in part.adjusters for string in each.strings}
    return [each for each in report.adjusters if strings & set(each.strings)]


def errors_after_cents(report: Report, adjuster: AdjusterResult) -> Iterator[tuple[int, float]]:
    """Strings of the part that it is worked on with and their errors then, in bridge order."""
    together = [
        each
        for each in report.adjusters
        if each is adjuster or (each.order is not None and each.order == adjuster.order)
    ]
    strings = {string for each in together for string in each.strings}
    for saddle in report.saddles:
        for string, cents in (saddle.residual_cents or {}).items():
            if string in strings:
                yield string, cents
