"""What the figures rest on, as a table: what was given, what was assumed, what was learned."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date
from typing import TYPE_CHECKING, NamedTuple

from analyzer import __version__
from analyzer.errors import printable
from analyzer.report.files import LONGEST_CELL
from analyzer.report.model import SCHEMA_VERSION, AdjusterResult, Report
from analyzer.report.words import moves_since

if TYPE_CHECKING:
    import pandas as pd

_TEXTS = ("setting", "of", "unit")


class Setting(NamedTuple):
    """``of`` is the string or adjuster that it is of, empty where it is of the whole."""

    setting: str
    of: str
    value: object
    unit: str = ""


def settings_frame(report: Report, on: date) -> pd.DataFrame:
    """Columns ``setting``, ``of``, ``value`` (text, a number or a date) and ``unit``."""
    import pandas as pd

    rows = [
        each._replace(value=printable(each.value, LONGEST_CELL))
        if isinstance(each.value, str)
        else each
        for each in _settings(report, on)
    ]
    frame = pd.DataFrame(rows, columns=list(Setting._fields))
    return frame.astype({"value": "object", **dict.fromkeys(_TEXTS, "string")})


def _settings(report: Report, on: date) -> Iterator[Setting]:
    yield Setting("instrument", "", report.instrument)
    yield Setting("written on", "", on)
    yield Setting("program", "", f"pluckcheck {__version__}")
    yield Setting("schema_version of the JSON report", "", SCHEMA_VERSION)
    yield Setting("frequency of A4", "", report.a4_hz, "Hz")
    yield Setting("coverage of the intervals", "", 95, "%")
    yield Setting("round before", "", report.previous or "none")
    if report.previous is not None:
        yield Setting("moves since then", "", moves_since(report))
    for name, asked in report.reading:
        yield Setting(name, "", asked)
    yield from _of_strings("open note", {each.string: each.note for each in report.strings})
    for string, length_mm in zip(report.strings, report.scale_lengths_mm or (), strict=False):
        yield Setting("scale length", f"string {string.string}", length_mm, "mm")
    if report.layout is not None:
        yield from _of_strings("setback now", report.layout.setback_mm, "mm")
        yield from _of_strings("position across", report.layout.across_mm, "mm")
    for adjuster in report.adjusters:
        yield from _of_adjuster(adjuster)
    if report.response is not None:
        yield Setting("response, against the geometry", "", report.response.instrument_factor)
        yield Setting("uncertainty of it", "", report.response.instrument_factor_uncertainty)
        yield Setting("rounds learned from", "", report.response.rounds)
    for text in report.warnings:
        yield Setting("warning", "", text)


def _of_strings(name: str, values: Mapping[int, object], unit: str = "") -> Iterator[Setting]:
    for string, value in values.items():
        yield Setting(name, f"string {string}", value, unit)


def _of_adjuster(each: AdjusterResult) -> Iterator[Setting]:
    toward_mm, away_mm = each.travel_mm or (None, None)
    yield Setting("strings", each.name, ", ".join(map(str, each.strings)))
    for name, value, unit in (
        ("advance a turn", each.pitch_mm, "mm"),
        ("screw head at the", each.screw_head, ""),
        ("smallest turn", each.smallest_turn, "turns"),
        ("smallest step", each.smallest_step_mm, "mm"),
        ("travel given, toward the nut", toward_mm, "mm"),
        ("travel given, away from the nut", away_mm, "mm"),
        ("moved since, away from the nut", each.moved_mm, "mm"),
        ("response, against the geometry", each.response, ""),
        ("uncertainty of it", each.response_uncertainty, ""),
    ):
        if value is not None:
            yield Setting(name, each.name, value, unit)
