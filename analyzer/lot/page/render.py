"""The page of a lot as HTML that needs nothing beside itself.

Its one script makes a table that can be filtered and sorted from the text that stands in the page.
Without it the page says all the same: the table then lists what needs to be looked at, and the text
holds every value. The policy of the page lets this script run, known by its hash, and nothing else.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Callable, Mapping
from datetime import date
from functools import cache
from importlib.resources import files
from typing import Any

import pandas as pd
from jinja2 import Template
from markupsafe import Markup, escape

from analyzer.html import page_template
from analyzer.lot.page.content import page_of
from analyzer.lot.page.instruments import HEADS
from analyzer.lot.summing.summary_model import LotSummary
from analyzer.page.render import harmless
from analyzer.page.rounding import plain
from analyzer.report.day import day_of

_PACKAGE = "analyzer.lot.page"
_SCRIPTS = ("drawing.js", "table.js")


def as_html(
    summary: LotSummary,
    sessions: pd.DataFrame,
    values: pd.DataFrame,
    pages: Mapping[str, str] | None = None,
    on: date | None = None,
) -> str:
    """HTML, every value escaped, nothing fetched.

    ``sessions`` and ``values`` have the columns of ``analyzer.lot.records`` and are those that
    ``summary`` was made from. ``pages`` has for a serial number the path of its own page, relative
    to this one, ``/`` between. ``on`` is the day that stands on it, by default today's.
    """
    page = page_of(summary, sessions, values, pages or {}, day_of(on))
    script = _script()
    # Markup: the text is escaped here, once, and not cut as a name would be.
    text = Markup(escape(page.instruments.text))  # noqa: S704
    digest = _digest(script)
    shown = _template().render(page=page, text=text, heads=HEADS, script=script, digest=digest)
    return f"{shown}\n"


@cache
def _template() -> Template:
    filters: dict[str, Callable[..., Any]] = {
        "plain": plain,
        "drawn": escape,  # paths are long, and not to be cut as a name would be
    }
    return page_template(_PACKAGE, filters, harmless, shares="analyzer.page")


@cache
def _script() -> Markup:
    place = files(_PACKAGE)
    parts = [(place / name).read_text("utf-8") for name in _SCRIPTS]
    return Markup("".join(parts))  # noqa: S704  our own


def _digest(script: str) -> str:
    """As Content Security Policy names a script (level 3, "hash-source")."""
    return base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
