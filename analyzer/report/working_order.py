"""The work at the bridge, part by part in working order, and the manner of it: for every output."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from analyzer.bridge.steps import Step
from analyzer.report.model import AdjusterResult, Report

ORDER = (
    "Largest gain first, one saddle at a time: the other strings keep their load (common practice)."
)
EACH_STEP = "Each step: slacken the string, adjust, retune, pluck and compare."
SHARED = "Strings that share a saddle: slacken and retune them together."
ENDS = (
    "One piece with two adjusters: slacken all its strings a little, take its ends in turn so "
    "that it does not bind, and retune all of them before each check."
)
CAUTION = (
    "Never move a saddle under a string at pitch. Guard the finish, keep eyes clear of strings "
    "under tension. If a screw binds, or a part is loose, lifting or cracked, stop and ask a "
    "qualified repairer; local rules come first."
)
COARSE = (
    "Once the first step of a screw has read as it should, go on, the string still slack, to the "
    "next reading that is given: those in between may be skipped, and small steps end the move "
    "(common practice). If it has not, stop and find out why."
)
FILING = "What is filed away does not come back: stop short, and check more often."


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
    parts = parts_of(report)
    yield f"{ORDER} {EACH_STEP}" if len(parts) > 1 else EACH_STEP
    if any(len(part.adjusters) > 1 for part in parts):
        yield ENDS
    elif any(len(each.strings) > 1 for part in parts for each in part.adjusters):
        yield SHARED
    if any(step.check_may_be_skipped for step in report.steps):
        yield COARSE


def caution(report: Report) -> str:
    """What to heed before anything is moved."""
    filed = any(each.action == "file" and each.move_mm for each in report.adjusters)
    return f"{CAUTION} {FILING}" if filed else CAUTION


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
