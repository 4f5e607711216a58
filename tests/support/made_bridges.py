"""A bridge on two posts."""

from __future__ import annotations

from analyzer.instrument.across import shares_of_ends
from analyzer.instrument.model import Adjuster, Screw, Steps

SCREW = Screw(0.7, "tail", 0.125)
ANY_PLACE = Steps()


def two_posts(strings, travel_mm=None, steps=ANY_PLACE) -> list[Adjuster]:
    positions = {string: 10.0 * place for place, string in enumerate(strings)}
    shares = shares_of_ends(positions, (-10.0, 10.0 * len(strings)))
    return [
        Adjuster(name, share, SCREW, travel_mm, steps)
        for name, share in zip(("bass", "treble"), shares, strict=True)
    ]
