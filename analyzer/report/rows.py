"""The report as CSV: a row for each string, with what its saddle needs and what its frets say."""

from __future__ import annotations

from dataclasses import asdict, fields
from typing import Any

from analyzer.instrument.model import saddle_name
from analyzer.report.files import rows_as_csv
from analyzer.report.model import Report, SaddleResult, StringResult
from analyzer.report.words import in_one_line

_ERRORS = tuple(each.name for each in fields(StringResult) if each.name != "reason")
# ``advised_move_mm``: how far the saddle moves under this string, in steps that its bridge allows;
# ``turns`` and ``direction`` where one screw moves it as a whole; ``advice`` names all that moves.
_BRIDGE = (
    "saddle",
    "advised_move_mm",
    "turns",
    "direction",
    "advice",
    "residual_cents",
    "residual_uncertainty_cents",
)
_FRETS = tuple(
    f"{part}_part_{figure}"
    for part in ("saddle", "nut", "stretch")
    for figure in ("cents", "uncertainty_cents")
)


def as_csv(report: Report) -> str:
    """The strings as CSV text, a header and one row each; empty where there is no value."""
    rows = [_row(report, each) for each in report.strings]
    return rows_as_csv(rows, (*_ERRORS, *_BRIDGE, *_FRETS, "reason"))


def _row(report: Report, string: StringResult) -> dict[str, Any]:
    row = asdict(string)
    for saddle in report.saddles:
        if string.string in saddle.strings:
            row.update(_of_saddle(report, saddle, string.string))
            row["reason"] = string.reason or saddle.reason
    for frets in report.frets:
        if frets.string == string.string:
            row.update({name: getattr(frets, name) for name in _FRETS})
    return row


def _of_saddle(report: Report, saddle: SaddleResult, string: int) -> dict[str, Any]:
    movers = [each for each in report.adjusters if string in each.strings]
    return {
        "saddle": saddle_name(saddle.strings),
        "advised_move_mm": (saddle.moves_mm or {}).get(string),
        "turns": saddle.turns,
        "direction": saddle.direction,
        "advice": "; ".join(map(in_one_line, movers)),
        "residual_cents": (saddle.residual_cents or {}).get(string),
        "residual_uncertainty_cents": (saddle.residual_uncertainty_cents or {}).get(string),
    }
