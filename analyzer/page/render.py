"""The page as HTML that needs nothing beside itself; in print, a card of one sheet."""

from __future__ import annotations

from datetime import date
from functools import cache
from typing import Any

from jinja2 import Template
from markupsafe import Markup

from analyzer.errors import printable
from analyzer.html import page_template
from analyzer.page.content import page_of
from analyzer.page.rounding import plain
from analyzer.report.day import day_of
from analyzer.report.model import Report

LONGEST_TEXT = 2000  # characters of a name or a line; reasons are cut before


def as_html(report: Report, on: date | None = None, about: tuple[str, ...] = ()) -> str:
    """HTML, every value escaped; no script, nothing fetched.

    ``on`` is the day that stands on it, by default today's, where this runs; ``about``: lines to
    stand at its top, the first of them in its title as well.
    """
    day = day_of(on)
    return f"{_template().render(page=page_of(report, day, about))}\n"


@cache
def _template() -> Template:
    return page_template("analyzer.page", {"plain": plain}, harmless)


def harmless(value: Any) -> Any:
    """Names may hold anything; what steers a terminal must not turn a page's text around either."""
    if isinstance(value, str) and not isinstance(value, Markup):
        return printable(value, LONGEST_TEXT)
    return value
