"""The guide as plain text."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from analyzer.sheet.content import ENDING, TAKES, Part, Sheet

_NARROWEST = 40


def as_text(sheet: Sheet, columns: int) -> str:
    """The guide, no line longer than ``columns``, which are 40 or more."""
    columns = max(columns, _NARROWEST)
    blocks = [_wrapped(sheet.title, columns), "=" * min(len(sheet.title), columns)]
    blocks += ["", _wrapped(sheet.introduction, columns)]
    for part in sheet.before:
        blocks += ["", *_part(part, columns)]
    blocks += ["", _wrapped(sheet.table_heading, columns), "", *_table(sheet)]
    blocks += [_wrapped(f"(each with _1 to _{TAKES} behind it, and {ENDING})", columns, "  ", "  ")]
    for part in sheet.after:
        blocks += ["", *_part(part, columns)]
    return "\n".join(blocks) + "\n"


def _wrapped(text: str, columns: int, first: str = "", later: str = "") -> str:
    return textwrap.fill(
        text, columns, initial_indent=first, subsequent_indent=later, break_on_hyphens=False
    )


def _part(part: Part, columns: int) -> Iterator[str]:
    yield part.heading.upper()
    for number, point in enumerate(part.points, 1):
        mark = f"{number}. " if part.numbered else "- "
        yield _wrapped(point, columns, mark, " " * len(mark))


def _table(sheet: Sheet) -> Iterator[str]:
    heads = ("String", "Note", "Open", "12th fret")
    rows = [(str(row.string), row.note, row.open_name, row.fretted_name) for row in sheet.rows]
    widths = [max(map(len, column)) for column in zip(heads, *rows, strict=True)]
    for cells in (heads, *rows):
        padded = (cell.ljust(width) for cell, width in zip(cells, widths, strict=True))
        yield f"  {'   '.join(padded)}".rstrip()
