"""Rows as the values that they should be: the file may be a stranger's, or from a bad disk."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import fields
from typing import Any, TypeVar

import msgspec

from analyzer.lot.store import faults
from analyzer.lot.store.database import Database

_Kind = TypeVar("_Kind")


def row_as(kind: type[_Kind], row: Sequence[Any], database: Database, serial: str) -> _Kind:
    """A row as a dataclass, its columns in the order of the fields.

    Raises UnusableInputError, which names the serial number, where a value is of another type, or
    is no finite number: SQLite itself holds a file to neither.
    """
    names = (each.name for each in fields(kind))  # type: ignore[arg-type]  # a dataclass
    values = dict(zip(names, row, strict=True))
    if any(isinstance(each, float) and not math.isfinite(each) for each in row):
        raise faults.corrupt_row(database.path, serial, "row")
    try:
        return msgspec.convert(values, kind)
    except msgspec.ValidationError as error:
        raise faults.corrupt_row(database.path, serial, "row") from error
