"""The one family of exceptions. Each is a single line: where, what, what is allowed, the remedy."""

from __future__ import annotations


class PluckcheckError(Exception):
    """Something that the user gave cannot be used.

    Parameters
    ----------
    where : the file, folder or option, with the key or column if there is one.
    found : what is wrong, with the value.
    remedy : what is allowed and how to mend it.
    """

    def __init__(self, where: str, found: str, remedy: str) -> None:
        self.where = where
        self.found = found
        self.remedy = remedy
        super().__init__(f"{where}: {found}. {remedy}.")

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
