"""Where strings and screws lie across a bridge, and what a move of its ends does to each string.

Distances are in mm across the strings, measured from the highest string number toward string 1
("bass" and "treble" name the two sides). A straight edge whose two ends move by a and b moves at a
fraction f of the way between them by (1 - f) a + f b: the law of a line, and all that is needed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

from analyzer.instrument.tables import Table, shown

WIDEST_MM = 300.0

# Spread of the outer strings, where the file says neither this nor each string's position. Only
# ratios count as long as nothing else has a position across. For a bridge on posts it is asked for.
ANY_SPREAD_MM = 50.0


def _evenly_spaced_mm(strings: Sequence[int], spread_mm: float) -> dict[int, float]:
    """The first of ``strings`` at 0, the last at ``spread_mm``, the others evenly between."""
    gaps = max(len(strings) - 1, 1)
    return {string: spread_mm * place / gaps for place, string in enumerate(strings)}


def shares_of_ends(
    positions_mm: Mapping[int, float], ends_mm: tuple[float, float]
) -> tuple[dict[int, float], dict[int, float]]:
    """For each string, mm for each mm that the bass end alone moves, and the treble end alone."""
    bass, treble = ends_mm
    fractions = {string: (at - bass) / (treble - bass) for string, at in positions_mm.items()}
    return {string: 1 - each for string, each in fractions.items()}, fractions


def shares_of_slant(positions_mm: Mapping[int, float]) -> dict[int, float]:
    """For each string, mm for each mm of slant about the middle of the outer strings.

    A slant is measured at the outer strings: positive where the bass side's goes away from the
    nut and the treble side's comes as far toward it.
    """
    bass, treble = min(positions_mm.values()), max(positions_mm.values())
    return {string: 1 - 2 * (at - bass) / (treble - bass) for string, at in positions_mm.items()}


def positions_mm(table: Table, strings: Sequence[int], spread_mm: float | None) -> dict[int, float]:
    """Where each string lies across: each given, or evenly over the spread of the outer ones."""
    each, spread = "string_positions_mm", "string_spread_mm"
    if table.has(each) and table.has(spread):
        raise table.fault(each, f"is given beside {spread}", "Keep one of the two")
    if not table.has(each):
        wide = table.number(spread, 10.0, WIDEST_MM, "52.0", spread_mm)
        return _evenly_spaced_mm(strings, wide)
    found = table.number_each(each, strings, -WIDEST_MM, WIDEST_MM, "0, 10.4, ...")
    for one, other in pairwise(strings):
        if found[one] >= found[other]:
            raise table.fault(
                each,
                f"puts string {other} at {found[other]:g}, not beyond string {one}",
                f"Measure from string {strings[0]} toward string 1, growing from string to string",
            )
    return found


def post_positions_mm(table: Table, positions: Mapping[int, float]) -> tuple[float, float]:
    key = "post_positions_mm"
    allowed = "two numbers, bass side first, measured as the strings are, such as [-11.0, 63.0]"
    found = table.list_of(key, allowed)
    if len(found) != 2:
        raise table.fault(key, f"is {shown(found)}", f"Give {allowed}")
    bass, treble = (table.number_in(key, x, -WIDEST_MM, WIDEST_MM, allowed) for x in found)
    outside = [string for string, at in positions.items() if not bass <= at <= treble]
    if outside:
        raise table.fault(
            key,
            f"is {shown(found)}, and string {outside[0]} at {positions[outside[0]]:g} is outside",
            "The strings lie between the posts; measure both from the same place",
        )
    return bass, treble
