"""What was really turned, from a small table (CSV): adjuster, turns and direction, or move_mm.

    adjuster,turns,direction
    saddle 6,5.5,clockwise
    saddle 3,8,clockwise

An adjuster may be named by the only string that it moves. What is not listed was not touched; an
adjuster listed twice was moved twice. Without a screw, ``move_mm`` is positive away from the nut.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import cast

from analyzer.bridge.steps import Direction, move_of_turns_mm
from analyzer.errors import UnusableInputError
from analyzer.instrument.model import Adjuster
from analyzer.instrument.tables import shown, text_of

_RIGHT_FILE = "Give a table with the columns adjuster, turns, direction"
_DIRECTIONS = ("clockwise", "counterclockwise", "none")
_MOST_TURNS, _MOST_MM = 100.0, 60.0


def read_turned(path: Path, adjusters: Sequence[Adjuster]) -> dict[str, float]:
    """Mm that each adjuster, by name, was moved away from the nut.

    Raises
    ------
    UnusableInputError
        One line: the file, the line, what stands there, and what may.
    """
    rows = csv.DictReader(io.StringIO(text_of(path, _RIGHT_FILE)), skipinitialspace=True)
    try:
        rows.fieldnames = _columns(path.name, rows.fieldnames or ())
        moves: dict[str, float] = {each.name: 0.0 for each in adjusters}
        for row in rows:
            line = _Line(f"{path.name}, line {rows.line_num}", row)
            adjuster = line.adjuster(adjusters)
            moves[adjuster.name] += line.move_mm(adjuster)
    except csv.Error as error:
        raise UnusableInputError(path.name, f"is no CSV ({error})", _RIGHT_FILE) from error
    return moves


def _columns(name: str, given: Sequence[str]) -> list[str]:
    columns = [(each or "").strip().lower() for each in given]
    if "adjuster" not in columns or not {"turns", "move_mm"} & set(columns):
        found = f"has the columns {', '.join(columns) or 'of an empty file'}"
        raise UnusableInputError(name, found, _RIGHT_FILE)
    return columns


class _Line:
    """One row of the table, with the place that its faults name."""

    def __init__(self, where: str, row: Mapping[str | None, str | list[str] | None]) -> None:
        self._where = where
        self._row = {key: (row[key] or "") for key in row if key is not None}

    def _text(self, column: str) -> str:
        value = self._row.get(column, "")
        return value.strip() if isinstance(value, str) else ""

    def _fault(self, found: str, remedy: str) -> UnusableInputError:
        return UnusableInputError(self._where, found, remedy)

    def adjuster(self, adjusters: Sequence[Adjuster]) -> Adjuster:
        name = self._text("adjuster")
        for each in adjusters:
            alone = [str(each.strings[0])] if len(each.strings) == 1 else []
            if name.casefold() in (each.name.casefold(), *alone):
                return each
        known = ", ".join(each.name for each in adjusters)
        raise self._fault(f"names adjuster {shown(name)}", f"This bridge has: {known}")

    def move_mm(self, adjuster: Adjuster) -> float:
        turns, moved = self._text("turns"), self._text("move_mm")
        if bool(turns) == bool(moved):
            both_or_none = "both turns and" if turns else "neither turns nor"
            raise self._fault(f"gives {both_or_none} move_mm", "Give one of the two")
        if moved:
            return self._number("move_mm", -_MOST_MM, _MOST_MM)
        return self._move_of_turns_mm(adjuster)

    def _move_of_turns_mm(self, adjuster: Adjuster) -> float:
        if adjuster.screw is None:
            raise self._fault(
                f"gives turns for {adjuster.name}, which has no screw in the instrument file",
                "Give move_mm, positive away from the nut",
            )
        count = self._number("turns", 0.0, _MOST_TURNS)
        way = self._text("direction").casefold()
        if way not in _DIRECTIONS or (way == "none" and count):
            raise self._fault(
                f"has direction {shown(self._text('direction'))}",
                "Give clockwise or counterclockwise, as seen facing the head of the screw",
            )
        return move_of_turns_mm(count, cast("Direction", way), adjuster.screw)

    def _number(self, column: str, low: float, high: float) -> float:
        text = self._text(column)
        try:
            value = float(text)
        except ValueError:
            value = float("nan")
        if not low <= value <= high:
            raise self._fault(
                f"has {column} {shown(text)}", f"Give a number from {low:g} to {high:g}"
            )
        return value
