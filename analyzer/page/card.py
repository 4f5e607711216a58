"""What is done at the bench, step by step, each with a box to tick."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from analyzer.bridge.steps import Direction, Step
from analyzer.page.rounding import signed
from analyzer.report.model import AdjusterResult, Report
from analyzer.report.words import in_one_line, moved, turned
from analyzer.report.working_order import Part, errors_after_cents, manner_of, parts_of

# What fits on one sheet of A4 or Letter below the drawing; beyond it, a box stands for more steps.
MOST_BOXES = 72
_LONG_BOX = 5  # a box of a part with two adjusters takes the room of so many


@dataclass(frozen=True)
class Work:
    """One adjuster: what is done to it in all, and which way a screw is turned."""

    name: str
    advice: str
    move: str | None
    direction: Direction | None
    then: str


@dataclass(frozen=True)
class Stage:
    """Adjusters that are worked on together, and the boxes to tick on the way."""

    order: int
    works: tuple[Work, ...]
    unit: str
    boxes: tuple[str, ...]


@dataclass(frozen=True)
class Card:
    """``every`` is how many steps a box stands for; ``left`` are those that stay as they are."""

    stages: tuple[Stage, ...]
    manner: tuple[str, ...]
    left: tuple[str, ...]
    every: int


def card_of(report: Report) -> Card:
    """The work, in working order."""
    parts = parts_of(report)
    room = sum(len(part.steps) * (1 if len(part.adjusters) == 1 else _LONG_BOX) for part in parts)
    every = max(1, -(-room // MOST_BOXES))
    return Card(
        tuple(_stage(report, part, every) for part in parts),
        tuple(manner_of(report)),
        tuple(_left_alone(report)),
        every,
    )


def _left_alone(report: Report) -> Iterator[str]:
    for each in report.adjusters:
        if each.order is None:
            yield f"{in_one_line(each)}. {each.reason}" if each.reason else in_one_line(each)


def _stage(report: Report, part: Part, every: int) -> Stage:
    alone = len(part.adjusters) == 1
    boxes = _boxes_of_one(part, every) if alone else _boxes_of_several(part, every)
    first = part.steps[0]
    unit = "mm so far" if first.turns is None else "turns so far"
    works = tuple(_work(report, each) for each in part.adjusters)
    return Stage(part.order or 0, works, unit if alone else "", tuple(boxes))


def _work(report: Report, adjuster: AdjusterResult) -> Work:
    after = ", ".join(
        f"string {string} {signed(cents)}" for string, cents in errors_after_cents(report, adjuster)
    )
    move_mm = adjuster.move_mm or 0.0
    if adjuster.turns is None:
        verb = "file " if adjuster.action == "file" else ""
        return Work(adjuster.name, f"{verb}{moved(adjuster, move_mm)}", None, None, after)
    advice = turned(adjuster.turns, adjuster.direction)
    return Work(adjuster.name, advice, moved(adjuster, move_mm), adjuster.direction, after)


def _boxes_of_one(part: Part, every: int) -> Iterator[str]:
    """How far it is in all by then, and what its strings should read, in cents."""
    so_far = 0.0
    for place, step in enumerate(part.steps, 1):
        so_far += abs(step.move_mm) if step.turns is None else step.turns
        if place % every and place < len(part.steps):
            continue
        size = f"{so_far:.2f}" if step.turns is None else f"{so_far:g}"
        yield f"{size}: {' / '.join(signed(each) for each in step.error_cents.values())}"


def _boxes_of_several(part: Part, every: int) -> Iterator[str]:
    """What is done to each by turns, and what the strings should read then."""
    by_name = {each.name: each for each in part.adjusters}
    for start in range(0, len(part.steps), every):
        chunk = part.steps[start : start + every]
        done = "; ".join(
            _done(by_name[name], [each for each in chunk if each.adjuster == name])
            for name in dict.fromkeys(each.adjuster for each in chunk)
        )
        errors = {string: cents for each in chunk for string, cents in each.error_cents.items()}
        readings = ", ".join(f"{string}: {signed(cents)}" for string, cents in errors.items())
        yield f"{done}. Then {readings}"


def _done(adjuster: AdjusterResult, steps: Sequence[Step]) -> str:
    if steps[0].turns is None:
        return f"{adjuster.name} {moved(adjuster, sum(each.move_mm for each in steps))}"
    turns = sum(each.turns or 0.0 for each in steps)
    return f"{adjuster.name} {turned(turns, steps[0].direction)}"
