"""[bridge] of instrument.toml: each kind of bridge becomes saddles and adjusters.

To add a kind: a function here that takes the table and the strings and returns a ``Bridge``, and
its name in ``KINDS``. Nothing after this module knows kinds.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

from analyzer.instrument.across import (
    ANY_SPREAD_MM,
    positions_mm,
    post_positions_mm,
    shares_of_ends,
    shares_of_slant,
)
from analyzer.instrument.model import Action, Adjuster, Bridge, Steps, saddle_name
from analyzer.instrument.screw_table import (
    moved_steps,
    read_screw,
    read_travel,
    turned_steps,
)
from analyzer.instrument.tables import Table, shown

Strings = Sequence[int]
Saddles = tuple[tuple[int, ...], ...]
DEFAULT_KIND = "saddles"
SETBACKS_MM = (-10.0, 20.0)
_SADDLES = "lists of the strings on each saddle, such as [[6], [5], ...] or [[6, 5], ...]"
_WIDTH_MM = (0.5, 30.0)
# Of a fixed saddle, beside its edges, where nothing is filed: a thinner edge chips, and the string
# cuts into it (common practice of the trade; the number is a choice). Narrow ones keep a quarter.
DEFAULT_EDGE_MARGIN_MM, _EDGE_MARGIN_SHARE, _MOST_EDGE_MARGIN_SHARE = 0.5, 0.25, 1 / 3
_ENDS = ("bass", "treble")


def read_bridge(table: Table, strings: Strings) -> Bridge:
    """The bridge of an instrument with these strings, highest number first.

    Raises
    ------
    UnusableInputError
        One line: the file, the key, the value, what is allowed and how to mend it.
    """
    kind = table.choice("kind", tuple(KINDS), DEFAULT_KIND)
    setbacks = {}
    if table.has("setback_mm"):
        setbacks = table.number_each("setback_mm", strings, *SETBACKS_MM, "1.5")
    bridge = KINDS[kind](table, strings)
    table.done()
    return replace(bridge, setback_mm=setbacks)


def _own_saddles(table: Table, strings: Strings) -> Bridge:
    """Each saddle moves as a whole, by a screw or, without one, by hand."""
    saddles = _saddles(table, strings)
    screw = read_screw(table)
    steps = turned_steps(table, screw)
    travels = read_travel(table, len(saddles), "saddles")
    adjusters = tuple(
        Adjuster(saddle_name(each), dict.fromkeys(each, 1.0), screw, travel, steps)
        for each, travel in zip(saddles, travels, strict=True)
    )
    return Bridge(saddles, _by_hand_without_screw(adjusters))


def _two_screws(table: Table, strings: Strings) -> Bridge:
    """Each saddle has a screw at its bass end and one at its treble end, at its outer strings."""
    saddles = _saddles(table, strings, fewest=2)
    positions = positions_mm(table, strings, ANY_SPREAD_MM)
    screw = read_screw(table)
    steps = turned_steps(table, screw)
    travels = iter(read_travel(table, 2 * len(saddles), "screws, saddle by saddle, bass first"))
    adjusters = []
    for saddle in saddles:
        across = {string: positions[string] for string in saddle}
        ends = min(across.values()), max(across.values())
        for end, share in zip(_ENDS, shares_of_ends(across, ends), strict=True):
            name = f"{end} screw of {saddle_name(saddle)}"
            adjusters.append(Adjuster(name, share, screw, next(travels), steps))
    return Bridge(saddles, _by_hand_without_screw(adjusters), across_mm=positions)


def _swivelling(table: Table, strings: Strings) -> Bridge:
    """Each saddle has one screw, and is turned by hand about its middle."""
    saddles = _saddles(table, strings, fewest=2)
    positions = positions_mm(table, strings, ANY_SPREAD_MM)
    screw = read_screw(table)
    steps = turned_steps(table, screw)
    travels = read_travel(table, len(saddles), "saddles")
    slants_mm = table.number("slant_travel_mm", 0.1, 10.0, "2.0", 2.0)
    slant_steps = moved_steps(table)
    adjusters = []
    for saddle, travel in zip(saddles, travels, strict=True):
        name = saddle_name(saddle)
        adjusters.append(Adjuster(name, dict.fromkeys(saddle, 1.0), screw, travel, steps))
        share = shares_of_slant({string: positions[string] for string in saddle})
        both_ways = (slants_mm, slants_mm)
        slant = Adjuster(f"slant of {name}", share, None, both_ways, slant_steps, action="slide")
        adjusters.append(slant)
    return Bridge(saddles, _by_hand_without_screw(adjusters), across_mm=positions)


def _two_posts(table: Table, strings: Strings) -> Bridge:
    """One piece on two posts, each with its screw; the strings lie between."""
    _several(table, strings)
    positions = positions_mm(table, strings, None)
    posts = post_positions_mm(table, positions)
    screw = read_screw(table)
    steps = turned_steps(table, screw)
    travels = read_travel(table, 2, "posts, bass first")
    adjusters = [
        Adjuster(f"{end} post", share, screw, travel, steps)
        for end, share, travel in zip(_ENDS, shares_of_ends(positions, posts), travels, strict=True)
    ]
    moved = _by_hand_without_screw(adjusters)
    return Bridge((tuple(strings),), moved, across_mm=positions)


def _floating(table: Table, strings: Strings) -> Bridge:
    """One piece held by the strings' pressure: moved and turned by hand, measured at its ends."""
    _several(table, strings)
    positions = positions_mm(table, strings, ANY_SPREAD_MM)
    outer = min(positions.values()), max(positions.values())
    steps = moved_steps(table)
    travels = read_travel(table, 2, "ends, bass first")
    adjusters = tuple(
        Adjuster(f"{end} end", share, None, travel, steps, action="slide", loose=True)
        for end, share, travel in zip(_ENDS, shares_of_ends(positions, outer), travels, strict=True)
    )
    return Bridge((tuple(strings),), adjusters, across_mm=positions)


