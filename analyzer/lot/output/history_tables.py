"""The histories of a store as tables: a row an analysis, or a row a string of each.

Numbers are unrounded. Times of recording are as they stood at the station, times of analysis in
UTC, both ISO 8601.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, fields
from datetime import date
from typing import TYPE_CHECKING, Any

from analyzer.lot.histories import Analyzed, History, InstrumentHistory
from analyzer.lot.output.tables import workbook_of
from analyzer.lot.sessions.clock import in_utc
from analyzer.lot.store import Entry
from analyzer.report.model import StringResult
from analyzer.report.tables import readable

if TYPE_CHECKING:
    import pandas as pd

# A column of each kind of number, so that its type holds where it, or the table, is empty.
_WHOLE = {
    *("analysis", "repeat", "recordings", "left_out", "strings", "strings_measured"),
    *("more_takes", "string"),
}
_REAL = {"recorded_s", "analyzed_s", "conformity_probability"}
_UNITS = ("_hz", "_cents", "_mm")
ENTRY_COLUMNS = (*(each.name for each in fields(Entry)), "analyzed_at")
_OF_A_STRING = tuple(each.name for each in fields(StringResult) if each.name != "reason")
STRING_COLUMNS = (
    *("analysis", "serial", "station", "operator", "repeat", "recorded_at", "recorded_s"),
    *("analyzed_at", "instrument", "method", "verdict"),
    *_OF_A_STRING,
    *("change_cents", "change_uncertainty_cents", "change", "reason"),
)


def history_table(history: History) -> pd.DataFrame:
    """Of an instrument a row a string of each analysis, of a period a row an analysis."""
    if isinstance(history, InstrumentHistory):
        return strings_table(history)
    return analyses_table(history)


def analyses_table(history: History) -> pd.DataFrame:
    """A row an analysis, the oldest first."""
    rows = [{**asdict(each), "analyzed_at": in_utc(each.analyzed_s)} for each in history.entries]
    return _frame(rows, ENTRY_COLUMNS)


def strings_table(history: InstrumentHistory) -> pd.DataFrame:
    """A row a string of each analysis, with what changed since the one before.

    ``change`` is the verdict on that; ``reason``: why there is no result, or no change.
    """
    rows = [row for found in history.analyses for row in _strings(found)]
    return _frame(rows, STRING_COLUMNS)


def history_xlsx(history: History, on: date | None = None) -> bytes:
    """A workbook of the analyses and, of one instrument, of its strings.

    ``on``: the day that it says it was made, by default today. Raises UnusableInputError where a
    sheet would have too many rows.
    """
    sheets = {"analyses": analyses_table(history)}
    if isinstance(history, InstrumentHistory):
        sheets["strings"] = strings_table(history)
    return workbook_of(sheets, on)


def _strings(found: Analyzed) -> Iterator[dict[str, Any]]:
    about = {**asdict(found.entry), "analyzed_at": in_utc(found.entry.analyzed_s)}
    changes = {each.string: each for each in found.changes}
    for each in found.strings:
        row = {**about, **asdict(each)}
        change = changes.get(each.string)
        if change is not None:
            row |= {
                "change_cents": change.change_cents,
                "change_uncertainty_cents": change.change_uncertainty_cents,
                "change": change.verdict,
                "reason": each.reason or change.reason,
            }
        yield {name: row.get(name) for name in STRING_COLUMNS}


def _frame(rows: list[dict[str, Any]], columns: tuple[str, ...]) -> pd.DataFrame:
    import pandas as pd

    frame = pd.DataFrame.from_records(rows, columns=list(columns))
    return readable(frame.astype({name: _type_of(name) for name in columns}))


def _type_of(column: str) -> str:
    if column in _WHOLE:
        return "Int64"
    if column == "complete":
        return "boolean"
    return "float64" if column in _REAL or column.endswith(_UNITS) else "string"
