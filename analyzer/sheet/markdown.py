"""The guide as Markdown, to paste into a message."""

from __future__ import annotations

from collections.abc import Iterator

from analyzer.report.markdown import code, escaped
from analyzer.sheet.content import ENDING, TAKES, Part, Sheet


def as_markdown(sheet: Sheet) -> str:
    """The guide; it reads well, too, where Markdown is not rendered."""
    return "\n".join(_lines(sheet)) + "\n"


def _lines(sheet: Sheet) -> Iterator[str]:
    yield from (f"# {escaped(sheet.title)}", "", escaped(sheet.introduction))
    for part in sheet.before:
        yield from _part(part)
    yield from ("", escaped(sheet.table_heading), "")
    yield from _table(sheet)
    for part in sheet.after:
        yield from _part(part)


def _part(part: Part) -> Iterator[str]:
    yield from ("", f"## {escaped(part.heading)}", "")
    for number, point in enumerate(part.points, 1):
        mark = f"{number}." if part.numbered else "-"
        yield f"{mark} {escaped(point)}"


def _table(sheet: Sheet) -> Iterator[str]:
    yield "| String | Note | Open | 12th fret |"
    yield "| --- | --- | --- | --- |"
    for row in sheet.rows:
        names = (code(f"{name}_1{ENDING}") for name in (row.open_name, row.fretted_name))
        yield f"| {row.string} | {escaped(row.note)} | {' | '.join(names)} |"
    yield from (
        "",
        f"For each further try, up to {TAKES}, its number takes the place of the last 1.",
    )
