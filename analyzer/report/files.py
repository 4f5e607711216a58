"""The report as JSON (schema_version 1) and as CSV, one row a string."""

from __future__ import annotations

import json
from dataclasses import asdict, fields
from pathlib import Path
from typing import Any

from analyzer import __version__
from analyzer.errors import UnusableInputError
from analyzer.report.model import SCHEMA_VERSION, Report, StringResult

STANDARD_OUTPUT = "-"
# A cell that starts so is read as a formula by spreadsheets; a quote before it makes it text.
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


def as_json(report: Report) -> str:
    """The report as JSON text. Numbers are unrounded; what could not be had is null."""
    body: dict[str, Any] = {
        "schema_version": SCHEMA_VERSION,
        "program": {"name": "pluckcheck", "version": __version__},
        "instrument": {"name": report.instrument, "tuning": list(report.tuning)},
        "a4_hz": report.a4_hz,
        "strings": [asdict(each) for each in report.strings],
        "saddles": [asdict(each) for each in report.saddles],
        "recordings": [asdict(each) for each in report.recordings],
        "warnings": list(report.warnings),
    }
    return json.dumps(body, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def as_csv(report: Report) -> str:
    """The strings as CSV text, a header and one row each; empty where there is no value."""
    import pandas as pd

    columns = [field.name for field in fields(StringResult) if field.name != "reason"]
    columns.append("reason")
    table = pd.DataFrame([asdict(each) for each in report.strings], columns=columns)
    for name in ("note", "reason"):
        table[name] = table[name].map(defused, na_action="ignore")
    return str(table.to_csv(index=False, lineterminator="\n"))


def defused(text: str) -> str:
    """Text that a spreadsheet will not take for a formula."""
    return f"'{text}" if text.startswith(_FORMULA_STARTS) else text


def write_text(path: Path, text: str) -> None:
    """Write a whole file or none. Raises UnusableInputError where it cannot be written."""
    partial = path.with_name(f".{path.name}.partial")
    try:
        partial.write_text(text, encoding="utf-8", newline="")
        partial.replace(path)
    except OSError as error:
        raise UnusableInputError(
            str(path), f"cannot be written ({error.strerror})", "Give a place that can be written"
        ) from error
