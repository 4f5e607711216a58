"""Reading values out of a TOML table, each checked once, with one line for what is wrong.

Every message has the same parts: file and key, the value found, what is allowed, an example.
"""

from __future__ import annotations

import stat
import tomllib
from collections.abc import Sequence
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from analyzer.errors import UnusableInputError

_LARGEST_FILE = 1_000_000  # bytes; a file for people to write has some hundred
LONGEST_TEXT = 200  # characters of one value
_SHOWN = 60
_RIGHT_FILE = "Give the instrument file; it is a short text, as in the manual"


class Table:
    """A table of a TOML file: keys are taken out one by one, and what is left over is an error."""

    def __init__(self, file_name: str, heading: str, values: dict[str, Any]) -> None:
        self._file_name = file_name
        self._heading = heading
        self._values = dict(values)
        self._known: list[str] = []

    def fault(self, key: str, found: str, remedy: str) -> UnusableInputError:
        """The error for a key of this table."""
        place = f"[{self._heading}] {key}" if self._heading else f"[{key}]"
        return UnusableInputError(f"{self._file_name}, {place}", found, remedy)

    def has(self, key: str) -> bool:
        self._known.append(key)
        return key in self._values

    def take(self, key: str, allowed: str, default: Any = None) -> Any:
        """The value of a key, unchecked; with no default, it must be there."""
        if self.has(key):
            return self._values.pop(key)
        if default is None:
            raise self.fault(key, "is missing", f"{self._near(key)}dd {allowed}")
        return default

    def _near(self, key: str) -> str:
        """How the remedy for a key that is missing begins: it may be there, misspelt."""
        near = get_close_matches(key, self._values, 1, 0.75)
        return f"Mend the spelling of {shown(near[0])}, or a" if near else "A"

    def number(
        self, key: str, low: float, high: float, example: str, default: float | None = None
    ) -> float:
        allowed = f"a number from {low:g} to {high:g}, such as {example}"
        return self.number_in(key, self.take(key, allowed, default), low, high, allowed)

    def number_in(self, key: str, value: Any, low: float, high: float, allowed: str) -> float:
        """Check one number, which may stand in a list."""
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            raise self.fault(key, f"is {shown(value)}, not a number", f"Give {allowed}")
        if not low <= value <= high:  # no comparison holds for NaN
            raise self.fault(key, f"is {shown(value)}", f"Give {allowed}")
        return float(value)

    def number_each(
        self, key: str, strings: Sequence[int], low: float, high: float, example: str
    ) -> dict[int, float]:
        """A number for each string, longest string number first, or one that holds for all."""
        allowed = f"{low:g} to {high:g} millimetres, such as {example}, or a list of one for each"
        value = self.take(key, f"{allowed} string")
        values = value if isinstance(value, list) else [value] * len(strings)
        if len(values) != len(strings):
            found = f"lists {len(values)} lengths for {len(strings)} strings"
            raise self.fault(key, found, f"Give {allowed} string")
        checked = [self.number_in(key, each, low, high, f"{allowed} string") for each in values]
        return dict(zip(strings, checked, strict=True))

    def text(self, key: str, allowed: str, default: str | None = None) -> str:
        value = self.take(key, allowed, default)
        if not isinstance(value, str) or len(value) > LONGEST_TEXT or not value.isprintable():
            raise self.fault(key, f"is {shown(value)}", f"Give {allowed}")
        return value

    def choice(self, key: str, choices: Sequence[str], default: str | None = None) -> str:
        allowed = " or ".join(f'"{choice}"' for choice in choices)
        value = self.text(key, allowed, default)
        if value not in choices:
            raise self.fault(key, f"is {shown(value)}", f"Give {allowed}")
        return value

    def list_of(self, key: str, allowed: str) -> list[Any]:
        value = self.take(key, allowed)
        if not isinstance(value, list) or not value:
            raise self.fault(key, f"is {shown(value)}", f"Give {allowed}")
        return value

    def table(self, key: str) -> Table:
        value = self.take(key, f"a table headed [{key}]")
        if not isinstance(value, dict):
            raise self.fault(key, f"is {shown(value)}, not a table", f"Head a table with [{key}]")
        return Table(self._file_name, key, value)

    def tables(self, key: str, allowed: str) -> list[Table]:
        """An array of tables, [[...]] in the file."""
        values = self.list_of(key, allowed)
        for value in values:
            if not isinstance(value, dict):
                raise self.fault(key, f"has {shown(value)}", f"Give {allowed}")
        heading = f"{self._heading}.{key}" if self._heading else key
        return [Table(self._file_name, heading, value) for value in values]

    def called(self, heading: str) -> Table:
        """What is left of this table under another heading, for messages that say which it is."""
        return Table(self._file_name, heading, self._values)

    def done(self) -> None:
        """Nothing may be left: a key that is not known is often a slip of the pen."""
        for key in self._values:
            known = ", ".join(dict.fromkeys(self._known))
            raise self.fault(key, "is not known here", f"Mend its spelling; known are: {known}")


def shown(value: Any) -> str:
    """A value as it may stand in a message: short, and on one line."""
    try:
        text = repr(value)
    except (ValueError, RecursionError):  # Python refuses to write out thousands of digits
        text = "a number of thousands of digits"
    return text if len(text) <= _SHOWN else f"{text[:_SHOWN]}..."


def read_toml(path: Path, right_file: str = _RIGHT_FILE) -> Table:
    """The whole file as a table; ``right_file`` is the remedy where it is something else.

    Raises UnusableInputError where it is not readable TOML.
    """
    try:
        return Table(path.name, "", tomllib.loads(text_of(path, right_file)))
    except tomllib.TOMLDecodeError as error:
        raise _bad_toml(path.name, str(error).rstrip(".")) from error
    except RecursionError as error:
        raise UnusableInputError(path.name, "is nested too deeply", right_file) from error
    except ValueError as error:  # what is left is Python's own limit
        raise UnusableInputError(
            path.name,
            "holds a number of thousands of digits",
            "Look for a slip of the pen; lengths are in millimetres, such as 647.7",
        ) from error


def text_of(path: Path, remedy: str) -> str:
    """What stands in a file, which is looked at before it is opened: some things have no end.

    Raises UnusableInputError, with the remedy, for what is no file of text or is over 1 MB.
    """
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            raise UnusableInputError(str(path), "is not a regular file", remedy)
        with path.open("rb") as file:
            content = file.read(_LARGEST_FILE + 1)
    except OSError as error:
        raise UnusableInputError(
            str(path), f"cannot be read ({error.strerror})", "Check the path and its permissions"
        ) from error
    if len(content) > _LARGEST_FILE:
        raise UnusableInputError(path.name, "is larger than 1 MB", remedy)
    try:
        return content.decode("utf-8-sig").replace("\r\n", "\n").replace("\r", "\n")
    except UnicodeDecodeError as error:
        raise UnusableInputError(
            path.name, "is not plain text in UTF-8", "Save it again as UTF-8"
        ) from error


def _bad_toml(file_name: str, said: str) -> UnusableInputError:
    if "overwrite" in said or "twice" in said:
        return UnusableInputError(
            file_name, f"gives a key or table a second time ({said})", "Keep one of the two"
        )
    return UnusableInputError(
        file_name, f"is not valid TOML ({said})", "Compare that line with the manual's example"
    )
