r"""How every result is written as JSON: indented, with its numbers side by side.

RFC 8259: UTF-8, and neither NaN nor infinity. Bytes of a file name that are no UTF-8 stand as
``\udc80`` to ``\udcff``, backslash and all.
"""

from __future__ import annotations

import json
import re
import textwrap
from dataclasses import asdict
from typing import Any

from analyzer import __version__

_INDENT = 2
_COLUMNS = 100  # a list of numbers that is longer goes on in the next line
_NUMBER = r"(?:-?\d[\d.eE+-]*|null)"
# Within a JSON string there is no line end, so a list found so is never part of a text.
_NUMBERS = re.compile(rf"(?<=\[)\n( *)({_NUMBER}(?:,\n *{_NUMBER})*)\n *(?=\])")
_NO_UTF8 = re.compile("[\ud800-\udfff]")  # how Python holds the bytes of a file name that are none


def head(schema_version: int) -> dict[str, Any]:
    """What every result begins with."""
    return {
        "schema_version": schema_version,
        "program": {"name": "pluckcheck", "version": __version__},
    }


def json_text(body: Any) -> str:
    """A value as JSON text that ends with its line; ValueError for NaN and infinity.

    A dataclass stands as its fields.

    >>> print(json_text({"strings": [6, 5], "note": None}), end="")
    {
      "strings": [6, 5],
      "note": null
    }
    """
    text = (
        json.dumps(body, indent=_INDENT, ensure_ascii=False, allow_nan=False, default=asdict) + "\n"
    )
    text = _NUMBERS.sub(_side_by_side, text)
    return _NO_UTF8.sub(lambda match: f"\\\\u{ord(match[0]):04x}", text)


def _side_by_side(found: re.Match[str]) -> str:
    """The numbers on as few lines as there must be, the first of them after the bracket."""
    indent, numbers = found[1], " ".join(found[2].split())
    if len(indent) + len(numbers) <= _COLUMNS:
        return numbers
    filled = textwrap.fill(numbers, _COLUMNS, initial_indent=indent, subsequent_indent=indent)
    return f"\n{filled}\n{indent[:-_INDENT]}"
