"""A lot's rows as tables, for CSV and Parquet, and as a workbook (XLSX), with defused text.

The frames and their columns are those of ``analyzer.lot.records``. Numbers are unrounded, times as
they stood at the station.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

import pandas as pd

from analyzer.errors import UnusableInputError
from analyzer.lot.records import LEFT_OUT_COLUMNS, SESSION_COLUMNS, VALUE_COLUMNS
from analyzer.report.day import day_of
from analyzer.report.spreadsheet import workbook
from analyzer.report.tables import readable

XLSX_MOST_ROWS = 1_048_576  # of a sheet, its heading among them (ECMA-376; the number recalled)


def sessions_table(sessions: pd.DataFrame) -> pd.DataFrame:
    """A row for each session, for any form of table."""
    return readable(sessions[list(SESSION_COLUMNS)])


def values_table(values: pd.DataFrame) -> pd.DataFrame:
    """A row for everything that was judged, for any form of table."""
    return readable(values[list(VALUE_COLUMNS)])


def left_out_table(left_out: pd.DataFrame) -> pd.DataFrame:
    """A row for each recording that was left out, for any form of table."""
    return readable(left_out[list(LEFT_OUT_COLUMNS)])


def lot_xlsx(
    sessions: pd.DataFrame,
    values: pd.DataFrame,
    left_out: pd.DataFrame,
    on: date | None = None,
    place: str = "--xlsx",
) -> bytes:
    """A workbook with a sheet of each. ``on``: the day that it says it was made, by default today.

    Raises UnusableInputError, which names ``place``, where a sheet would have too many rows.
    """
    sheets = {
        "sessions": sessions_table(sessions),
        "values": values_table(values),
        "left out": left_out_table(left_out),
    }
    return workbook_of(sheets, on, place)


def workbook_of(
    sheets: Mapping[str, pd.DataFrame], on: date | None = None, place: str = "--xlsx"
) -> bytes:
    """A workbook of sheets by name. ``on`` as in ``lot_xlsx``.

    Raises UnusableInputError, which names ``place``, where a sheet would have too many rows.
    """
    for name, frame in sheets.items():
        if len(frame) >= XLSX_MOST_ROWS:
            raise UnusableInputError(
                place,
                f"would have {len(frame):,} rows of {name}, and a sheet of XLSX has at most "
                f"{XLSX_MOST_ROWS - 1:,} below its heading",
                "Write CSV or Parquet instead",
            )
    return workbook(sheets, day_of(on))
