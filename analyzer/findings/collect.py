"""All findings of one instrument, a line for each cause."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from analyzer.findings.condition import magnet_pull, two_strings, uneven_or_retuned, worn_or_wrong
from analyzer.findings.model import Finding, Room, StringCase
from analyzer.findings.playing import not_settled, plucked_hard, repeats_scatter
from analyzer.findings.setup import (
    further_than_bridges_go,
    nut_and_action,
    scale_length,
    wrong_side_of_travel,
)
from analyzer.instrument.model import strings_named

_OF_A_STRING: tuple[Callable[[StringCase], Iterator[Finding]], ...] = (
    not_settled,
    plucked_hard,
    repeats_scatter,
    worn_or_wrong,
    two_strings,
    uneven_or_retuned,
    magnet_pull,
    nut_and_action,
    further_than_bridges_go,
)


def find_causes(cases: Sequence[StringCase], rooms: Sequence[Room]) -> tuple[Finding, ...]:
    """The causes that the strings and saddles give evidence of, those alike put together."""
    found = [finding for cause in _OF_A_STRING for case in cases for finding in cause(case)]
    found += [finding for room in rooms for finding in wrong_side_of_travel(room)]
    return tuple(_together([*found, *scale_length(cases)]))


def _together(found: Sequence[Finding]) -> Iterator[Finding]:
    """One finding for each cause; of several, the evidence names the strings."""
    for cause in dict.fromkeys(each.cause for each in found):
        alike = [each for each in found if each.cause == cause]
        if len(alike) == 1:
            yield alike[0]
            continue
        strings = tuple(dict.fromkeys(number for each in alike for number in each.strings))
        evidence = "; ".join(f"{strings_named(each.strings)}: {each.evidence}" for each in alike)
        yield Finding(cause, strings, evidence, alike[0].confirm)
