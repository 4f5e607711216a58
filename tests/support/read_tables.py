"""Tables read back by libraries of others: pandas, openpyxl, pyarrow; and held to the JSON."""

from __future__ import annotations

import csv
import io
import math

import openpyxl
import pandas as pd

from analyzer.report.tables import frame_as_csv, frame_as_parquet


def sheets(content: bytes) -> openpyxl.Workbook:
    return openpyxl.load_workbook(io.BytesIO(content))


def rows_of(sheet) -> list[dict]:
    heading, *rows = [[cell.value for cell in row] for row in sheet.iter_rows()]
    return [dict(zip(heading, row, strict=True)) for row in rows]


def read_back(frame: pd.DataFrame) -> dict[str, list[dict]]:
    """A table's rows as CSV and as Parquet have them; None for what is missing."""
    lines = csv.DictReader(io.StringIO(frame_as_csv(frame)))
    parquet = pd.read_parquet(io.BytesIO(frame_as_parquet(frame)))
    return {
        "csv": [{key: cell_of(text) for key, text in row.items()} for row in lines],
        "parquet": records(parquet),
    }


def records(frame: pd.DataFrame) -> list[dict]:
    rows = frame.to_dict("records")
    return [{key: None if pd.isna(cell) else cell for key, cell in row.items()} for row in rows]


def cell_of(text: str) -> str | float | None:
    try:
        return float(text)
    except ValueError:
        return text or None


def numbers_agree(rows: list[dict], entries: list[dict], rel: float) -> int:
    """Every number under a key that both have; how many there were."""
    compared = 0
    assert len(rows) == len(entries)
    for row, entry in zip(rows, entries, strict=True):
        for key in row.keys() & entry.keys() - {"reason"}:  # a row's may be that of its saddle
            if isinstance(entry[key], int | float):
                assert isinstance(row[key], int | float), key
                assert math.isclose(row[key], entry[key], rel_tol=rel), key
                compared += 1
            elif entry[key] is None:
                assert row[key] is None, key
    return compared
