"""lot.toml: what its keys are and what each may hold."""

from __future__ import annotations

from pathlib import Path
from typing import cast

from analyzer.errors import printable
from analyzer.instrument.file import MOST_STRINGS
from analyzer.instrument.tables import LONGEST_TEXT, Table, read_toml, shown
from analyzer.lot.judgement.specification import (
    CLOCK_CENTS,
    DEFAULT_CONFIDENCE,
    DEFAULT_MOST_MORE_TAKES,
    DEFAULT_SUBGROUP_SIZE,
    DecisionRule,
    Limits,
    Requirement,
    RuleKind,
    Specification,
    SubgroupBy,
    Subgroups,
)

FILE_NAME = "lot.toml"
LARGEST_SUBGROUP = 25  # as far as the published constants of control charts go
_MOST_CENTS = 100.0  # a semitone; whatever is further off is another note
_LEAST_TOLERANCE_CENTS = 0.01  # narrower than any measurement of a string
_CONFIDENCE = (0.5, 0.9999)  # below a half the two zones would overlap
_MOST_MORE_TAKES = 100
_MOST_STATIONS = 1000
_RIGHT_FILE = "Give the specification of the lot; it is a short text, as in the manual"
_LIMITS = "plus_minus_cents = 3.0, or lower_cents and upper_cents, or one of these two"
_EXCEPTIONS = "a table for each string that has limits of its own, with string = 6 and its limits"
_STATIONS = 'a list of names, such as ["line 1", "line 2"]'
_REQUIREMENTS = ("error", "open_pitch", "sustain_drift")
_RULES = ("guarded", "shared risk")
_SUBGROUPS = ("count", "station", "operator", "hour", "day")


def read_specification(path: Path, strings: int = MOST_STRINGS) -> Specification:
    """The specification that a TOML file holds, for instruments of so many ``strings``.

    Raises
    ------
    UnusableInputError
        One line: the file, the key, the value, what is allowed and how to mend it.
    """
    file = read_toml(path, _RIGHT_FILE)
    name, stations = _lot(file, path)
    found = {
        key: _requirement(file.table(key), key, strings) if file.has(key) else None
        for key in _REQUIREMENTS
    }
    rule = _rule(file.table("decision")) if file.has("decision") else DecisionRule()
    subgroups = _subgroups(file.table("subgroups")) if file.has("subgroups") else Subgroups()
    file.done()
    if not any(found.values()):
        raise file.fault("error", "is missing, and so is any other limit", f"Add {_LIMITS}")
    return Specification(name=name, rule=rule, subgroups=subgroups, stations=stations, **found)


def _lot(file: Table, path: Path) -> tuple[str, tuple[str, ...]]:
    """The name of the lot, that of the folder unless it is given, and the known stations."""
    folder = printable(path.resolve().parent.name, LONGEST_TEXT) or "unnamed"
    if not file.has("lot"):
        return folder, ()
    table = file.table("lot")
    name = table.text("name", 'a text such as "Week 12, six-strings"', folder)
    stations = _stations(table) if table.has("stations") else ()
    table.done()
    return name, stations


def _stations(table: Table) -> tuple[str, ...]:
    names = table.list_of("stations", _STATIONS)
    if len(names) > _MOST_STATIONS:
        raise table.fault("stations", f"names {len(names)}", f"At most {_MOST_STATIONS}")
    for each in names:
        if not isinstance(each, str) or not each.strip() or printable(each, LONGEST_TEXT) != each:
            raise table.fault("stations", f"has {shown(each)}", f"Give {_STATIONS}")
        if names.count(each) > 1:
            raise table.fault("stations", f"names {shown(each)} twice", "Keep one of the two")
    return tuple(names)


def _requirement(table: Table, key: str, strings: int) -> Requirement:
    own = _exceptions(table, key, strings) if table.has("strings") else {}
    limits = _limits(table, optional=bool(own))
    hidden = CLOCK_CENTS if key == "open_pitch" else 0.0
    reproducibility = table.number("reproducibility_cents", 0.0, _MOST_CENTS, "0.2", hidden)
    scatter = None
    # Only the drift has no scatter of its own known beforehand.
    if key == "sustain_drift" and table.has("take_scatter_cents"):
        scatter = table.number("take_scatter_cents", 0.0, _MOST_CENTS, "0.5")
    table.done()
    return Requirement(limits, own, reproducibility, scatter)


