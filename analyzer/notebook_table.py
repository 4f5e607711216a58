"""The report as a small table for a notebook: every value escaped, and no script.

It has no colours of its own but takes the notebook's, so it reads in a light theme and a dark one.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from typing import Any, NamedTuple

from jinja2 import Template

from analyzer.errors import printable
from analyzer.html import text_template
from analyzer.page.rounding import (
    NOT_HAD,
    sharp_or_flat,
    signed,
    unsigned_with_interval,
    with_interval,
)
from analyzer.report.model import Report, StringResult
from analyzer.report.words import in_one_line, way
from analyzer.report.working_order import caution

_TABLE = """\
<table>
<caption style="text-align: left">{{ instrument }} ({{ tuning }})</caption>
<thead><tr>
{% for heading in headings %}
<th scope="col" style="text-align: left">{{ heading }}</th>
{% endfor %}
</tr></thead>
<tbody>
{% for row in rows %}
<tr><th scope="row" style="text-align: left">{{ row.string }}</th>
{% for cell in row[1:] %}
<td style="text-align: left">{{ cell }}</td>
{% endfor %}
</tr>
{% endfor %}
</tbody>
</table>
<p>{{ verdict }}</p>
{% if caution %}
<p><em>{{ caution }}</em></p>
{% endif %}
"""
_HEADINGS = ("String", "Error, cents", "Found", "Drift, cents", "Saddle needs, mm", "Advice")


class _Row(NamedTuple):
    string: str
    error: str
    found: str
    drift: str
    needs: str
    advice: str


def as_table(report: Report) -> str:
    """HTML of a table, one row a string; no whole page."""
    return _template().render(
        instrument=report.instrument,
        tuning=" ".join(report.tuning),
        headings=_HEADINGS,
        rows=[_row(report, each) for each in report.strings],
        verdict=report.verdict(),
        caution=caution(report) if report.steps else "",
    )


@cache
def _template() -> Template:
    return text_template(_TABLE, _harmless)


def _harmless(value: Any) -> Any:
    """Names may hold anything, also what turns the text around them."""
    return printable(value) if isinstance(value, str) else value


def _row(report: Report, each: StringResult) -> _Row:
    name = f"{each.string} {each.note}"
    error, half_width = each.error_cents, each.error_uncertainty_cents
    if error is None or half_width is None:
        return _Row(name, NOT_HAD, each.reason or "", NOT_HAD, NOT_HAD, NOT_HAD)
    drift = each.sustain_drift_cents
    return _Row(
        name,
        with_interval(error, half_width) or NOT_HAD,
        sharp_or_flat(error, half_width),
        NOT_HAD if drift is None else signed(drift),
        _needs(each),
        "; ".join(_advice(report, each.string)) or NOT_HAD,
    )


def _needs(each: StringResult) -> str:
    move_mm = each.saddle_move_mm
    if move_mm is None:
        return NOT_HAD
    size = unsigned_with_interval(abs(move_mm), each.saddle_move_uncertainty_mm, 2) or NOT_HAD
    return f"{size} {way(move_mm)}" if move_mm else size


def _advice(report: Report, string: int) -> Iterator[str]:
    for adjuster in report.adjusters:
        if string in adjuster.strings:
            yield in_one_line(adjuster)
