"""The report as a workbook for spreadsheets (XLSX): strings, recordings, settings.

Text is defused as in CSV, since a sheet may be saved as CSV again; nothing becomes a formula or a
link. Cells hold unrounded numbers; how many places are shown, the column's format says.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, time
from io import BytesIO
from typing import TYPE_CHECKING, Any

from analyzer.report.day import day_of
from analyzer.report.model import Report
from analyzer.report.settings import settings_frame
from analyzer.report.tables import harmless, recordings_frame, strings_frame

if TYPE_CHECKING:
    import pandas as pd

_AS_WRITTEN = {
    "strings_to_formulas": False,
    "strings_to_urls": False,
    "strings_to_numbers": False,
    "in_memory": True,  # else it is put together in files where temporary ones go
}
_DATE_FORMAT, _TIME_FORMAT = "yyyy-mm-dd", "yyyy-mm-dd hh:mm:ss"  # ISO 8601, but for its T
# By the unit at the end of a column's name; what has none is shown as it is.
_NUMBER_FORMATS = (
    ("_hz", "0.000"),
    ("_cents", "0.00"),
    ("_cents_per_s", "0.00"),
    ("_mm", "0.00"),
    ("_s", "0.00"),
    ("stiffness", "0.00E+00"),
    ("stiffness_uncertainty", "0.00E+00"),
)
_NARROWEST, _WIDEST = 8, 60  # characters
_FIGURE_WIDTH = 10  # of a number as it is shown
_TIME_WIDTH = 20


def as_xlsx(report: Report, on: date | None = None) -> bytes:
    """The workbook. ``on`` is the day that stands in it, by default today's, where this runs."""
    day = day_of(on)
    sheets = {
        "strings": strings_frame(report),
        "recordings": recordings_frame(report),
        "settings": settings_frame(report, day),
    }
    return workbook(sheets, day)


def workbook(sheets: Mapping[str, pd.DataFrame], on: date) -> bytes:
    """A workbook of these sheets, by name; ``on`` is the day that it says it was made."""
    import pandas as pd

    file = BytesIO()
    options = {"options": _AS_WRITTEN}
    with pd.ExcelWriter(
        file,
        engine="xlsxwriter",
        date_format=_DATE_FORMAT,
        datetime_format=_TIME_FORMAT,
        engine_kwargs=options,
    ) as writer:
        writer.book.set_properties({"created": datetime.combine(on, time())})
        for name, frame in sheets.items():
            shown = harmless(frame)
            shown.to_excel(writer, sheet_name=name, index=False, freeze_panes=(1, 0))
            _lay_out(writer.book, writer.sheets[name], shown)
    return file.getvalue()


def _lay_out(book: Any, sheet: Any, frame: pd.DataFrame) -> None:
    """Widths for what the columns hold, and the places that are shown."""
    formats = {text: book.add_format({"num_format": text}) for _, text in _NUMBER_FORMATS}
    for place, name in enumerate(frame.columns):
        shown = next((text for unit, text in _NUMBER_FORMATS if name.endswith(unit)), None)
        sheet.set_column(place, place, _width(frame[name]), formats.get(shown or ""))
    sheet.autofilter(0, 0, max(len(frame), 1), len(frame.columns) - 1)


def _width(column: pd.Series[Any]) -> int:
    """Room for the heading with its button, and for the longest text up to the widest."""
    if column.dtype.kind == "M":
        return _TIME_WIDTH
    cells = [len(cell) if isinstance(cell, str) else _FIGURE_WIDTH for cell in column.dropna()]
    longest = max([len(str(column.name)) + 3, *cells])
    return min(max(longest, _NARROWEST), _WIDEST)
