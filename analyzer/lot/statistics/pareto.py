"""Causes by how often they occur, the most frequent first."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Cause:
    """``share`` of all counts, and that of this and every more frequent cause, 0 to 1."""

    cause: str
    count: int
    share: float
    cumulative_share: float


def pareto(causes: Iterable[str]) -> tuple[Cause, ...]:
    """Count each cause; one item for each time that it was found. Equal counts go by name."""
    counts = Counter(causes)
    total, so_far = counts.total(), 0
    rows = []
    for cause, count in sorted(counts.items(), key=lambda each: (-each[1], each[0])):
        so_far += count
        rows.append(Cause(cause, count, count / total, so_far / total))
    return tuple(rows)
