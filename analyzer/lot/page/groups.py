"""Causes, groups and trends as tables."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from analyzer.lot.judgement.specification import IN_WORDS
from analyzer.lot.output.words import percent
from analyzer.lot.page.tables import Cell, Table, cents, share, size
from analyzer.lot.statistics.figure import NotGiven
from analyzer.lot.statistics.groups import Group
from analyzer.lot.statistics.pareto import Cause
from analyzer.lot.summing.summary_model import Causes, GroupTable, StationTrend, Trends
from analyzer.page.rounding import NOT_HAD, signed

_MOST_CAUSES = 8  # that are seen at once; the rule behind Pareto's chart is that few matter
_OF_INSTRUMENTS = "counted in instruments, which may have several"


def cause_tables(causes: Causes) -> tuple[tuple[Table, Table | None], ...]:
    """What does not conform, what is not decided, what was left out; those that occur.

    The most frequent of each, and a table of the others.
    """
    every = (
        (f"Why instruments do not conform, {_OF_INSTRUMENTS}.", causes.not_conform),
        (f"Why instruments are not decided, {_OF_INSTRUMENTS}.", causes.not_decided),
        ("Why recordings were left out, counted in recordings.", causes.left_out),
    )
    return tuple(
        _causes(caption, found).parted(_MOST_CAUSES, f"{caption} The less frequent.")
        for caption, found in every
        if found
    )


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
            heads.append(IN_WORDS[each.characteristic].capitalize())
    every = [{group.name: group for group in each.groups} for each in tables]
    names = dict.fromkeys(name for groups in every for name in groups)
    return Table(
        f"By {by}: yield of those decided; mean and standard deviation of instruments' means over "
        "their strings, cents, and yield.",
        tuple(heads),
        tuple(_row(name, tables, [groups.get(name) for groups in every]) for name in names),
    )


def _row(
    name: str, tables: Sequence[GroupTable], groups: Sequence[Group | None]
) -> tuple[Cell, ...]:
    count = max(each.rows for each in groups if each is not None)
    cells = [Cell(name), Cell(f"{count:,}", count)]
    for table, group in zip(tables, groups, strict=True):
        if group is None:
            cells.append(Cell(NOT_HAD))
        elif table.characteristic is None:
            cells.append(share(group.conforming))
        else:
            cells.append(_of_characteristic(group))
    return tuple(cells)


def _of_characteristic(group: Group) -> Cell:
    mean, sd, conforming = group.moments.mean, group.moments.sd, group.conforming.value
    parts = [cents(mean).text] if sd is None else [f"{cents(mean).text}, s {size(sd).text}"]
    if conforming is not None:
        parts.append(percent(conforming))
    return Cell("; ".join(parts), mean)


def trend_table(trends: Trends) -> Table | None:
    """The slope of each station and characteristic; None where there is no station at all."""
    if not trends.of:
        return None
    return Table(
        "The line through each station's instruments over time.",
        ("Station", "What", "Cents a day", "Says"),
        tuple(map(_trend, trends.of)),
        (f"{trends.method[0].upper()}{trends.method[1:]}.",),
    )


def _trend(each: StationTrend) -> tuple[Cell, ...]:
    head = (Cell(each.station), Cell(IN_WORDS[each.characteristic]))
    found = each.trend
    if isinstance(found, NotGiven):
        return (*head, Cell(NOT_HAD), Cell(found.reason))
    low, high = (_slope(end) for end in (found.lower_per_day, found.upper_per_day))
    slope = Cell(f"{_slope(found.slope_per_day)} ({low} to {high})", found.slope_per_day)
    caution = f" Caution: {found.caution}." if found.caution else ""
    return (*head, slope, Cell(each.words or f"No trend is sure.{caution}"))


def _slope(cents_per_day: float) -> str:
    return signed(cents_per_day, 3)
