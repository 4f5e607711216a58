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

from analyzer.lot.conformity import GuardBands
from analyzer.lot.records import Fault
from analyzer.lot.risk import GlobalRisk, LotRisk, Process
from analyzer.lot.specification import (
    IN_WORDS,
    Characteristic,
    DecisionRule,
    Limits,
    SubgroupBy,
)
from analyzer.lot.statistics.capability import Capability
from analyzer.lot.statistics.charts import ChartPair
from analyzer.lot.statistics.figure import Figure, NotGiven
from analyzer.lot.statistics.gauge_anova import GaugeAnova
from analyzer.lot.statistics.gauge_range import GaugeRange
from analyzer.lot.statistics.groups import Group
from analyzer.lot.statistics.pareto import Cause
from analyzer.lot.statistics.run_rules import RunRule, Violation
from analyzer.lot.statistics.trend import Trend

# What of the strings is charted: one string, or of all strings of an instrument the mean, or the
# largest distance from the target.
Charted = Literal["string", "mean of strings", "farthest string"]
GroupedBy = Literal["station", "operator", "hour", "day"]


@dataclass(frozen=True)
class Counts:
    """How many there are of what.

    ``instruments`` are serial numbers that have a session, and the sum of ``conforming``,
    ``nonconforming`` and ``undecided``; ``not_measured`` are those of the last in which something
    that is judged has no value. ``recordings`` and ``left_out`` (of them) are of all sessions.
    ``untimed``: instruments without a time.
    """

    sessions: int
    instruments: int
    conforming: int
    nonconforming: int
    undecided: int
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
class MeasuringShare:
    """How much of the scatter from instrument to instrument is the measurement's own.

    ``observed_sd``: of the values, n - 1. ``measuring_sd``: the root mean square of their
    standard uncertainties. ``process_sd``: what is left of the first without the second, 0 where
    nothing is. ``share_percent``: of the observed variance, at most 100. ``capability_index``:
    C_m = T / (4 u) of JCGM 106:2012, 7.6.3, u the median; None without both limits. ``process_pp``:
    Pp as it would be of the process alone.
    """

    method: str
    observed_sd: float
    measuring_sd: float
    process_sd: float
    share_percent: float
    capability_index: float | None
    process_pp: Figure


@dataclass(frozen=True)
class ProcessRisk:
    """What the decision rule makes of all that this process would make (JCGM 106:2012, 9.5)."""

    method: str
    process: Process
    risk: GlobalRisk
    caution: str | None


@dataclass(frozen=True)
class JudgedString:
    """One characteristic of one string over the lot.

    The counts are of instruments that have such a string: their sum is all that were judged, and
    ``not_measured`` are those of ``undecided`` without a value. ``conforming_share`` is of what was
    decided. ``median_uncertainty``: of the standard uncertainties. ``bands``: acceptance and
    rejection limits of a value with that uncertainty and a normal density; those of a value known
    from few takes lie further apart. None where no uncertainty is known.
    """

    characteristic: Characteristic
    string: int
    limits: Limits
    conforming: int
    nonconforming: int
    undecided: int
    not_measured: int
    conforming_share: Figure
    median_uncertainty: float | None
    bands: GuardBands | None
    capability: Capability
    measuring: MeasuringShare | NotGiven
    risk: ProcessRisk | NotGiven

    @property
    def named(self) -> str:
        """``string 6, 12th-fret error``."""
        return f"string {self.string}, {IN_WORDS[self.characteristic]}"


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
class SubgroupOf:
    """A subgroup of instruments as the charts have it; a chart's labels are these labels.

    ``first_serial`` and ``last_serial`` in the order of time. Times are None where none is known.
    """

    label: str
    first_serial: str
    last_serial: str
    first_at: datetime | None
    last_at: datetime | None
    instruments: int


@dataclass(frozen=True)
class Subgrouping:
    """How instruments were put together. ``words`` says it; ``label`` is unique among ``of``.

    ``uncharted`` instruments name no station, operator or time where that makes the subgroups, and
    are on no chart.
    """

    by: SubgroupBy
    words: str
    of: tuple[SubgroupOf, ...]
    uncharted: int


@dataclass(frozen=True)
class ChartOf:
    """The charts of one characteristic of one string, or of all strings (``string`` None).

    ``charts`` has a chart of where the process is and one of its scatter, in cents; its labels are
    those of ``Subgrouping``. A subgroup without a value has no point. ``location_signals`` and
    ``scatter_signals`` are the patterns on the two, in order; the farthest string is held to its
    control limits only, since it scatters unevenly.
    """

    characteristic: Characteristic
    charted: Charted
    string: int | None
    charts: ChartPair | NotGiven
    location_signals: tuple[Violation, ...] = ()
    scatter_signals: tuple[Violation, ...] = ()

    @property
    def named(self) -> str:
        """``string 6, 12th-fret error``, or ``mean of strings, 12th-fret error``."""
        what = self.charted if self.string is None else f"string {self.string}"
        return f"{what}, {IN_WORDS[self.characteristic]}"

    @property
    def signals(self) -> tuple[Violation, ...]:
        """Those of both charts."""
        return (*self.location_signals, *self.scatter_signals)


@dataclass(frozen=True)
class ControlCharts:
    """All charts, by characteristic: each string, then the mean and the farthest of them.

    ``expected_false_alarms``: about how many of the signals, at least, chance alone would give on
    so many points of a process in control, as if every point were normal.
    """

    subgrouping: Subgrouping
    rules: tuple[RunRule, ...]
    charts: tuple[ChartOf, ...]
    expected_false_alarms: float

    @property
    def signals(self) -> int:
        """How many patterns there are on all charts."""
        return sum(len(each.signals) for each in self.charts)


@dataclass(frozen=True)
class Causes:
    """Causes by how often they occur; a cause's words have no numbers but that of its string.

    ``failed``: what does not conform, counted in instruments. ``undecided``: what was left open,
    in instruments. ``left_out``: why recordings were, in recordings of all sessions. An
    instrument may have several causes.
    """

    failed: tuple[Cause, ...]
    undecided: tuple[Cause, ...]
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

    ``words`` is empty where it does not drift for sure.
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
    def drifting(self) -> tuple[StationTrend, ...]:
        """Those that drift for sure, however many were looked at."""
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
        return counts.instruments > 0 and not counts.faults and not counts.not_measured

    @property
    def nonconforming(self) -> int:
        """How many instruments do not conform."""
        return self.counts.nonconforming
