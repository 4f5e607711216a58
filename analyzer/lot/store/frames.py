"""A lot as frames, a row a session and a row a value: what statistics, pages and exports take.

Columns, and what they hold, are those of ``analyzer.lot.records``. Rows go by time, and by name
where there is none, so that they stand in the same order whichever was measured first.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby
from operator import itemgetter
from typing import Any

import numpy as np
import pandas as pd

from analyzer.lot.records import LEFT_OUT_COLUMNS, SESSION_COLUMNS, VALUE_COLUMNS
from analyzer.lot.sessions.names import folded
from analyzer.lot.store.database import Database
from analyzer.lot.store.runs import Run

_SHARED = ("serial", "station", "operator", "repeat", "recorded_at", "recorded_s", "latest")
_WHOLE = ("analysis", "repeat", "recordings", "left_out", "strings", "strings_measured")
_REAL = (
    "recorded_s",
    "conformity_probability",
    "more_takes",
    "value_cents",
    "standard_uncertainty_cents",
    "lower_cents",
    "upper_cents",
    "target_cents",
)
_SESSIONS = """SELECT a.id AS analysis, a.serial, a.station, a.operator, a.repeat, a.recorded_at,
a.recorded_s, a.analyzed_s AS analyzed_at, a.instrument, a.place, a.recordings, a.left_out,
a.strings, a.strings_measured, d.verdict, d.reason, d.conformity_probability, d.more_takes
FROM members AS m JOIN analyses AS a ON a.id = m.analysis
LEFT JOIN decisions AS d ON d.analysis = a.id AND d.specification = ?
WHERE m.lot = ? ORDER BY a.recorded_s, a.serial, a.station, a.operator, a.repeat"""
_VALUES = """SELECT v.analysis, v.string, v.characteristic, v.value_cents,
v.standard_uncertainty_cents, v.lower_cents, v.upper_cents, v.target_cents, v.verdict,
v.conformity_probability, v.more_takes, v.reason
FROM members AS m JOIN value_decisions AS v ON v.analysis = m.analysis AND v.specification = ?
WHERE m.lot = ? ORDER BY v.characteristic, v.string DESC"""
_LEFT_OUT = """SELECT a.id AS analysis, a.serial, a.station, a.operator, o.file, o.string, o.fret,
o.reason FROM members AS m JOIN analyses AS a ON a.id = m.analysis
JOIN left_out AS o ON o.analysis = a.id
WHERE m.lot = ? ORDER BY a.serial, a.station, a.operator, a.repeat, o.position"""

_SAME = """SELECT a.inputs, a.serial, a.folded_serial FROM members AS m
JOIN analyses AS a ON a.id = m.analysis WHERE m.lot = ? ORDER BY a.inputs, a.serial"""

_MOMENTS = (pd.Timestamp("1678-01-01"), pd.Timestamp("2262-01-01"))  # what ns can hold
_FURTHEST_S = 9.2e9  # from 1970: the same
_SESSION_QUERY = tuple(each for each in SESSION_COLUMNS if each != "latest")
_VALUE_QUERY = ("analysis", "string", "characteristic", *VALUE_COLUMNS[10:])


def sessions_frame(database: Database, run: Run) -> pd.DataFrame:
    """Every session of the lot that became an analysis, decided by the run's specification."""
    frame = _frame(database, _SESSIONS, (run.specification, run.lot), _SESSION_QUERY)
    frame["recorded_at"] = _wall_clock(frame["recorded_at"])
    seconds = pd.to_numeric(frame["analyzed_at"], errors="coerce").astype(np.float64)
    seconds = seconds.where(seconds.abs() < _FURTHEST_S)
    frame["analyzed_at"] = pd.to_datetime(seconds, unit="s").dt.as_unit("ns")
    frame["latest"] = _latest(frame)
    return frame[list(SESSION_COLUMNS)]


def values_frame(database: Database, run: Run) -> pd.DataFrame:
    """Everything that was judged in those sessions."""
    sessions = sessions_frame(database, run)
    frame = _frame(database, _VALUES, (run.specification, run.lot), _VALUE_QUERY)
    frame["string"] = pd.to_numeric(frame["string"]).astype(np.int64)
    order = pd.Index(sessions["analysis"]).get_indexer(pd.Index(frame["analysis"]))
    frame = frame.iloc[np.argsort(order, kind="stable")].reset_index(drop=True)
    order = np.sort(order)
    for column in _SHARED:  # the same texts, not so many copies of them
        frame[column] = sessions[column].take(order).reset_index(drop=True)
    return frame[list(VALUE_COLUMNS)]


def left_out_frame(database: Database, run: Run) -> pd.DataFrame:
    """The recordings of those sessions that were left out, and why."""
    frame = _frame(database, _LEFT_OUT, (run.lot,), LEFT_OUT_COLUMNS)
    frame["string"] = pd.to_numeric(frame["string"]).astype("Int64")  # or not known
    return frame


def same_recordings(database: Database, run: Run) -> Iterator[tuple[str, ...]]:
    """Serial numbers whose recordings are the same, byte by byte; each group in order."""
    for _, rows in groupby(database.each(_SAME, (run.lot,)), key=itemgetter(0)):
        serials = {folded_serial: serial for _, serial, folded_serial in rows}
        if len(serials) > 1:
            yield tuple(map(str, serials.values()))


def _frame(
    database: Database, sql: str, values: tuple[Any, ...], columns: tuple[str, ...]
) -> pd.DataFrame:
    """A query as a frame, its numbers as numbers even where there are no rows."""
    frame = pd.DataFrame.from_records(database.rows(sql, values), columns=list(columns))
    for column in columns:
        if column in _REAL:
            frame[column] = pd.to_numeric(frame[column], errors="coerce").astype(np.float64)
        elif column in _WHOLE:
            frame[column] = pd.to_numeric(frame[column]).astype(np.int64)
    return frame


def _wall_clock(texts: pd.Series[Any]) -> pd.Series[Any]:
    """ISO 8601 without its offset: what the clock at the station showed."""
    cut = texts.astype("string").str[:19]
    found = pd.to_datetime(cut, format="ISO8601", errors="coerce").dt.as_unit("s")
    return found.where(found.between(*_MOMENTS)).dt.as_unit("ns")


def _latest(frame: pd.DataFrame) -> pd.Series[bool]:
    """Which rows are the last session of their serial number; what has no time comes first."""
    by = ["recorded_s", "repeat", "station", "operator", "analysis"]
    ordered = frame.sort_values(by, na_position="first", kind="stable")
    serials = ordered["serial"].map(folded)
    return (~serials.duplicated(keep="last")).reindex(frame.index).astype(bool)
