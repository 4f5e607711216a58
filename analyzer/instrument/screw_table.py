"""The keys of instrument.toml that say how one adjuster moves: thread, head, steps, travel."""

from __future__ import annotations

from typing import Any, cast

from analyzer.instrument.model import (
    DEFAULT_MAX_FILED_MM,
    DEFAULT_MAX_STEP_MM,
    DEFAULT_MAX_STEP_TURNS,
    DEFAULT_SMALLEST_TURN,
    Screw,
    ScrewHead,
    Steps,
    ThreadHand,
)
from analyzer.instrument.tables import Table, shown
from analyzer.instrument.threads import KNOWN_THREADS, size_and_hand, thread_pitch_mm

MOST_TRAVEL_MM = 30.0
DEFAULT_SMALLEST_MOVE_MM = 0.1  # by hand against a rule or with a file; a choice
Travel = tuple[float, float]
_TRAVEL = (
    f"two numbers from 0 to {MOST_TRAVEL_MM:g}: mm left toward the nut and away from it, "
    "such as [4.0, 6.0]"
)
_THREAD = 'a standard designation such as "M3", "M3x0.35" or "6-32 UNC"'


def read_screw(table: Table) -> Screw | None:
    """The screw that the table describes, or None where it names no thread."""
    smallest = table.number("smallest_turn", 0.01, 1.0, "0.25", DEFAULT_SMALLEST_TURN)
    by_name, by_pitch = table.has("thread"), table.has("thread_pitch_mm")
    if by_name and by_pitch:
        raise table.fault("thread", "is given beside thread_pitch_mm", "Keep one of the two")
    if not (by_name or by_pitch):
        if table.has("screw_head") or table.has("thread_hand"):
            raise table.fault("thread", "is missing", f"Add {_THREAD}, or thread_pitch_mm = 0.5")
        return None
    if by_name:
        pitch_mm, named = _pitch_mm_and_hand(table)
    else:
        pitch_mm, named = table.number("thread_pitch_mm", 0.1, 3, "0.5"), None
    head = cast("ScrewHead", table.choice("screw_head", ("tail", "neck")))
    return Screw(pitch_mm, head, smallest, _hand(table, named))


def _hand(table: Table, named: ThreadHand | None) -> ThreadHand:
    """Which way the thread winds; ``named`` is what its designation says."""
    hand = table.choice("thread_hand", ("right", "left"), named or "right")
    if named not in (None, hand):
        raise table.fault("thread_hand", f"is '{hand}', and thread says LH", "Keep one of the two")
    return cast("ThreadHand", hand)


def _pitch_mm_and_hand(table: Table) -> tuple[float, ThreadHand | None]:
    designation = table.text("thread", _THREAD)
    size, hand = size_and_hand(designation)
    try:
        return thread_pitch_mm(size), hand
    except ValueError as error:
        raise table.fault(
            "thread",
            f"is {shown(designation)}",
            f"Give {_THREAD}, or thread_pitch_mm = 0.5 in its place; known are {KNOWN_THREADS}",
        ) from error


def turned_steps(table: Table, screw: Screw | None) -> Steps:
    """The least and the largest step of a screw, mm; any place where there is no screw.

    Who gives the largest wants that check, every time.
    """
    given = table.has("max_step_turns")
    most = table.number("max_step_turns", 0.01, 8.0, "0.5", DEFAULT_MAX_STEP_TURNS)
    if screw is not None and most < screw.smallest_turn:
        raise table.fault(
            "max_step_turns",
            f"is {most:g}, less than smallest_turn = {screw.smallest_turn:g}",
            "Give at least the smallest turn",
        )
    return Steps.of_screw(screw, most, always_checked=given)


def moved_steps(table: Table, *, filed: bool = False) -> Steps:
    """The least and the largest step of what is moved by hand or filed, mm."""
    usual = DEFAULT_MAX_FILED_MM if filed else DEFAULT_MAX_STEP_MM
    smallest = table.number("smallest_move_mm", 0.01, 2.0, "0.1", DEFAULT_SMALLEST_MOVE_MM)
    most = table.number("max_step_mm", 0.01, 10.0, "0.5", max(usual, smallest))
    if most < smallest:
        raise table.fault(
            "max_step_mm",
            f"is {most:g}, less than smallest_move_mm = {smallest:g}",
            "Give at least the smallest move",
        )
    return Steps(smallest, most)


def read_travel(table: Table, count: int, things: str) -> list[Travel | None]:
    """``travel_mm`` for each of ``count`` adjusters: one pair for all, or a list of a pair each."""
    key = "travel_mm"
    if not table.has(key):
        return [None] * count
    given = table.list_of(key, _TRAVEL)
    if not isinstance(given[0], list):
        return [_pair(table, key, given)] * count
    if len(given) != count:
        raise table.fault(
            key,
            f"lists {len(given)} pairs",
            f"This bridge has {count} of them ({things}): give one pair for all, or {count}",
        )
    return [_pair(table, key, each) for each in given]


def _pair(table: Table, key: str, given: Any) -> Travel:
    if not isinstance(given, list) or len(given) != 2:
        raise table.fault(key, f"is {shown(given)}", f"Give {_TRAVEL}")
    toward, away = (table.number_in(key, each, 0, MOST_TRAVEL_MM, _TRAVEL) for each in given)
    if toward == away == 0:
        raise table.fault(
            key,
            f"is {shown(given)}, no room either way",
            "Measure again how far it can still be moved; leave the key out if it is not known",
        )
    return toward, away
