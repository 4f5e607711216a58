"""The report as tables: pandas frames, and these as CSV and as Parquet.

Numbers are numbers, unrounded. What could not be had is missing: an empty cell, null in Parquet.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict
from importlib.util import find_spec
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from analyzer.errors import UnusableInputError, printable
from analyzer.report.files import LONGEST_CELL, harmless_cell
from analyzer.report.model import Report
from analyzer.report.rows import (
    RECORDING_COLUMNS,
    STRING_COLUMNS,
    TEXTS,
    WHOLE_NUMBERS,
    recording_rows,
    string_rows,
)

if TYPE_CHECKING:
    import pandas as pd

_Result = TypeVar("_Result")
PARQUET_ENDING = ".parquet"
_TIME_FORMAT = "%Y-%m-%dT%H:%M:%S"  # ISO 8601
_PARQUET_LIBRARY = "pyarrow"


def strings_frame(report: Report) -> pd.DataFrame:
    """A row for each string, the highest number first; columns as those of ``--csv``."""
    return _frame(string_rows(report), STRING_COLUMNS)


def recordings_frame(report: Report) -> pd.DataFrame:
    """A row for each recording, rejected ones too; columns as those of ``--recordings-csv``."""
    return _frame(recording_rows(report), RECORDING_COLUMNS)


def table_form(
    path: Path | None, frame_of: Callable[[_Result], pd.DataFrame]
) -> Callable[[_Result], str | bytes]:
    """How a table is written to a place: Parquet where its name ends so, else CSV.

    Raises UnusableInputError where the library for Parquet is not installed.
    """
    if path is None or path.suffix.lower() != PARQUET_ENDING:
        return lambda result: frame_as_csv(frame_of(result))
    if find_spec(_PARQUET_LIBRARY) is None:
        raise UnusableInputError(
            str(path),
            f"is to be Parquet, and {_PARQUET_LIBRARY}, which writes it, is not installed",
            "Install it with: pip install 'pluckcheck[parquet]'; or end the name in .csv",
        )
    return lambda result: frame_as_parquet(frame_of(result))


def frame_as_csv(frame: pd.DataFrame) -> str:
    """CSV text (RFC 4180 but for its line ends); text is made safe for spreadsheets."""
    text = harmless(frame).to_csv(index=False, lineterminator="\n", date_format=_TIME_FORMAT)
    return str(text)


def table_as_csv(rows: Sequence[Any], columns: Sequence[str]) -> str:
    """Dataclasses with a ``reason``, which comes last, as CSV text."""
    import pandas as pd

    columns = [*(each for each in columns if each != "reason"), "reason"]
    return frame_as_csv(pd.DataFrame([asdict(each) for each in rows], columns=columns))


def frame_as_parquet(frame: pd.DataFrame) -> bytes:
    """A Parquet file. Nothing takes its text for a formula, so that stays as it is."""
    file = BytesIO()
    frame.to_parquet(file, engine="pyarrow", index=False)
    return file.getvalue()


def harmless(frame: pd.DataFrame) -> pd.DataFrame:
    """The frame with text that no spreadsheet takes for a formula."""
    return _texts_mapped(frame, harmless_cell)


def readable(frame: pd.DataFrame) -> pd.DataFrame:
    """The frame with its text on one line each, and in UTF-8 whatever it was in a file's name."""
    return _texts_mapped(frame, _readable)


def _texts_mapped(frame: pd.DataFrame, change: Callable[[Any], Any]) -> pd.DataFrame:
    texts = frame.select_dtypes(exclude=["number", "bool", "datetime"]).columns
    return frame.assign(**{name: frame[name].map(change) for name in texts})


def _frame(rows: Sequence[dict[str, Any]], columns: Sequence[str]) -> pd.DataFrame:
    """A frame with a type for each column, also where a column, or the frame, is empty."""
    import pandas as pd

    readable = [{name: _readable(cell) for name, cell in row.items()} for row in rows]
    return pd.DataFrame(readable, columns=list(columns)).astype(
        {name: _type_of(name) for name in columns}
    )


def _type_of(column: str) -> str:
    if column in WHOLE_NUMBERS:
        return "Int64"
    return "string" if column in TEXTS else "float64"


def _readable(cell: Any) -> Any:
    """File names may hold line ends, and bytes that no encoding has."""
    return printable(cell, LONGEST_CELL) if isinstance(cell, str) else cell
