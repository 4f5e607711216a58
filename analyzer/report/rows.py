"""The report as rows, of which every table is made: one a string, and one a recording.

A string's row has what its saddle needs and what its frets say. Units are in the names of the
columns; what could not be had is None, and ``reason`` stands last.
"""

from __future__ import annotations

from dataclasses import asdict, fields
from typing import Any

from analyzer.instrument.model import saddle_name
from analyzer.report.model import RecordingResult, Report, SaddleResult, StringResult
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


STRING_COLUMNS = (*_ERRORS, *_BRIDGE, *_FRETS, "reason")
# All that the report says of a recording but the course of its pitch, which is no cell.
RECORDING_COLUMNS = (
    *(
        each.name
        for each in fields(RecordingResult)
        if each.name not in {"course", "track", "reason"}
    ),
    "reason",
)
WHOLE_NUMBERS = frozenset({"string", "take"})
TEXTS = frozenset(
    {"note", "saddle", "direction", "advice", "reason", "file", "fret", "status", "cautions"}
)


def string_rows(report: Report) -> list[dict[str, Any]]:
    """A row for each string, the highest number first, under ``STRING_COLUMNS``."""
    return [_row(report, each) for each in report.strings]


def recording_rows(report: Report) -> list[dict[str, Any]]:
    """A row for each recording, or for each pluck of a long one, under ``RECORDING_COLUMNS``."""
    return [_recording_row(each) for each in report.recordings]


def _recording_row(recording: RecordingResult) -> dict[str, Any]:
    row = {name: getattr(recording, name) for name in RECORDING_COLUMNS}
    return {**row, "cautions": " ".join(recording.cautions) or None}


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
