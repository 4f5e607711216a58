"""The one family of exceptions. Each is a single line: where, what, what is allowed, the remedy."""

from __future__ import annotations

from collections.abc import Sequence

LONGEST_SHOWN = 500  # characters; a file name has at most 255
_CUT = " ... "
_KEPT_END = 60  # of a text that is cut in the middle: a path says most at its end


def printable(text: str, longest: int = LONGEST_SHOWN) -> str:
    r"""Text as one line that no terminal obeys.

    Control characters, line ends and bytes of a file name that are no UTF-8 stand as escapes such
    as ``\x1b`` and ``\udcff``; more than ``longest`` characters are cut in the middle.

    >>> print(printable("a\nb"))
    a\nb
    """
    if not text.isprintable():
        text = "".join(each if each.isprintable() else _escaped(each) for each in text)
    if len(text) <= longest:
        return text
    return text[: longest - _KEPT_END - len(_CUT)] + _CUT + text[-_KEPT_END:]


def some_of(shown: Sequence[str], count: int) -> str:
    """Those of ``count`` names that are shown, and how many there are beside them.

    >>> some_of(["P1", "P2"], 5), some_of(["P1", "P2"], 2)
    ('P1, P2 and 3 more', 'P1, P2')
    """
    more = count - len(shown)
    return ", ".join(shown) + (f" and {more} more" if more > 0 else "")


def _escaped(character: str) -> str:
    return character.encode("unicode_escape").decode("ascii")


class PluckcheckError(Exception):
    """Something that the user gave cannot be used.

    Parameters
    ----------
    where : the file, folder or option, with the key or column if there is one.
    found : what is wrong, with the value.
    remedy : what is allowed and how to mend it.
    """

    def __init__(self, where: str, found: str, remedy: str) -> None:
        # Parts come from files and their names, which may hold anything.
        self.where, self.found, self.remedy = map(printable, (where, found, remedy))
        super().__init__(f"{self.where}: {self.found}. {self.remedy}.")

    @property
    def reason(self) -> str:
        """The line without the place, for a table that names the place already."""
        return f"{self.found}. {self.remedy}."

    def __reduce__(self) -> tuple[type, tuple[str, str, str]]:
        # Exceptions cross process borders; without this, unpickling would miss two arguments.
        return type(self), (self.where, self.found, self.remedy)


class UnusableInputError(PluckcheckError):
    """Nothing can be analyzed: no folder, no recording, no valid instrument file."""


class RecordingError(PluckcheckError):
    """One recording cannot be used; the others go on."""
