"""Where the report goes, settled before anything is measured."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path
from typing import Any

from analyzer.errors import UnusableInputError
from analyzer.report.files import check_place, write_bytes
from cli.streams import print_data

DASH = "-"
_NO_TEXT = {"--xlsx"}  # a terminal would obey what it holds


@dataclass(frozen=True)
class Output:
    """One form of a result and its place; ``printed`` where that is standard output."""

    option: str
    path: Path
    form: Callable[[Any], str | bytes]

    @property
    def printed(self) -> bool:
        """True for ``-`` and for whatever else standard output goes to, such as /dev/stdout."""
        try:
            return str(self.path) == DASH or os.path.samestat(
                self.path.stat(), os.fstat(sys.stdout.fileno())
            )
        except (OSError, ValueError):
            return False

    @property
    def places(self) -> Sequence[Path]:
        """The one file that it writes."""
        return [self.path]

    def check(self, inputs: Sequence[Path]) -> None:
        """Refuse a place that holds an input or cannot be written to."""
        if self.printed:
            if self.option in _NO_TEXT and sys.stdout.isatty():
                found = "would go to the terminal, and is no text"
                raise UnusableInputError(self.option, found, "Give the name of a file, or a pipe")
            return
        _check_not_read(self.option, self.places, inputs)
        check_place(self.path)

    def deliver(self, result: Any) -> None:
        content = self.form(result)
        if self.printed:
            print_data(content)
        else:
            write_bytes(self.path, content if isinstance(content, bytes) else content.encode())


@dataclass(frozen=True)
class FolderOutput:
    """Several files into a folder; ``names`` are all that they may have."""

    option: str
    path: Path
    names: Sequence[str]
    check_place: Callable[[Path], None]
    write: Callable[[Any, Path], None]
    printed: bool = False

    @property
    def places(self) -> Sequence[Path]:
        """Every file that it may write."""
        return [self.path / name for name in self.names]

    def check(self, inputs: Sequence[Path]) -> None:
        """Refuse a folder in which an input would be written over, or that cannot be written to."""
        if str(self.path) == DASH:
            raise UnusableInputError(self.option, "is -", "Give a folder; it holds several files")
        there = [place for place in self.places if os.path.lexists(place)]
        _check_not_read(self.option, there, inputs)
        self.check_place(self.path)

    def deliver(self, result: Any) -> None:
        self.write(result, self.path)


@dataclass(frozen=True)
class StoreOutput:
    """What is added to a store, which may be there; ``places`` are all its files."""

    option: str
    path: Path
    places: Sequence[Path]
    keep: Callable[[Any], None]
    printed: bool = False

    def check(self, inputs: Sequence[Path]) -> None:
        """Refuse a place that holds an input. Whether it is a store, opening it will say."""
        _check_not_read(self.option, self.places, inputs)

    def deliver(self, result: Any) -> None:
        self.keep(result)


def _check_not_read(option: str, places: Sequence[Path], inputs: Sequence[Path]) -> None:
    for place in places:
        for path in inputs:
            if _same(place, path):
                raise UnusableInputError(
                    option, f"would write over {path}, which is read", "Give another name"
                )


AnyOutput = Output | FolderOutput | StoreOutput


def outputs_of(**wanted: tuple[Path | None, Callable[[Any], str | bytes]]) -> list[Output]:
    """The outputs that are wanted, by option, of a place (None: not wanted) and a form each."""
    return [
        Output(f"--{option.replace('_', '-')}", path, form)
        for option, (path, form) in wanted.items()
        if path is not None
    ]


def check_outputs(outputs: Sequence[AnyOutput], inputs: Sequence[Path]) -> None:
    """Raise UnusableInputError where two outputs share a place or one cannot have its own."""
    for output in outputs:
        output.check(inputs)
    for one, other in combinations(outputs, 2):
        if (one.printed and other.printed) or _meet(one, other):
            raise UnusableInputError(
                other.option,
                f"is {other.path}, and {one.option} goes there too",
                "Give each its own file",
            )


def deliver_all(outputs: Sequence[AnyOutput], result: Any) -> None:
    """Write every output that can be written, files first; then raise what went wrong first."""
    failures = list(_failures(sorted(outputs, key=lambda output: output.printed), result))
    if failures:
        raise failures[0]


def _failures(outputs: Sequence[AnyOutput], result: Any) -> Iterator[UnusableInputError]:
    for output in outputs:
        try:
            output.deliver(result)
        except UnusableInputError as error:
            yield error


def _meet(one: AnyOutput, other: AnyOutput) -> bool:
    places = [one.path, *one.places], [other.path, *other.places]
    return any(_same(a, b) for a in places[0] for b in places[1])


def _same(one: Path, other: Path) -> bool:
    try:
        return one.samefile(other)
    except OSError:  # at least one is not there yet
        return os.path.realpath(one) == os.path.realpath(other)
