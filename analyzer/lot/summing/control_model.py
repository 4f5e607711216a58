"""What the control charts of a lot show, as values.

Units and signs are those of ``analyzer.lot.summing.summary_model``.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from analyzer.lot.judgement.specification import IN_WORDS, Characteristic, SubgroupBy
from analyzer.lot.statistics.charts import ChartPair
from analyzer.lot.statistics.figure import NotGiven
from analyzer.lot.statistics.run_rules import RunRule, Violation

# What of the strings is charted: one string, or of all strings of an instrument the mean, or the
# largest distance from the target.
Charted = Literal["string", "mean of strings", "farthest string"]


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