def _exceptions(table: Table, key: str, strings: int) -> dict[int, Limits]:
    found: dict[int, Limits] = {}
    for unnamed in table.tables("strings", _EXCEPTIONS):
        number = unnamed.take("string", "its number: string = 6")
        if type(number) is not int or not 1 <= number <= strings:
            raise table.fault(
                "strings",
                f"names string {shown(number)}",
                f"There are strings {strings} to 1, string 1 the thinnest",
            )
        if number in found:
            raise table.fault("strings", f"gives string {number} twice", "Keep one of the two")
        own = unnamed.called(f"{key}.strings, string {number}")
        limits = _limits(own)
        own.done()
        if limits is not None:
            found[number] = limits
    return found


def _limits(table: Table, *, optional: bool = False) -> Limits | None:
    """The limits of one table; None where there are none and that is allowed."""
    given = {
        key: table.number(key, least, _MOST_CENTS, example)
        for key, least, example in (
            ("plus_minus_cents", _LEAST_TOLERANCE_CENTS, "3.0"),
            ("lower_cents", -_MOST_CENTS, "-3.0"),
            ("upper_cents", -_MOST_CENTS, "3.0"),
            ("target_cents", -_MOST_CENTS, "0.0"),
        )
        if table.has(key)
    }
    target = given.pop("target_cents", 0.0)
    if not given:
        if optional:
            return None
        raise table.fault("plus_minus_cents", "is missing", f"Add {_LIMITS}")
    if "plus_minus_cents" not in given:
        limits = Limits(given.get("lower_cents"), given.get("upper_cents"), target)
        _in_order(table, limits)
        return limits
    if len(given) > 1:
        raise table.fault(
            "plus_minus_cents", "is given beside lower_cents or upper_cents", f"Give {_LIMITS}"
        )
    either_way = given["plus_minus_cents"]
    return Limits(target - either_way, target + either_way, target)


def _in_order(table: Table, limits: Limits) -> None:
    lower, upper = limits.lower_cents, limits.upper_cents
    if lower is not None and upper is not None and upper - lower < _LEAST_TOLERANCE_CENTS:
        raise table.fault(
            "lower_cents",
            f"is {lower:g}, not below upper_cents, {upper:g}",
            f"Give the lower limit first, {_LEAST_TOLERANCE_CENTS:g} cents or more below the upper",
        )
    if not limits.holds(limits.target_cents):
        raise table.fault(
            "target_cents",
            f"is {limits.target_cents:g} (0 unless it is given), outside the limits, {limits}",
            "Give a target within the limits",
        )


def _rule(table: Table) -> DecisionRule:
    kind = cast("RuleKind", table.choice("rule", _RULES, "guarded"))
    confidence = table.number("confidence", *_CONFIDENCE, "0.95", DEFAULT_CONFIDENCE)
    most = _count(table, "most_more_takes", DEFAULT_MOST_MORE_TAKES, _MOST_MORE_TAKES)
    table.done()
    return DecisionRule(kind, confidence, most)


def _subgroups(table: Table) -> Subgroups:
    by = cast("SubgroupBy", table.choice("by", _SUBGROUPS, "count"))
    if by != "count" and table.has("size"):
        raise table.fault("size", f'is given with by = "{by}"', 'Leave it out, or say by = "count"')
    size = None
    if by == "count":
        size = _count(table, "size", DEFAULT_SUBGROUP_SIZE, LARGEST_SUBGROUP)
    table.done()
    return Subgroups(by, size)


def _count(table: Table, key: str, default: int, most: int) -> int:
    value = table.take(key, "a number", default)
    if type(value) is not int or not 1 <= value <= most:
        allowed = f"a whole number from 1 to {most}, such as {default}"
        raise table.fault(key, f"is {shown(value)}", f"Give {allowed}")
    return value
