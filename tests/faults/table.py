"""All faults that the tests make, and what the program says: ``python tests/faults/table.py``.

Runs each test that is marked ``fault`` (all of tests/faults but the fuzzing, and those elsewhere
that are marked), and notes what was really said, with the exit code. Further words go to pytest,
such as ``-k disk``. A row is a test: its words are its name's, or those of the mark; where it has
several cases, the first that was said something of is shown, and ``--each`` shows all. An exit code
in brackets is the one that a command ends with where the test called the library: 2 for unusable
input, 1 for a recording that is left out, or a session that a lot goes on without.
"""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from analyzer.errors import PluckcheckError, UnusableInputError
from analyzer.lot.records import Fault

HERE = Path(__file__).parent
_TEMPORARY = re.compile(r"\S*/pytest-of-[^/]+/pytest-\d+/(?:[^/\s]+/)?")
_COMPLAINT = re.compile(r"^pluckcheck: .*", re.MULTILINE)
_LEFT_OUT = re.compile(r"^(?:Left out|Note): (?:.*[^.\n]\n)?.*", re.MULTILINE)
_LONGEST = 300  # characters of what is said


@dataclass
class Row:
    """One test: what it breaks, and what came of it, in the order of its cases."""

    test: str
    fault: str
    said: list[tuple[str, str, str]] = field(default_factory=list)  # case, line, exit code
    failed: bool = False

    def lines(self, *, each: bool) -> Iterator[str]:
        first = next((one for one in self.said if one[2] != "0"), self.said[0])
        for case, line, code in self.said if each else [first]:
            named = f"{self.fault} [{case}]" if each and case else self.fault
            more = f" ({len(self.said)} cases)" if len(self.said) > 1 and not each else ""
            cells = (named + more, line, "FAILED" if self.failed else code, self.test)
            yield "| " + " | ".join(text.replace("|", "\\|") for text in cells) + " |"


class FaultTable:
    """A plugin of pytest that fills the table while the tests run."""

    def __init__(self) -> None:
        self.rows: dict[str, Row] = {}
        self._ended: list[tuple[int, str, str]] = []
        self._raised: list[PluckcheckError] = []
        self._faults: set[str] = set()  # reasons of sessions that a lot goes on without

    def pytest_collection_finish(self) -> None:
        import conftest
        import forked

        _after(PluckcheckError, "__init__", lambda error, _: self._raised.append(error))
        _after(Fault, "__init__", lambda fault, _: self._faults.add(fault.reason))
        _after(subprocess.Popen, "communicate", self._communicated)
        _after(
            conftest.Called, "__init__", lambda done, _: self.ended(done.code, done.out, done.err)
        )
        _after(
            forked.Forked,
            "wait",
            lambda done, _: self.ended(done.code, *map(_text, done.texts.values())),
        )

    def _communicated(self, process: Any, streams: tuple[Any, Any]) -> None:
        self.ended(process.returncode, *("" if each is None else _text(each) for each in streams))

    def ended(self, code: int, out: str, err: str) -> None:
        """A command has ended so."""
        if code:
            self._ended.append((code, out, err))

    @pytest.hookimpl(hookwrapper=True)
    def pytest_runtest_call(self, item: pytest.Item) -> Iterator[None]:
        self._ended, self._raised, self._faults = [], [], set()
        outcome = yield
        name, _, case = item.nodeid.partition("[")
        mark = item.get_closest_marker("fault")
        words = mark.args[0] if mark is not None and mark.args else _words(name)
        row = self.rows.setdefault(name, Row(name, words))
        row.failed |= outcome.excinfo is not None
        row.said.append((case.rstrip("]"), *self._said()))

    def _said(self) -> tuple[str, str]:
        for code, out, err in self._ended:
            found = _COMPLAINT.search(err) or _LEFT_OUT.search(out)
            if found:
                return _short(found.group()), str(code)
        if self._raised:
            worst = next((e for e in self._raised if isinstance(e, UnusableInputError)), None)
            shown = worst or self._raised[0]
            passed_over = worst is None or worst.reason in self._faults
            code = str(self._ended[0][0]) if self._ended else "(1)" if passed_over else "(2)"
            return _short(str(shown)), code
        if self._ended:
            code, out, err = self._ended[0]
            return _short(err or out) or "nothing: it ends at once", str(code)
        return "no error: it goes on", "0"

    def printed(self, *, each: bool) -> str:
        head = "| what is broken | what is said | exit code | test |\n| --- | --- | --- | --- |"
        return "\n".join(
            [head, *(line for row in self.rows.values() for line in row.lines(each=each))]
        )


def _after(kind: type, method: str, note: Any) -> None:
    real = getattr(kind, method)

    def noted(self: Any, *words: Any, **options: Any) -> Any:
        result = real(self, *words, **options)
        note(self, result)
        return result

    setattr(kind, method, noted)


def _text(stream: str | bytes) -> str:
    return stream if isinstance(stream, str) else stream.decode("utf-8", "replace")


def _words(test: str) -> str:
    return test.rpartition("::")[2].removeprefix("test_").replace("_", " ")


def _short(text: str) -> str:
    line = " ".join(_TEMPORARY.sub("", text).removeprefix("pluckcheck: ").split())
    return line if len(line) <= _LONGEST else f"{line[:_LONGEST]} ..."


def main(words: list[str]) -> int:
    each = "--each" in words
    table = FaultTable()
    rest = [word for word in words if word != "--each"]
    places = [] if any(Path(word.partition("::")[0]).exists() for word in rest) else [HERE.parent]
    quiet = ["-q", "--no-header", "-p", "no:cacheprovider", "-m", "fault", *map(str, places), *rest]
    code = pytest.main(quiet, plugins=[table])
    sys.stdout.write(f"\n{table.printed(each=each)}\n{len(table.rows)} faults\n")
    return int(code)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
