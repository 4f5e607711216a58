"""The commonest bridge, and one on two posts."""

from __future__ import annotations

from collections.abc import Sequence

from analyzer.instrument.across import shares_of_ends
from analyzer.instrument.model import (
    DEFAULT_MAX_STEP_TURNS,
    Adjuster,
    Bridge,
    Screw,
    Steps,
    saddle_name,
)

SCREW = Screw(0.7, "tail", 0.125)
ANY_PLACE = Steps()


def two_posts(strings, travel_mm=None, steps=ANY_PLACE) -> list[Adjuster]:
    positions = {string: 10.0 * place for place, string in enumerate(strings)}
    shares = shares_of_ends(positions, (-10.0, 10.0 * len(strings)))
    return [
        Adjuster(name, share, SCREW, travel_mm, steps)
        for name, share in zip(("bass", "treble"), shares, strict=True)
    ]


def own_screws(
    saddles: Sequence[Sequence[int]],
    screw: Screw | None = None,
    travel_mm: tuple[float, float] | None = None,
    max_step_turns: float = DEFAULT_MAX_STEP_TURNS,
) -> Bridge:
    """Every saddle has one screw and moves as a whole."""
    steps = Steps.of_screw(screw, max_step_turns)
    adjusters = tuple(
        Adjuster(saddle_name(saddle), dict.fromkeys(saddle, 1.0), screw, travel_mm, steps)
        for saddle in saddles
    )
    return Bridge(tuple(map(tuple, saddles)), adjusters)
