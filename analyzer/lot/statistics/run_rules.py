"""Run rules: patterns on a control chart that chance alone seldom makes.

The first four are the zone tests of the Statistical Quality Control Handbook (Western Electric,
1956), the others the further tests of ISO 7870-2 and of ISO 8258:1991, which it replaced; all from
memory. ``false_alarm`` is how often a rule holds at any one point of a process in control, for
normal independent points and limits known exactly; limits from few points alarm more often. All
four zone tests together alarm once in about 92 points, the limits alone once in 370 (C. W. Champ
and W. H. Woodall, Technometrics 29, 393, 1987; from memory), so each rule more is a choice.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import bdtrc, euler, ndtr

from analyzer.lot.statistics.charts import Chart

Kind = Literal["beyond", "within", "outside", "trend", "alternating"]
Side = Literal["above", "below", "up", "down"]
_Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class RunRule:
    """``needed`` of ``window`` points in a row show the pattern ``kind``.

    "beyond": further than ``sds`` standard deviations from the centre, all to one side; "outside":
    the same on either side; "within": nearer; "trend" and "alternating" are of the steps from point
    to point.
    """

    key: str
    words: str
    kind: Kind
    needed: int
    window: int
    sds: float = 0.0

    @property
    def for_every_chart(self) -> bool:
        """Only the limits serve ranges and s, whose points scatter unevenly about the centre."""
        return self.window == 1

    @property
    def false_alarm(self) -> float:
        """The probability that the rule holds for the ``window`` points that end at a given one."""
        tail, count = float(ndtr(-self.sds)), self.window
        if self.kind == "beyond":
            return 2 * float(bdtrc(self.needed - 1, count, tail))
        if self.kind == "trend":
            return 2 / math.factorial(count)
        if self.kind == "alternating":
            # Orders of an even count that go up and down by turns: the Euler number.
            return 2 * abs(float(euler(count)[-1])) / math.factorial(count)
        return float((2 * tail if self.kind == "outside" else 1 - 2 * tail) ** count)


BEYOND_LIMITS = RunRule("beyond limits", "a point beyond a control limit", "beyond", 1, 1, 3)
TWO_OF_THREE = RunRule(
    "2 of 3", "2 of 3 points in a row beyond 2 sigma on one side", "beyond", 2, 3, 2
)
FOUR_OF_FIVE = RunRule(
    "4 of 5", "4 of 5 points in a row beyond 1 sigma on one side", "beyond", 4, 5, 1
)
EIGHT_ON_ONE_SIDE = RunRule(
    "8 on one side", "8 points in a row on one side of the centre", "beyond", 8, 8
)
SEVEN_ON_ONE_SIDE = RunRule(
    "7 on one side", "7 points in a row on one side of the centre", "beyond", 7, 7
)
NINE_ON_ONE_SIDE = RunRule(
    "9 on one side", "9 points in a row on one side of the centre", "beyond", 9, 9
)
TREND_OF_SIX = RunRule("trend of 6", "6 points in a row all rising or all falling", "trend", 6, 6)
TREND_OF_SEVEN = RunRule("trend of 7", "7 points in a row all rising or all falling", "trend", 7, 7)
ALTERNATING = RunRule(
    "14 alternating", "14 points in a row going up and down by turns", "alternating", 14, 14
)
HUGGING = RunRule(
    "15 within", "15 points in a row within 1 sigma of the centre", "within", 15, 15, 1
)
MIXTURE = RunRule("8 outside", "8 points in a row, none within 1 sigma", "outside", 8, 8, 1)

ZONE_RULES = (BEYOND_LIMITS, TWO_OF_THREE, FOUR_OF_FIVE, EIGHT_ON_ONE_SIDE)
ZONE_TESTS_RUN_LENGTH = 91.75  # points to an alarm of these four by chance (Champ and Woodall)
ALL_RULES = (
    *ZONE_RULES,
    SEVEN_ON_ONE_SIDE,
    NINE_ON_ONE_SIDE,
    TREND_OF_SIX,
    TREND_OF_SEVEN,
    ALTERNATING,
    HUGGING,
    MIXTURE,
)


@dataclass(frozen=True)
class Violation:
    """One pattern: the rule, the places (from 0) and labels of its points, and where it was seen.

    Windows that overlap are one violation. ``seen_at`` is the place at which it was first complete.
    """

    rule: RunRule
    places: tuple[int, ...]
    labels: tuple[str, ...]
    seen_at: int
    side: Side | None

    def in_words(self) -> str:
        """The rule and its points in a line."""
        first, last = self.labels[0], self.labels[-1]
        where = first if len(self.labels) == 1 else f"{first} to {last}"
        return f"{self.rule.words}{f' ({self.side})' if self.side else ''}: {where}"


def violations(chart: Chart, rules: Sequence[RunRule] = ZONE_RULES) -> tuple[Violation, ...]:
    """Every pattern of ``rules`` on a chart, in the order in which they were seen.

    Charts of ranges and s are held to their limits only. A point exactly on the centre is on
    neither side, one exactly on a limit is within it, and equal neighbours end a trend.
    """
    used = [rule for rule in rules if chart.symmetric or rule.for_every_chart]
    found = [each for rule in used for each in _of_rule(chart, rule)]
    return tuple(sorted(found, key=lambda each: (each.seen_at, each.places[0])))


def _of_rule(chart: Chart, rule: RunRule) -> Iterator[Violation]:
    for side, mask, steps in _masks(chart, rule):
        # A pattern of m points is one of m - 1 steps between them.
        window, needed = rule.window - steps, rule.needed - steps
        for seen_at, places in _merged(mask, window, needed):
            whole = (places[0] - 1, *places) if steps else places
            at = [place + steps for place in whole]
            labels = tuple(chart.labels[place] for place in at)
            yield Violation(rule, tuple(at), labels, seen_at + steps, side)


def _masks(chart: Chart, rule: RunRule) -> Iterator[tuple[Side | None, _Mask, int]]:
    """For each side the points (or, with 1, the steps to the next point) that show the pattern."""
    points = np.array(chart.points)
    steps = np.sign(np.diff(points))
    zones = (points - np.array(chart.centres)) / np.array(chart.standard_deviations)
    if rule.kind == "trend":
        yield "up", steps > 0, 1
        yield "down", steps < 0, 1
    elif rule.kind == "alternating":
        turns = np.cumprod(np.full(len(steps), -1.0))
        yield None, steps * turns > 0, 1
        yield None, steps * turns < 0, 1
    elif rule.kind == "beyond":
        yield from _beyond(chart, rule, zones)
    else:
        yield None, (np.abs(zones) > rule.sds) == (rule.kind == "outside"), 0


def _beyond(
    chart: Chart, rule: RunRule, zones: NDArray[np.float64]
) -> Iterator[tuple[Side, _Mask, int]]:
    """The limits themselves bound the first rule: a lower one may have been cut at zero."""
    if rule.for_every_chart:
        points = np.array(chart.points)
        yield "above", points > np.array(chart.upper_limits), 0
        yield "below", points < np.array(chart.lower_limits), 0
    else:
        yield "above", zones > rule.sds, 0
        yield "below", zones < -rule.sds, 0


def _merged(mask: _Mask, window: int, needed: int) -> Iterator[tuple[int, tuple[int, ...]]]:
    """Where enough of a window show the pattern: when first seen, and the places that do."""
    if not len(mask):
        return
    counts = np.convolve(mask.astype(int), np.ones(window, dtype=int))[: len(mask)]
    ends = np.flatnonzero(counts >= needed)
    for group in np.split(ends, np.flatnonzero(np.diff(ends) >= window) + 1):
        if len(group):
            start = max(0, group[0] - window + 1)
            members = start + np.flatnonzero(mask[start : group[-1] + 1])
            yield int(group[0]), tuple(int(place) for place in members)
