"""All that the page of a lot says, from top to bottom, before it has a form."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import pandas as pd

from analyzer.lot.output.words import counted, takes_in_words
from analyzer.lot.page import words
from analyzer.lot.page.charts import ShownCharts, charts_of
from analyzer.lot.page.gauge import ShownGauge, gauge_of
from analyzer.lot.page.groups import cause_tables, group_tables, trend_table
from analyzer.lot.page.instruments import InstrumentTable, instrument_table
from analyzer.lot.page.judged import CharacteristicPart, characteristic_parts, methods_of
from analyzer.lot.page.tables import Cell, Table
from analyzer.lot.summing.summary_model import LotSummary

MOST_LINES = 200  # of faults, of warnings, of what is to be recorded again: more say nothing more


@dataclass(frozen=True)
class Lines:
    """The first of many lines, and how many more there are."""

    lines: tuple[str, ...]
    more: int


@dataclass(frozen=True)
class LotPage:
    """``again``: what is to be recorded, ``again_table`` which of the instruments."""

    name: str
    on: date
    verdict: str
    facts: tuple[words.Fact, ...]
    worth: tuple[str, ...]
    again: str
    again_table: Table | None
    rule: str
    parts: tuple[CharacteristicPart, ...]
    methods: tuple[str, ...]
    charts: ShownCharts
    causes: tuple[tuple[Table, Table | None], ...]
    groups: tuple[Table, ...]
    trends: Table | None
    gauge: ShownGauge
    faults: Lines
    warnings: Lines
    settings: tuple[words.Fact, ...]
    instruments: InstrumentTable


def page_of(
    summary: LotSummary,
    sessions: pd.DataFrame,
    values: pd.DataFrame,
    pages: Mapping[str, str],
    on: date,
) -> LotPage:
    """The page of a lot on a day."""
    return LotPage(
        summary.name,
        on,
        words.verdict_of(summary),
        tuple(words.facts_of(summary)),
        words.worth_of(summary),
        takes_in_words(summary) or "Nothing.",
        _again(summary),
        summary.rule_in_words,
        characteristic_parts(summary.judged, values),
        methods_of(summary.judged),
        charts_of(summary.control),
        cause_tables(summary.causes),
        group_tables(summary.groups),
        trend_table(summary.trends),
        gauge_of(summary),
        _first([f"{each.where}: {each.reason}" for each in summary.faults]),
        _first(summary.warnings),
        tuple(words.settings_of(summary)),
        instrument_table(summary.judged, sessions, values, pages),
    )


def _first(lines: Sequence[str]) -> Lines:
    return Lines(tuple(lines[:MOST_LINES]), max(0, len(lines) - MOST_LINES))


def _again(summary: LotSummary) -> Table | None:
    of = summary.more_takes.of
    if not of:
        return None
    rows = tuple(
        (
            Cell(each.serial),
            Cell(each.station),
            Cell("would not settle it" if each.recordings is None else f"{each.recordings}"),
        )
        for each in of[:MOST_LINES]
    )
    more = len(of) - len(rows)
    notes = (f"And {counted(more, 'instrument')} more: see the table of instruments.",)
    heads = ("Serial number", "Station", "More recordings")
    return Table("Instruments that are not decided.", heads, rows, notes if more else ())
