"""Reading values out of a TOML table, each checked once, with one line for what is wrong.

Every message has the same parts: file and key, the value found, what is allowed, an example.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from analyzer.errors import UnusableInputError

_LARGEST_FILE = 1_000_000  # bytes; a file for people to write has some hundred
_SHOWN = 60


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
            raise self.fault(key, "is missing", f"Add {allowed}")
        return default

    def number(
        self, key: str, low: float, high: float, example: str, default: float | None = None
    ) -> float:
        allowed = f"a number from {low:g} to {high:g}, such as {example}"
        return self.number_in(key, self.take(key, allowed, default), low, high, allowed)

    def number_in(self, key: str, value: Any, low: float, high: float, allowed: str) -> float:
        """Check one number, which may stand in a list."""
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            raise self.fault(key, f"is {shown(value)}, not a number", f"Give {allowed}")
        if not math.isfinite(value) or not low <= value <= high:
            raise self.fault(key, f"is {shown(value)}", f"Give {allowed}")
        return float(value)

    def text(self, key: str, allowed: str, default: str | None = None) -> str:
        value = self.take(key, allowed, default)
        if not isinstance(value, str) or len(value) > 200 or not value.isprintable():
            raise self.fault(key, f"is {shown(value)}", f"Give {allowed}")
        return value

    def choice(self, key: str, choices: Sequence[str]) -> str:
        allowed = " or ".join(f'"{choice}"' for choice in choices)
        value = self.text(key, allowed)
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

    def done(self) -> None:
        """Nothing may be left: a key that is not known is often a slip of the pen."""
        for key in self._values:
            known = ", ".join(dict.fromkeys(self._known))
            raise self.fault(key, "is not known here", f"Mend its spelling; known are: {known}")


def shown(value: Any) -> str:
    """A value as it may stand in a message: short, and on one line."""
    text = repr(value)
    return text if len(text) <= _SHOWN else f"{text[:_SHOWN]}..."


def read_toml(path: Path) -> Table:
    """The whole file as a table. Raises UnusableInputError where it is not readable TOML."""
    try:
        if path.stat().st_size > _LARGEST_FILE:
            raise UnusableInputError(path.name, "is larger than 1 MB", "Is it the right file")
        return Table(path.name, "", tomllib.loads(path.read_text(encoding="utf-8-sig")))
    except tomllib.TOMLDecodeError as error:
        said = str(error).rstrip(".")
        raise UnusableInputError(
            path.name, f"is not valid TOML ({said})", "Compare that line with the manual's example"
        ) from error
    except RecursionError as error:
        raise UnusableInputError(
            path.name, "is nested too deeply", "Is it the right file"
        ) from error
    except UnicodeDecodeError as error:
        raise UnusableInputError(
            path.name, "is not plain text in UTF-8", "Save it again as UTF-8"
        ) from error
    except OSError as error:
        raise UnusableInputError(
            str(path), f"cannot be read ({error.strerror})", "Check the path and its permissions"
        ) from error
