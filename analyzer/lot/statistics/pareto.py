"""Causes by how often they occur, the most frequent first."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class Cause:
    """``share`` of all counts, and that of this and every more frequent cause, 0 to 1.

    ``example``: one of what was counted, in full, where the cause leaves something out.
    """

    cause: str
    count: int
    share: float
    cumulative_share: float
    example: str | None = None


def pareto(
    causes: Iterable[str] | Mapping[str, int], examples: Mapping[str, str] | None = None
) -> tuple[Cause, ...]:
    """Count each cause: one item for each time that it was found, or how often by cause.

    Equal counts go by name. ``examples`` by cause.
    """
    counts = Counter(causes)
    total, so_far = counts.total(), 0
    rows = []
    for cause, count in sorted(counts.items(), key=lambda each: (-each[1], each[0])):
        so_far += count
        example = (examples or {}).get(cause)
        rows.append(Cause(cause, count, count / total, so_far / total, example))
    return tuple(rows)
