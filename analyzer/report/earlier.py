"""An earlier report, read back from its JSON, to compare with it or to learn from it.

Only what is used is read, and all of that is checked: a report may have been edited by hand.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, cast

import numpy as np

from analyzer.bridge.response import Response
from analyzer.bridge.steps import Direction
from analyzer.errors import UnusableInputError
from analyzer.instrument.tables import Table, shown, text_of
from analyzer.report.model import SCHEMA_VERSION

_RIGHT_FILE = "Give a report that pluckcheck analyze wrote with --json"
_LARGEST_CENTS = 1200.0
_LARGEST_MM = 1000.0
_LONGEST_MM = 5000.0
_FURTHEST_RESPONSE = 0.8  # from the geometry's 1; further off it is no response but a mistake
_ROUNDING = 1e-9


@dataclass(frozen=True)
class EarlierString:
    """A string's error and its 95 % half-width, cents; None where there was no result."""

    string: int
    note: str
    error_cents: float | None
    error_uncertainty_cents: float | None


@dataclass(frozen=True)
class EarlierAdjuster:
    """What was advised for an adjuster (0 where nothing was), and the travel it had, mm.

    ``turns`` with ``direction``, and ``pitch_mm``, are None where it had no screw.
    """

    name: str
    move_mm: float
    turns: float | None
    direction: Direction | None
    pitch_mm: float | None
    travel_mm: tuple[float, float] | None
    moved_mm: float


@dataclass(frozen=True)
class EarlierReport:
    """A report as read from ``file``. ``response`` is None where it has no bridge.

    ``scale_lengths_mm`` is None where the report does not say.
    """

    file: str
    instrument: str
    name_given: bool
    tuning: tuple[str, ...]
    strings: tuple[EarlierString, ...]
    adjusters: tuple[EarlierAdjuster, ...]
    response: Response | None
    scale_lengths_mm: tuple[float, ...] | None = None


def read_report(path: Path) -> EarlierReport:
    """Read a report's JSON.

    Raises
    ------
    UnusableInputError
        One line: no report, one of another schema, or the figure that is missing or wrong.
    """
    return parse_report(path.name, text_of(path, _RIGHT_FILE))


def parse_report(file_name: str, text: str) -> EarlierReport:
    """As ``read_report``, from the text itself."""
    body = _body(file_name, text)
    table = Table(file_name, "", body)
    about = table.table("instrument")
    tuning = about.list_of("tuning", "the list of note names")
    listed = body.get("adjusters")
    adjusters = tuple(map(_adjuster, table.tables("adjusters", "a list"))) if listed else ()
    return EarlierReport(
        file_name,
        about.text("name", "the name of the instrument"),
        about.take("name_given", "true or false", default=True) is not False,
        tuple(map(str, tuning)),
        tuple(map(_string, table.tables("strings", "a list with an entry for each string"))),
        adjusters,
        _response(file_name, body, [each.name for each in adjusters]),
        _scale_lengths_mm(about),
    )


def _body(file_name: str, text: str) -> dict[str, Any]:
    """The JSON of a report of this schema."""
    try:
        body = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise UnusableInputError(file_name, "is not JSON", _RIGHT_FILE) from error
    if not isinstance(body, dict) or "schema_version" not in body:
        raise UnusableInputError(file_name, "is no report: it has no schema_version", _RIGHT_FILE)
    if body["schema_version"] != SCHEMA_VERSION or isinstance(body["schema_version"], bool):
        raise UnusableInputError(
            file_name,
            f"has schema_version {shown(body['schema_version'])}",
            f"This version reads {SCHEMA_VERSION}: analyze those recordings again",
        )
    return body


def _string(table: Table) -> EarlierString:
    return EarlierString(
        int(table.number("string", 1, 99, "6")),
        table.text("note", "the note of the open string"),
        _number_or_null(table, "error_cents", -_LARGEST_CENTS),
        _number_or_null(table, "error_uncertainty_cents", 0.0),
    )


def _adjuster(table: Table) -> EarlierAdjuster:
    return EarlierAdjuster(
        table.text("name", "the name of the adjuster"),
        _number_or_null(table, "move_mm", -_LARGEST_MM, _LARGEST_MM) or 0.0,
        _number_or_null(table, "turns", 0.0, _LARGEST_MM),
        _direction(table),
        _number_or_null(table, "pitch_mm", 0.0, _LARGEST_MM),
        _travel(table),
        table.number("moved_mm", -_LARGEST_MM, _LARGEST_MM, "0.0"),
    )


def _direction(table: Table) -> Direction | None:
    key, known = "direction", ("clockwise", "counterclockwise", "none", None)
    given = table.take(key, "clockwise, counterclockwise, none or null")
    if given not in known:
        raise table.fault(key, f"is {shown(given)}", "Give clockwise, counterclockwise or none")
    return cast("Direction | None", given)


def _travel(table: Table) -> tuple[float, float] | None:
    key, allowed = "travel_mm", "two lengths in mm, or null"
    given = table.take(key, allowed)
    if given is None:
        return None
    if not isinstance(given, list) or len(given) != 2:
        raise table.fault(key, f"is {shown(given)}", f"Give {allowed}")
    toward, away = (table.number_in(key, each, 0, _LARGEST_MM, allowed) for each in given)
    return toward, away


def _scale_lengths_mm(about: Table) -> tuple[float, ...] | None:
    """A report of an instrument without scale length says null; older ones say nothing."""
    key, allowed = "scale_lengths_mm", "a list of lengths in mm, or null"
    given = about.take(key, allowed) if about.has(key) else None
    if given is None:
        return None
    if not isinstance(given, list):
        raise about.fault(key, f"is {shown(given)}", f"Give {allowed}")
    return tuple(about.number_in(key, each, 1.0, _LONGEST_MM, allowed) for each in given)


def _number_or_null(
    table: Table, key: str, low: float, high: float = _LARGEST_CENTS
) -> float | None:
    allowed = f"a number from {low:g} to {high:g}, or null"
    value = table.take(key, allowed)
    return None if value is None else table.number_in(key, value, low, high, allowed)


def _response(file_name: str, body: dict[str, Any], names: Sequence[str]) -> Response | None:
    """What was learned so far; None where the report has no bridge."""
    given = body.get("response")
    if not isinstance(given, dict) or not names:
        return None
    size = 1 + len(names)
    try:
        state = np.array(given.get("state"), dtype=float)
        covariance = np.array(given.get("covariance"), dtype=float)
        rounds = int(given.get("rounds", 0))
        sound = state.shape == (size,) and covariance.shape == (size, size)
        sound = sound and bool(np.all(np.abs(state[0] + state[1:]) <= _FURTHEST_RESPONSE))
        sound = sound and bool(np.allclose(covariance, covariance.T))
        sound = sound and bool(np.min(np.linalg.eigvalsh(covariance)) > -_ROUNDING)
    except (TypeError, ValueError, OverflowError):
        sound = False
    if not sound:
        found = "is not what was learned of these adjusters"
        raise UnusableInputError(f"{file_name}, [response]", found, _RIGHT_FILE)
    return Response(tuple(names), state, covariance, rounds)