def _fixed(table: Table, strings: Strings) -> Bridge:
    """A saddle that stays: each string's break point is filed within the saddle's width."""
    width_mm = table.number("saddle_width_mm", *_WIDTH_MM, "3.0")
    places = table.number_each("break_point_mm", strings, 0.0, width_mm, "1.5")
    usual_mm = min(DEFAULT_EDGE_MARGIN_MM, width_mm * _EDGE_MARGIN_SHARE)
    most_mm = width_mm * _MOST_EDGE_MARGIN_SHARE
    margin_mm = table.number("edge_margin_mm", 0.0, most_mm, "0.5", usual_mm)
    steps = moved_steps(table, filed=True)
    adjusters = tuple(
        Adjuster(
            f"break point {string}",
            {string: 1.0},
            None,
            (
                max(places[string] - margin_mm, 0.0),
                max(width_mm - places[string] - margin_mm, 0.0),
            ),
            steps,
            action="file",
        )
        for string in strings
    )
    return Bridge(tuple((string,) for string in strings), adjusters)


def _general(table: Table, strings: Strings) -> Bridge:
    """Any linear bridge: a table for each adjuster, with its share in each string's saddle."""
    tables = table.tables("adjusters", "tables headed [[bridge.adjusters]], one an adjuster")
    adjusters: list[Adjuster] = []
    for each in tables:
        adjusters.append(_general_adjuster(each, strings))
        if adjusters[-1].name in [other.name for other in adjusters[:-1]]:
            raise each.fault("name", f"is {shown(adjusters[-1].name)} twice", "Name each one apart")
    moved = {string for each in adjusters for string in each.share}
    still = [string for string in strings if string not in moved]
    if still:
        raise table.fault(
            "adjusters", f"leave string {still[0]} where it is", "Give it a share in one of them"
        )
    return Bridge(_joined(adjusters, strings), tuple(adjusters))


def _general_adjuster(table: Table, strings: Strings) -> Adjuster:
    name = table.text("name", 'a text such as "bass post"')
    shares = table.number_each("shares", strings, -2.0, 2.0, "1.0")
    share = {string: each for string, each in shares.items() if each != 0}
    if not share:
        raise table.fault(
            "shares", "are 0 for every string", "Give the strings that it moves, or leave it out"
        )
    screw = read_screw(table)
    steps = moved_steps(table) if screw is None else turned_steps(table, screw)
    (travel,) = read_travel(table, 1, "adjusters in this table")
    table.done()
    # Nobody has said what holds it: a piece under all strings is taken to be loose, to be safe.
    loose = screw is None and len(strings) > 1 and set(share) == set(strings)
    action: Action = "slide" if screw is None else "turn"
    return Adjuster(name, share, screw, travel, steps, action, loose)


def _joined(adjusters: Sequence[Adjuster], strings: Strings) -> Saddles:
    """Strings that the same adjusters move by the same shares lie on one saddle."""
    groups: dict[tuple[float, ...], list[int]] = {}
    for string in strings:
        key = tuple(each.share.get(string, 0.0) for each in adjusters)
        groups.setdefault(key, []).append(string)
    return tuple(map(tuple, groups.values()))


KINDS: dict[str, Callable[[Table, Strings], Bridge]] = {
    "saddles": _own_saddles,
    "two-screw saddles": _two_screws,
    "swivelling saddles": _swivelling,
    "two posts": _two_posts,
    "floating": _floating,
    "fixed": _fixed,
    "general": _general,
}


def _several(table: Table, strings: Strings) -> None:
    if len(strings) < 2:
        raise table.fault("kind", "has two ends for one string", 'Give kind = "saddles"')


def _by_hand_without_screw(adjusters: Sequence[Adjuster]) -> tuple[Adjuster, ...]:
    """Where the file names no screw, all of them are moved by mm, wherever is best."""
    if all(each.screw is not None or each.action == "slide" for each in adjusters):
        return tuple(adjusters)
    return tuple(replace(each, action="slide", steps=Steps()) for each in adjusters)


def _saddles(table: Table, strings: Strings, fewest: int = 1) -> Saddles:
    saddles = table.list_of("saddles", _SADDLES)
    carried: list[int] = []
    for saddle in saddles:
        if not isinstance(saddle, list) or not saddle:
            raise table.fault("saddles", f"has {shown(saddle)}", f"Give {_SADDLES}")
        if len(saddle) < fewest:
            raise table.fault(
                "saddles", f"has {shown(saddle)}", 'One string needs no slant; kind = "saddles"'
            )
        for string in saddle:
            _check_string(table, string, strings, carried)
            carried.append(string)
    missing = [string for string in strings if string not in carried]
    if missing:
        raise table.fault(
            "saddles", f"puts string {missing[0]} on no saddle", "Add it to the one it lies on"
        )
    return tuple(tuple(saddle) for saddle in saddles)


def _check_string(table: Table, string: Any, strings: Strings, carried: Sequence[int]) -> None:
    if type(string) is not int or string not in strings:
        raise table.fault(
            "saddles",
            f"names string {shown(string)}",
            f"The tuning has strings {len(strings)} to 1",
        )
    if string in carried:
        raise table.fault(
            "saddles", f"puts string {string} on a saddle twice", "Keep the one it lies on"
        )
