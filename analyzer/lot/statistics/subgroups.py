"""Rational subgroups: values that were made and measured together, in the order of time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray


@dataclass(frozen=True)
class Subgroup:
    """``label`` names it on a chart; ``values`` has one dimension, at least one finite value."""

    label: str
    values: NDArray[np.float64]

    @property
    def size(self) -> int:
        return len(self.values)

    @property
    def mean(self) -> float:
        return float(np.mean(self.values))

    @property
    def range(self) -> float:
        return float(np.ptp(self.values))

    @property
    def sd(self) -> float:
        """With n - 1; NaN for a single value."""
        return float(np.std(self.values, ddof=1)) if self.size > 1 else float("nan")


def subgroups_by_label(values: ArrayLike, labels: Sequence[object]) -> tuple[Subgroup, ...]:
    """Values that share a label are a subgroup; in the order in which the labels first appear.

    Values that are not finite are left out, and with them a subgroup that has no other. ValueError
    where there is not one label for each value.
    """
    gathered: dict[str, list[float]] = {}
    for value, label in zip(np.asarray(values, dtype=float), labels, strict=True):
        if np.isfinite(value):
            gathered.setdefault(str(label), []).append(float(value))
    return tuple(Subgroup(label, np.array(held)) for label, held in gathered.items())


def subgroups_in_runs(values: ArrayLike, size: int) -> tuple[Subgroup, ...]:
    """Every ``size`` values that follow one another are a subgroup, numbered from 1.

    The last may be smaller: its limits are those of its own size, so nothing is thrown away.
    """
    if size < 1:
        raise ValueError(f"subgroups of {size}; at least 1")
    given = np.asarray(values, dtype=float).ravel()
    known = given[np.isfinite(given)]
    return subgroups_by_label(known, [1 + place // size for place in range(len(known))])
