"""The outline of a saddle, or of one piece for several strings, around its break points."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

Place = tuple[float, float]  # x and y
HALF_LENGTH, HALF_WIDTH = 11.0, 4.0  # of a saddle: across the strings, and along them


def x_at(places: Sequence[Place], y: float) -> float:
    """On the line through the places, and straight on beyond its ends."""
    if len(places) == 1:
        return places[0][0]
    (x0, y0), (x1, y1) = _part_at(places, y)
    return round(x0 + (x1 - x0) * (y - y0) / (y1 - y0), 2)


def edge_x(places: Sequence[Place], y: float, way: int) -> float:
    """Where an outline of several places begins at a height, for who comes along that way."""
    (x0, y0), (x1, y1) = _part_at(places, y)
    return x_at(places, y) - way * HALF_WIDTH * math.hypot(x1 - x0, y1 - y0) / (y1 - y0)


def _part_at(places: Sequence[Place], y: float) -> tuple[Place, Place]:
    pairs = list(pairwise(places))
    return next((each for each in pairs if y <= each[1][1]), pairs[-1])


def outline(places: Sequence[Place]) -> str:
    """Around the break points, a little beyond the outermost, as wide where it slants."""
    if len(places) == 1:
        ((x, y),) = places
        spine = [(x, y - HALF_LENGTH), (x, y + HALF_LENGTH)]
    else:
        spine = [_beyond(places[0], places[1]), *places, _beyond(places[-1], places[-2])]
    left, right = [], []
    for place, (x, y) in enumerate(spine):
        before, after = spine[max(place - 1, 0)], spine[min(place + 1, len(spine) - 1)]
        along_x, along_y = after[0] - before[0], after[1] - before[1]
        off = HALF_WIDTH / math.hypot(along_x, along_y)
        left.append((x - off * along_y, y + off * along_x))
        right.append((x + off * along_y, y - off * along_x))
    return " ".join(f"{x:.2f},{y:.2f}" for x, y in (*left, *reversed(right)))


def _beyond(end: Place, inward: Place) -> Place:
    """Where a saddle ends beyond its outermost string, in the direction of the next."""
    along_x, along_y = end[0] - inward[0], end[1] - inward[1]
    share = HALF_LENGTH / math.hypot(along_x, along_y)
    return end[0] + share * along_x, end[1] + share * along_y
