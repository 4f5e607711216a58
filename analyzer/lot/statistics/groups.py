"""Tables by string, station, operator or time: count, mean, s and yield of each group."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

from analyzer.lot.statistics.figure import CONFIDENCE, Figure
from analyzer.lot.statistics.moments import Moments, moments
from analyzer.lot.statistics.shares import conforming_share

Period = Literal["hour", "day"]
NOT_SAID = "not said"  # the group of rows that name none
# How they are named, which puts them in order as well.
PERIODS: dict[str, str] = {"hour": "%Y-%m-%d %H:00", "day": "%Y-%m-%d"}


@dataclass(frozen=True)
class Group:
    """``moments`` of its values, and the yield of those ``decided`` of its ``rows``."""

    name: str
    moments: Moments
    conforming: Figure
    rows: int
    decided: int


def by_column(
    frame: pd.DataFrame, column: str, value: str, conforms: str, confidence: float = CONFIDENCE
) -> tuple[Group, ...]:
    """A group for each entry of ``column``, in ascending order; rows without one come last.

    ``value`` names a column of numbers, ``conforms`` one of True, False, or a missing value for
    what is not decided, which counts neither way.
    """
    return _groups(frame, frame[column], value, conforms, confidence)


def by_period(
    frame: pd.DataFrame,
    column: str,
    period: Period,
    value: str,
    conforms: str,
    confidence: float = CONFIDENCE,
) -> tuple[Group, ...]:
    """A group for each hour or day that occurs in ``column``, which holds datetimes, in order.

    Hours and days are those of the column's own time zone. Rows without a time come last.
    """
    return _groups(frame, frame[column].dt.strftime(PERIODS[period]), value, conforms, confidence)


def _groups(
    frame: pd.DataFrame, keys: pd.Series, value: str, conforms: str, confidence: float
) -> tuple[Group, ...]:
    found = []
    for key, rows in frame.groupby(keys, sort=True, dropna=False):
        name: str = str(key) if pd.notna(key) else NOT_SAID
        decided = rows[conforms].dropna().astype(bool)
        share = conforming_share(int(decided.sum()), len(decided), confidence)
        values = rows[value].to_numpy(dtype=float, na_value=np.nan)
        found.append(Group(name, moments(values), share, len(rows), len(decided)))
    return tuple(found)
