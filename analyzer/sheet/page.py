"""The guide as a page that needs nothing beside itself and prints to one sheet."""

from __future__ import annotations

from functools import cache

from jinja2 import Template

from analyzer.errors import printable
from analyzer.html import page_template
from analyzer.sheet.content import ENDING, TAKES, Sheet


def as_page(sheet: Sheet) -> str:
    """HTML, every value escaped; no script, nothing fetched."""
    html = _template().render(sheet=sheet, takes=range(1, TAKES + 1), ending=ENDING)
    return f"{html}\n"


@cache
def _template() -> Template:
    return page_template("analyzer.sheet", {"printable": printable})
