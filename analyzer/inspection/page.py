"""An inspection as a page that needs nothing beside itself, in the style of the report's."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Any

from jinja2 import Template
from markupsafe import escape

from analyzer.html import page_template
from analyzer.inspection import content, drawings
from analyzer.inspection.model import Inspection, PluckList
from analyzer.inspection.small_drawings import small_drawings
from analyzer.page.render import harmless
from analyzer.page.rounding import plain


def inspection_as_html(result: Inspection | PluckList) -> str:
    """HTML, every value escaped; no script, nothing fetched."""
    if isinstance(result, PluckList):
        shown = {
            "plucks": result,
            "title": result.title,
            "file": tuple(content.file_facts(result.sound)),
            "level": drawings.level_drawing(result),
        }
        return f"{_template().render(shown)}\n"
    return f"{_template().render(_shown(result))}\n"


def _shown(found: Inspection) -> dict[str, object]:
    """Everything that the template names."""
    return {
        "plucks": None,
        "title": found.title,
        "found": found,
        "verdict": content.verdict_of(found),
        "head": tuple(content.head_facts(found)),
        "file": tuple(content.file_facts(found.sound)),
        "place": tuple(content.place_facts(found)),
        "figures": tuple(content.figure_facts(found)),
        "level": drawings.level_drawing(found),
        "wave": drawings.wave_drawing(found),
        "course": drawings.course_drawing(found),
        "deviations": drawings.deviations_drawing(found.tracks),
        "small": small_drawings(found),
        "partials": tuple(zip(found.tracks, content.partial_rows(found.tracks), strict=True)),
        "checks": tuple(
            (
                each,
                content.check_text(each),
                content.limit_text(each, each.caution),
                content.limit_text(each, each.reject),
            )
            for each in found.checks
        ),
    }


@cache
def _template() -> Template:
    filters: dict[str, Callable[..., Any]] = {
        "drawn": escape,  # places of a drawing are long, and not to be cut as a name would be
        "plain": plain,
        "pluck_text": content.pluck_text,
        "settled": content.settled_text,
    }
    return page_template("analyzer.inspection", filters, harmless, shares="analyzer.page")
