"""The rows of a lot's table, from CSV or Parquet, one by one: each cell as text."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from importlib.util import find_spec
from io import TextIOWrapper
from pathlib import Path
from typing import Any

from analyzer.errors import UnusableInputError, printable
from analyzer.instrument.tables import shown

COLUMNS = ("serial", "file", "string", "fret", "station", "operator", "time", "repeat")
NEEDED = ("serial", "file")
CSV_ENDINGS = (".csv", ".tsv")
PARQUET_ENDING = ".parquet"
ENDINGS = (*CSV_ENDINGS, PARQUET_ENDING)
_DELIMITERS = (",", ";", "\t")  # spreadsheets write ; where the comma is the decimal sign
_LONGEST_LINE = 100_000  # characters; a choice
_BATCH = 4096  # rows of Parquet in memory at a time
_RIGHT_TABLE = f"Give a table with the columns {' and '.join(NEEDED)}, and where they are known "
_RIGHT_TABLE += ", ".join(each for each in COLUMNS if each not in NEEDED)
_SAVE_AGAIN = "Save it again as CSV in UTF-8"


@dataclass(frozen=True)
class Row:
    """Cells by column, without space around them, empty where there is none.

    ``line``: for a message and for the order; ``where``: table and line. ``extra``: whether there
    are more cells than columns.
    """

    line: int
    where: str
    cells: dict[str, str]
    extra: bool = False


@dataclass(frozen=True)
class Rows:
    """The columns of a table that are not known, and its rows."""

    unknown: tuple[str, ...]
    rows: Iterator[Row]


def where_in(table: str, line: int) -> str:
    """The place of a row, for a message.

    >>> where_in("lot.csv", 7), where_in("lot.parquet", 7)
    ('lot.csv, line 7', 'lot.parquet, row 7')
    """
    word = "row" if table.lower().endswith(PARQUET_ENDING) else "line"
    return f"{table}, {word} {line}"


def rows_of(path: Path) -> Rows:
    """Read a table; memory does not grow with its length.

    Raises UnusableInputError, here or while the rows are taken, where it is no such table.
    """
    if path.suffix.lower() == PARQUET_ENDING:
        return _parquet_rows(path)
    file = _opened(path)
    try:
        lines = _lines(file, path.name)
        head = next(lines, "")
        delimiter = _delimiter_of(head)
        names = next(csv.reader([head], delimiter=delimiter, skipinitialspace=True), [])
        columns = _checked(names, path.name)
    except csv.Error as error:
        file.close()
        raise UnusableInputError(path.name, f"is no CSV ({error})", _RIGHT_TABLE) from error
    except UnusableInputError:
        file.close()
        raise
    return Rows(_unknown(columns), _csv_rows(file, lines, path.name, columns, delimiter))


def _opened(path: Path) -> TextIOWrapper:
    try:
        return path.open(encoding="utf-8-sig", newline="")
    except OSError as error:
        raise UnusableInputError(
            str(path), f"cannot be read ({error.strerror})", "Check the path and its permissions"
        ) from error


def _lines(file: TextIOWrapper, name: str) -> Iterator[str]:
    number = 0
    try:
        while line := file.readline(_LONGEST_LINE + 1):
            number += 1
            if len(line) > _LONGEST_LINE:
                raise UnusableInputError(
                    f"{name}, line {number}",
                    f"has more than {_LONGEST_LINE} characters",
                    _SAVE_AGAIN,
                )
            yield line
    except UnicodeDecodeError as error:
        raise UnusableInputError(
            f"{name}, after line {number}", "is not plain text in UTF-8", _SAVE_AGAIN
        ) from error
    except OSError as error:
        raise UnusableInputError(
            name, f"cannot be read ({error.strerror})", "Copy it here again"
        ) from error


def _delimiter_of(head: str) -> str:
    """The one with which the head has the columns that are needed; a comma where none has."""

    def known(delimiter: str) -> int:
        names = next(csv.reader([head], delimiter=delimiter, skipinitialspace=True), [])
        return len({_tidy(each) for each in names} & set(COLUMNS))

    return max(_DELIMITERS, key=known)


def _tidy(name: str) -> str:
    return name.strip().lower()


def _checked(names: Sequence[str], table: str) -> list[str]:
    """The columns of a head, in their order."""
    columns = [_tidy(each) for each in names]
    lacking = [each for each in NEEDED if each not in columns]
    if lacking:
        has = ", ".join(columns) or "nothing"
        raise UnusableInputError(
            table, f"lacks the column {' and '.join(lacking)}; its head has {has}", _RIGHT_TABLE
        )
    for each in columns:
        if each and columns.count(each) > 1:
            raise UnusableInputError(table, f"has the column {shown(each)} twice", "Keep one")
    return columns


def _unknown(columns: Sequence[str]) -> tuple[str, ...]:
    return tuple(printable(each) for each in columns if each and each not in COLUMNS)


def _csv_rows(
    file: TextIOWrapper, lines: Iterator[str], name: str, columns: list[str], delimiter: str
) -> Iterator[Row]:
    reader = csv.reader(lines, delimiter=delimiter, skipinitialspace=True, strict=True)
    with file:
        try:
            for cells in reader:
                if any(each.strip() for each in cells):  # spreadsheets leave rows of nothing
                    line = reader.line_num + 1  # below the head
                    values = (each.strip() for each in cells)
                    row = dict(zip(columns, values, strict=False))
                    extra = any(each.strip() for each in cells[len(columns) :])
                    yield Row(line, where_in(name, line), row, extra)
        except csv.Error as error:
            where = where_in(name, reader.line_num + 1)
            raise UnusableInputError(where, f"is no CSV ({error})", _SAVE_AGAIN) from error


def _parquet_rows(path: Path) -> Rows:
    if find_spec("pyarrow") is None:
        raise UnusableInputError(
            str(path),
            "is Parquet, and pyarrow, which reads it, is not installed",
            "Install it with: pip install 'pluckcheck[parquet]'; or give a CSV",
        )
    from pyarrow import ArrowException
    from pyarrow.parquet import ParquetFile

    try:
        file = ParquetFile(path)
    except (OSError, ArrowException) as error:
        raise _no_parquet(path, error) from error
    names = file.schema_arrow.names
    columns = _checked(names, path.name)
    wanted = {name: tidy for name, tidy in zip(names, columns, strict=True) if tidy in COLUMNS}
    return Rows(_unknown(columns), _arrow_rows(file, path, wanted))


def _arrow_rows(file: Any, path: Path, wanted: dict[str, str]) -> Iterator[Row]:
    from pyarrow import ArrowException

    number = 0
    with file:
        try:
            for batch in file.iter_batches(batch_size=_BATCH, columns=list(wanted)):
                for values in batch.to_pylist():
                    number += 1
                    row = {wanted[name]: _as_text(value) for name, value in values.items()}
                    if any(row.values()):
                        yield Row(number, where_in(path.name, number), row)
        except (OSError, ValueError, ArrowException) as error:
            raise _no_parquet(path, error) from error


def _no_parquet(path: Path, error: Exception) -> UnusableInputError:
    return UnusableInputError(
        path.name, f"cannot be read as Parquet ({error})", "Write it again, or give a CSV"
    )


def _as_text(value: Any) -> str:
    """A cell as it would stand in a CSV; a whole number without a fraction."""
    if value is None or value != value:  # NaN  # noqa: PLR0124
        return ""
    if isinstance(value, (datetime, date)):
        return value.isoformat()
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value).strip()
