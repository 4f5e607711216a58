"""The letter as a short text in Markdown."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from analyzer.letter.content import letter_of
from analyzer.letter.model import Letter, Point, Section
from analyzer.report.day import day_of
from analyzer.report.markdown import code, escaped
from analyzer.report.model import Report


def as_letter(report: Report, on: date | None = None) -> str:
    """The letter about a report; names in it show as text.

    ``on`` is the day that stands on it, by default today's, where this runs.
    """
    day = day_of(on)
    return "\n".join(_lines(letter_of(report, day))) + "\n"


def _lines(letter: Letter) -> Iterator[str]:
    named = f" of {escaped(letter.instrument)}" if letter.instrument else ""
    yield f"# The tuning along the neck{named}"
    yield ""
    yield f"Written on {letter.on.day} {letter.on:%B %Y}."
    for section in letter.sections:
        yield from _section(section)


def _section(section: Section) -> Iterator[str]:
    yield from ("", f"## {section.heading}")
    for paragraph in section.paragraphs:
        yield from ("", escaped(paragraph))
    if section.points:
        yield ""
    yield from map(_point, section.points)


def _point(point: Point) -> str:
    if not point.files:
        return f"- {escaped(point.text)}"
    return f"- {', '.join(map(code, point.files))}: {escaped(point.text)}"
