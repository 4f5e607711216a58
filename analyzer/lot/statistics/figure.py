"""What every statistic comes as: a value with its interval and method, or the reason for none."""

from __future__ import annotations

from dataclasses import dataclass

NO_SCATTER = "all values are alike, so there is no scatter to judge by"
CONFIDENCE = 0.95  # of every interval unless the specification says otherwise; JCGM 100:2008, 6.2


@dataclass(frozen=True)
class Figure:
    """One statistic, in the unit of the values it came from (indices and shares have none).

    ``lower`` and ``upper`` bound the two-sided interval of ``confidence`` (0 to 1), made by
    ``interval_method``. ``caution`` says what to mind when reading the value. Where ``value`` is
    None, ``reason`` says why and what would help; without an interval its ``interval_method`` says
    why there is none.
    """

    method: str
    value: float | None = None
    lower: float | None = None
    upper: float | None = None
    confidence: float | None = None
    interval_method: str | None = None
    caution: str | None = None
    reason: str | None = None


@dataclass(frozen=True)
class NotGiven:
    """In place of a chart, a study or an estimate that could not be had: which, and why."""

    method: str
    reason: str
