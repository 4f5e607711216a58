"""What is done at the bench, step by step, each with a box to tick."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from analyzer.bridge.steps import Direction, Step
from analyzer.page.rounding import signed
from analyzer.report.model import AdjusterResult, Report
from analyzer.report.words import in_one_line, moved, turned
from analyzer.report.working_order import (
    Part,
    errors_after_cents,
    manner_of,
    parts_of,
    until_checks,
)

# Lines that fit on a sheet of Letter, the lower of the two, below a drawing of six strings, and how
# many fewer each further string leaves: seen in a browser's print. Beyond them, a box stands for
# more steps than one.
_LINES, _LINES_A_STRING, _FEWEST_LINES = 30.0, 0.7, 18.0
_SIX = 6
_BOXES_A_LINE = 3  # in one of two columns; a box that names its adjusters takes a line
_HEAD_LINES = 2.0  # of a part, with its frame
_HEAD_LINES_WIDE = 3.2  # of one with two adjusters
_COARSE_LINES = 3.0  # of the sentence on checks that may be skipped
_OF = " of "  # a screw's name ends with its saddle's, which stands above the boxes


@dataclass(frozen=True)
class Work:
    """One adjuster: what is done to it in all, and which way a screw is turned."""

    name: str
    advice: str
    move: str | None
    direction: Direction | None
    residual: str


@dataclass(frozen=True)
class Stage:
    """Adjusters that are worked on together, and the boxes to tick on the way."""

    order: int
    works: tuple[Work, ...]
    boxes: tuple[str, ...]


@dataclass(frozen=True)
class Card:
    """``every`` is how many checks a box stands for; ``left`` are those that stay as they are."""

    stages: tuple[Stage, ...]
    manner: tuple[str, ...]
    left: tuple[str, ...]
    every: int

    @property
    def wide(self) -> bool:
        """Whether its boxes hold whole sentences."""
        return any(len(stage.works) > 1 for stage in self.stages)


def card_of(report: Report) -> Card:
    """The work, in working order."""
    parts = parts_of(report)
    every = _checks_a_box(parts, len(report.strings))
    return Card(
        tuple(_stage(report, part, every) for part in parts),
        tuple(manner_of(report)),
        tuple(_left_alone(report)),
        every,
    )


def _checks_a_box(parts: Sequence[Part], strings: int) -> int:
    """How many checks a box must stand for, so that all of them go on one sheet."""
    room = max(_LINES - _LINES_A_STRING * max(strings - _SIX, 0), _FEWEST_LINES)
    if any(step.check_may_be_skipped for part in parts for step in part.steps):
        room -= _COARSE_LINES
    longest = max((len(until_checks(part.steps)) for part in parts), default=1)
    return next((n for n in range(1, longest) if _lines(parts, n) <= room), longest)


def _lines(parts: Sequence[Part], every: int) -> float:
    boxes = [len(list(_chunks(part, every))) for part in parts]
    if any(len(part.adjusters) > 1 for part in parts):
        return sum(boxes) + _HEAD_LINES_WIDE * len(parts)
    columns = sum(_HEAD_LINES + math.ceil(each / _BOXES_A_LINE) for each in boxes)
    return columns / 2


def _left_alone(report: Report) -> Iterator[str]:
    for each in report.adjusters:
        if each.order is None:
            yield f"{in_one_line(each)}. {each.reason}" if each.reason else in_one_line(each)


def _stage(report: Report, part: Part, every: int) -> Stage:
    alone = len(part.adjusters) == 1
    boxes = _boxes_of_one(part, every) if alone else _boxes_of_several(part, every)
    works = tuple(_work(report, each) for each in part.adjusters)
    return Stage(part.order or 0, works, tuple(boxes))


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
    for chunk in _chunks(part, every):
        so_far += sum(abs(step.move_mm) if step.turns is None else step.turns for step in chunk)
        last = chunk[-1]
        size = f"{so_far:.2f}" if last.turns is None else f"{so_far:g}"
        yield f"{size}: {' / '.join(signed(each) for each in last.error_cents.values())}"


def _chunks(part: Part, every: int) -> Iterator[list[Step]]:
    """The steps of each box. A first check that lets others be skipped has a box of its own.

    Not so where several adjusters have to share boxes: each of those takes a line.
    """
    runs = until_checks(part.steps)
    skips, several = len(runs) < len(part.steps), len(part.adjusters) > 1
    own = len(part.adjusters) if skips and not (several and every > 1) else 0
    yield from map(list, runs[:own])
    for start in range(own, len(runs), every):
        yield [step for run in runs[start : start + every] for step in run]


def _boxes_of_several(part: Part, every: int) -> Iterator[str]:
    """What is done to each by turns, and what the strings should read then."""
    by_name = {each.name: each for each in part.adjusters}
    short = _short_names(list(by_name))
    for chunk in _chunks(part, every):
        done = "; ".join(
            _done(short[name], by_name[name], [each for each in chunk if each.adjuster == name])
            for name in dict.fromkeys(each.adjuster for each in chunk)
        )
        errors = {string: cents for each in chunk for string, cents in each.error_cents.items()}
        readings = ", ".join(f"{string}: {signed(cents)}" for string, cents in errors.items())
        yield f"{done}. Then {readings}"


def _short_names(names: Sequence[str]) -> dict[str, str]:
    """Without what stands above the boxes, as long as they can be told apart."""
    short = {name: name.partition(_OF)[0] for name in names}
    return short if len(set(short.values())) == len(names) else dict(zip(names, names, strict=True))


def _done(name: str, adjuster: AdjusterResult, steps: Sequence[Step]) -> str:
    if steps[0].turns is None:
        return f"{name} {moved(adjuster, sum(each.move_mm for each in steps))}"
    turns = sum(each.turns or 0.0 for each in steps)
    return f"{name} {turned(turns, steps[0].direction)}"
