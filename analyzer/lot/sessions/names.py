"""Serial numbers and the names of stations and operators, from folders and from tables alike."""

from __future__ import annotations

import unicodedata
from functools import lru_cache

from analyzer.errors import printable
from analyzer.instrument.tables import LONGEST_TEXT

_NAMES_KNOWN = 256  # a table repeats its names from row to row


@lru_cache(_NAMES_KNOWN)
def tidy(name: str) -> str:
    """A name with its letters composed (Unicode's NFC) and without space around it."""
    return unicodedata.normalize("NFC", name).strip()


@lru_cache(_NAMES_KNOWN)
def folded(name: str) -> str:
    """What is the same for names that people would take for one, such as A1 and a1.

    >>> folded(" Straße 1") == folded("STRASSE 1")
    True
    """
    return unicodedata.normalize("NFC", tidy(name).casefold())


@lru_cache(_NAMES_KNOWN)
def unfit(name: str) -> str | None:
    """Why a text cannot be a name, to stand after *it*; None where it can."""
    text = tidy(name)
    if not is_utf8(text):
        return "is not UTF-8"
    if not text:
        return "is empty"
    if len(text) > LONGEST_TEXT:
        return f"has more than {LONGEST_TEXT} characters"
    if not name.strip(" ").isprintable():
        return f"holds characters that cannot be printed: {printable(name)}"
    return None


def is_utf8(name: str) -> bool:
    """Whether a file's name is text: some systems allow any bytes."""
    try:
        name.encode()
    except UnicodeEncodeError:
        return False
    return True
