"""Causes, groups and trends as tables."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby

from analyzer.lot.page.tables import Cell, Table, cents, percent, share, size
from analyzer.lot.specification import IN_WORDS
from analyzer.lot.statistics.figure import NotGiven
from analyzer.lot.statistics.groups import Group
from analyzer.lot.statistics.pareto import Cause
from analyzer.lot.summary_model import Causes, GroupTable, StationTrend, Trends
from analyzer.page.rounding import NOT_HAD, signed

_OF_INSTRUMENTS = "counted in instruments, which may have several"


def cause_tables(causes: Causes) -> tuple[Table, ...]:
    """What does not conform, what was left open, what was left out; those that occur."""
    every = (
        (f"Why instruments do not conform, {_OF_INSTRUMENTS}.", causes.failed),
        (f"Why instruments are not decided, {_OF_INSTRUMENTS}.", causes.undecided),
        ("Why recordings were left out, counted in recordings.", causes.left_out),
    )
    return tuple(_causes(caption, found) for caption, found in every if found)


def _causes(caption: str, found: Sequence[Cause]) -> Table:
    most = max(each.count for each in found)
    return Table(
        caption,
        ("Cause", "Count", "Of all", "With those above"),
        tuple(
            (
                Cell(f"{each.cause} (as: {each.example})" if each.example else each.cause),
                Cell(f"{each.count:,}", each.count, each.count / most),
                Cell(percent(each.share), each.share),
                Cell(percent(each.cumulative_share), each.cumulative_share),
            )
            for each in found
        ),
    )


def group_tables(groups: Sequence[GroupTable]) -> tuple[Table, ...]:
    """A table for each way of grouping: all limits, then each characteristic beside it."""
    return tuple(
        _grouped(by, tuple(tables)) for by, tables in groupby(groups, key=lambda each: each.by)
    )


def _grouped(by: str, tables: Sequence[GroupTable]) -> Table:
    heads = [by.capitalize(), "Instruments"]
    for each in tables:
        if each.characteristic is None:
            heads.append("Yield, all limits")
        else:
            name = IN_WORDS[each.characteristic]
            heads += [f"{name}: mean", f"{name}: standard deviation", f"{name}: yield"]
    every = [{group.name: group for group in each.groups} for each in tables]
    names = dict.fromkeys(name for groups in every for name in groups)
    return Table(
        f"By {by}: yield of those decided; means over an instrument's strings, in cents.",
        tuple(heads),
        tuple(_row(name, tables, [groups.get(name) for groups in every]) for name in names),
    )


def _row(
    name: str, tables: Sequence[GroupTable], groups: Sequence[Group | None]
) -> tuple[Cell, ...]:
    count = max(each.rows for each in groups if each is not None)
    cells = [Cell(name), Cell(f"{count:,}", count)]
    for table, group in zip(tables, groups, strict=True):
        cells += _cells(table, group)
    return tuple(cells)


def _cells(table: GroupTable, group: Group | None) -> Iterator[Cell]:
    if table.characteristic is not None:
        yield cents(None if group is None else group.moments.mean)
        yield size(None if group is None else group.moments.sd)
    yield Cell(NOT_HAD) if group is None else share(group.conforming)


def trend_table(trends: Trends) -> Table | None:
    """The slope of each station and characteristic; None where there is no station at all."""
    if not trends.of:
        return None
    return Table(
        "The line through each station's instruments over time.",
        ("Station", "What", "Cents a day", "Says"),
        tuple(map(_trend, trends.of)),
        (f"{trends.method}.",),
    )


def _trend(each: StationTrend) -> tuple[Cell, ...]:
    head = (Cell(each.station), Cell(IN_WORDS[each.characteristic]))
    found = each.trend
    if isinstance(found, NotGiven):
        return (*head, Cell(NOT_HAD), Cell(found.reason))
    low, high = (_slope(end) for end in (found.lower_per_day, found.upper_per_day))
    slope = Cell(f"{_slope(found.slope_per_day)} ({low} to {high})", found.slope_per_day)
    mind = f" Mind: {found.caution}." if found.caution else ""
    return (*head, slope, Cell(each.words or f"No drift is shown for sure.{mind}"))


def _slope(cents_per_day: float) -> str:
    return signed(cents_per_day, 3)
