"""What is said of a lot, as values: every output of a lot is made from these.

All figures but the gauge study's are of each serial number's last session, its instruments in
the order of time, those without a time last; where time does not tell, by serial number.
Statistics come in the unit of what they are made from, which is cents for every one of them here;
indices and shares have none. Signs are those of the report. What could not be had is None, or a
``NotGiven`` or ``Figure`` with the reason.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from analyzer.lot.judgement.risk import LotRisk
from analyzer.lot.judgement.specification import IN_WORDS, Characteristic, DecisionRule
from analyzer.lot.records import Fault
from analyzer.lot.statistics.figure import Figure, NotGiven
from analyzer.lot.statistics.gauge_anova import GaugeAnova
from analyzer.lot.statistics.gauge_range import GaugeRange
from analyzer.lot.statistics.groups import Group
from analyzer.lot.statistics.pareto import Cause
from analyzer.lot.statistics.trend import Trend
from analyzer.lot.summing.control_model import (
    Charted,
    ChartOf,
    ControlCharts,
    Subgrouping,
    SubgroupOf,
)
from analyzer.lot.summing.judged_model import JudgedString, MeasuringShare, ProcessRisk

# Outputs take every part from here.
__all__ = [
    "Causes",
    "ChartOf",
    "Charted",
    "ControlCharts",
    "Counts",
    "GaugeStudy",
    "GroupTable",
    "GroupedBy",
    "JudgedString",
    "LotSummary",
    "MeasuringShare",
    "MoreTakes",
    "MoreTakesOf",
    "ProcessRisk",
    "Span",
    "StationTrend",
    "SubgroupOf",
    "Subgrouping",
    "Trends",
]

GroupedBy = Literal["station", "operator", "hour", "day"]


@dataclass(frozen=True)
class Counts:
    """How many there are of what.

    ``instruments`` are serial numbers that have a session, and the sum of ``conform``,
    ``not_conform`` and ``not_decided``; ``not_measured`` are those of the last in which something
    that is judged has no value. ``recordings`` and ``left_out`` (of them) are of all sessions.
    ``untimed``: instruments without a time.
    """

    sessions: int
    instruments: int
    conform: int
    not_conform: int
    not_decided: int
    not_measured: int
    faults: int
    recordings: int
    left_out: int
    untimed: int


@dataclass(frozen=True)
class Span:
    """When the first and the last instrument were recorded, as it stood at the station."""

    first: datetime
    last: datetime


@dataclass(frozen=True)
class MoreTakesOf:
    """An instrument that is not decided. ``recordings``: how many more would settle it.

    None where no number of them would, or nobody can say; 0 does not occur.
    """

    serial: str
    station: str
    recordings: int | None


@dataclass(frozen=True)
class MoreTakes:
    """What is to be recorded again. ``recordings`` and ``instruments`` count those that it settles.

    ``unsettled``: instruments that more takes would not settle. ``of``: all of both, in order.
    """

    method: str
    recordings: int
    instruments: int
    unsettled: int
    of: tuple[MoreTakesOf, ...]


@dataclass(frozen=True)
class Causes:
    """Causes by how often they occur; a cause's words have no numbers but that of its string.

    ``not_conform`` and ``not_decided`` are counted in instruments, which may have several causes
    each; ``left_out``, why recordings were, in recordings of all sessions.
    """

    not_conform: tuple[Cause, ...]
    not_decided: tuple[Cause, ...]
    left_out: tuple[Cause, ...]


@dataclass(frozen=True)
class GroupTable:
    """Groups of instruments, in order: each with its moments and the share that conforms.

    The values are the means over an instrument's strings, none where one of its strings has no
    value, and an instrument conforms where all its strings do. With ``characteristic`` None there
    are no moments, and the share is of the instruments' verdicts. By string, see ``JudgedString``.
    """

    by: GroupedBy
    characteristic: Characteristic | None
    groups: tuple[Group, ...]

    @property
    def named(self) -> str:
        """``12th-fret error by station``."""
        what = "all limits" if self.characteristic is None else IN_WORDS[self.characteristic]
        return f"{what} by {self.by}"


@dataclass(frozen=True)
class StationTrend:
    """The line through a station's instruments over time, of the mean over their strings.

    ``words`` is empty where it is not sure.
    """

    station: str
    characteristic: Characteristic
    trend: Trend | NotGiven
    words: str


@dataclass(frozen=True)
class Trends:
    """The trend of each station and characteristic. ``tested`` of them could be had.

    Each interval has ``confidence``, so much above 95 % that all ``tested`` together hold with
    95 % (Bonferroni); ``method`` says so.
    """

    method: str
    tested: int
    confidence: float
    of: tuple[StationTrend, ...]

    @property
    def sure(self) -> tuple[StationTrend, ...]:
        """Those that are sure, however many were looked at."""
        return tuple(each for each in self.of if each.words)


@dataclass(frozen=True)
class GaugeStudy:
    """Measurement system analysis of a characteristic from repeated sessions, by both methods.

    ``string``: the parts are the instruments, by this string. None: the parts are the strings of
    the instruments, so that part to part holds what differs between strings as well.
    ``operators_are`` what ``operator`` stands for in the results. ``unused_parts`` had not two
    values by each of them. ``tolerance_width``: upper limit less lower, None with one limit, or
    where strings differ.
    """

    characteristic: Characteristic
    string: int | None
    parts: int
    unused_parts: int
    operators: tuple[str, ...]
    operators_are: Literal["operators", "stations", "one operator"]
    tolerance_width: float | None
    anova: GaugeAnova | NotGiven
    average_and_range: GaugeRange | NotGiven
    caution: str | None

    @property
    def named(self) -> str:
        """``string 6, 12th-fret error``, or ``all strings, 12th-fret error``."""
        what = "all strings" if self.string is None else f"string {self.string}"
        return f"{what}, {IN_WORDS[self.characteristic]}"


@dataclass(frozen=True)
class LotSummary:
    """All that is said of a lot.

    ``conforming_share``: the yield, of the instruments that were decided. ``risk_method`` names how
    ``risk`` was had. ``judged``: by characteristic, then by string, the highest number first.
    ``gauge``: by characteristic, each string and then all, or why there is no study.
    ``rule_in_words`` has no numbers of one characteristic: those are in ``judged``.
    """

    name: str
    counts: Counts
    span: Span | None
    conforming_share: Figure
    rule: DecisionRule
    rule_in_words: str
    risk: LotRisk
    risk_method: str
    more_takes: MoreTakes
    judged: tuple[JudgedString, ...]
    control: ControlCharts
    causes: Causes
    groups: tuple[GroupTable, ...]
    trends: Trends
    gauge: tuple[GaugeStudy, ...] | NotGiven
    faults: tuple[Fault, ...]
    warnings: tuple[str, ...]

    @property
    def complete(self) -> bool:
        """Whether there was something to judge, nothing was at fault and every value was had.

        An instrument that is not decided though all of it was measured leaves a lot complete: the
        decision rule, not a gap, has left it open.
        """
        counts = self.counts
        whole = not counts.faults and not counts.not_measured and not self.values_missing
        return counts.instruments > 0 and whole

    @property
    def values_missing(self) -> int:
        """How many values that are judged were not had, of whatever instruments."""
        return sum(each.not_measured for each in self.judged)

    @property
    def not_conform(self) -> int:
        """How many instruments do not conform."""
        return self.counts.not_conform
