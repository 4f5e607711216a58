"""Causes counted, and tables by string, station, operator and time, worked out by hand."""

from __future__ import annotations

import math

import pandas as pd
import pytest

from analyzer.lot.statistics.groups import by_column, by_period
from analyzer.lot.statistics.pareto import Cause, pareto

ROWS = pd.DataFrame(
    {
        "string": [10, 2, 2, 10, 10],
        "station": ["bench b", "bench a", None, "bench b", "bench a"],
        "time": pd.to_datetime(
            [
                "2031-03-01 23:59",
                "2031-03-01 08:15",
                "2031-03-02 00:00",
                "2031-03-01 08:59",
                None,
            ]
        ),
        "error": [1.0, 2.0, 4.0, math.nan, 3.0],
        "conforms": [True, True, False, None, True],
    }
)


def table(groups) -> list[tuple]:
    return [
        (
            each.name,
            each.moments.count,
            each.moments.missing,
            each.moments.mean,
            each.conforming.value,
        )
        for each in groups
    ]


def test_causes_go_by_count_then_by_name() -> None:
    assert pareto(["hum", "flat", "clipped", "flat", "hum", "flat"]) == (
        Cause("flat", 3, 0.5, 0.5),
        Cause("hum", 2, pytest.approx(1 / 3), pytest.approx(5 / 6)),
        Cause("clipped", 1, pytest.approx(1 / 6), 1.0),
    )
    assert [each.cause for each in pareto("ba")] == ["a", "b"]
    assert pareto([]) == ()


def test_strings_go_by_number_and_what_is_undecided_counts_neither_way() -> None:
    groups = by_column(ROWS, "string", "error", "conforms")
    assert table(groups) == [("2", 2, 0, 3.0, 0.5), ("10", 2, 1, 2.0, 1.0)]
    assert groups[0].moments.sd == pytest.approx(math.sqrt(2))
    # Exact bounds of one of two: 1 - sqrt 0.975 and sqrt 0.975.
    assert groups[0].conforming.lower == pytest.approx(1 - math.sqrt(0.975))


def test_rows_without_a_station_come_last_and_are_not_lost() -> None:
    assert table(by_column(ROWS, "station", "error", "conforms")) == [
        ("bench a", 2, 0, 2.5, 1.0),
        ("bench b", 1, 1, 1.0, 1.0),
        ("not said", 1, 0, 4.0, 0.0),
    ]


def test_days_and_hours_end_where_the_next_begins() -> None:
    days = by_period(ROWS, "time", "day", "error", "conforms")
    hours = by_period(ROWS, "time", "hour", "error", "conforms")
    assert [(d.name, d.moments.count, d.moments.missing) for d in days] == [
        ("2031-03-01", 2, 1),
        ("2031-03-02", 1, 0),
        ("not said", 1, 0),
    ]
    assert [(h.name, h.moments.count) for h in hours] == [
        ("2031-03-01 08:00", 1),
        ("2031-03-01 23:00", 1),
        ("2031-03-02 00:00", 1),
        ("not said", 1),
    ]


def test_days_are_those_of_the_columns_time_zone() -> None:
    late = ROWS[:1].assign(time=ROWS["time"][:1].dt.tz_localize("UTC"))
    there = late.assign(time=late["time"].dt.tz_convert("Etc/GMT-2"))
    names = [by_period(each, "time", "day", "error", "conforms")[0].name for each in (late, there)]
    assert names == ["2031-03-01", "2031-03-02"]
