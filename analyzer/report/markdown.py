"""Text from files and their names, such that Markdown shows it as it is and obeys none of it."""

from __future__ import annotations

import re

from analyzer.errors import printable

# CommonMark 0.31, section 2.4: any of these may have a backslash before it. Underscores and dots
# within words and ordinary brackets mean nothing alone and stay, so that the text reads well raw.
_SPECIAL = re.compile(r"([\\`*\[\]<>#&~|!])|(?<!\w)_|_(?!\w)|^([-+]|\d+[.)])", re.MULTILINE)
_RUNS = re.compile("`+")


def escaped(text: str) -> str:
    r"""Plain text, on one line.

    >>> print(escaped("*loud* [take](2)"))
    \*loud\* \[take\](2)
    """
    return _SPECIAL.sub(lambda match: "".join(_backslashed(match[0])), printable(text))


def _backslashed(found: str) -> str:
    if found[0].isdigit():  # the number of a list: only what follows it can be escaped
        return f"{found[:-1]}\\{found[-1]}"
    return f"\\{found}"


def code(text: str) -> str:
    """A file name or other literal text, between as many backticks as it needs (section 6.1).

    >>> print(code("a`b.wav"))
    ``a`b.wav``
    """
    text = printable(text)
    fence = "`" * (1 + max((len(run) for run in _RUNS.findall(text)), default=0))
    room = " " if text.startswith(("`", " ")) or text.endswith(("`", " ")) else ""
    return f"{fence}{room}{text}{room}{fence}"
