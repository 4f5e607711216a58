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


def sizes_of(subgroups: Sequence[Subgroup]) -> NDArray[np.int64]:
    """How many values each has."""
    return np.array([each.size for each in subgroups], dtype=np.int64)


# The following take all subgroups at once: a lot has thousands, of a few values each.


def means_of(subgroups: Sequence[Subgroup]) -> NDArray[np.float64]:
    """The mean of each."""
    values, starts, sizes = _joined(subgroups)
    means: NDArray[np.float64] = np.add.reduceat(values, starts) / sizes
    return means


def ranges_of(subgroups: Sequence[Subgroup]) -> NDArray[np.float64]:
    """The largest less the smallest value of each."""
    values, starts, _ = _joined(subgroups)
    ranges: NDArray[np.float64] = np.maximum.reduceat(values, starts) - np.minimum.reduceat(
        values, starts
    )
    return ranges


def sds_of(subgroups: Sequence[Subgroup]) -> NDArray[np.float64]:
    """The standard deviation of each, with n - 1; each has two values or more."""
    values, starts, sizes = _joined(subgroups)
    means = np.add.reduceat(values, starts) / sizes
    squares = np.add.reduceat((values - np.repeat(means, sizes)) ** 2, starts)
    sds: NDArray[np.float64] = np.sqrt(squares / (sizes - 1))
    return sds


def _joined(
    subgroups: Sequence[Subgroup],
) -> tuple[NDArray[np.float64], NDArray[np.int64], NDArray[np.int64]]:
    """All values one after the other, where each subgroup starts, and how many it has."""
    sizes = sizes_of(subgroups)
    values = np.concatenate([np.empty(0), *(each.values for each in subgroups)])
    return values, np.cumsum(sizes) - sizes, sizes


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


def subgroups_by_code(
    values: NDArray[np.float64], codes: NDArray[np.int64], labels: Sequence[str]
) -> tuple[Subgroup, ...]:
    """The same where each value has the place of its label in ``labels``, or -1 for none.

    In the order of ``labels``. Values without one are left out, as are those not finite.
    """
    known = np.isfinite(values) & (codes >= 0)
    order = np.argsort(codes[known], kind="stable")
    kept, held = codes[known][order], values[known][order]
    found, starts = np.unique(kept, return_index=True)
    ends = np.append(starts, len(kept))[1:].tolist()
    return tuple(
        Subgroup(labels[code], held[start:end])
        for code, start, end in zip(found.tolist(), starts.tolist(), ends, strict=True)
    )


def subgroups_in_runs(values: ArrayLike, size: int) -> tuple[Subgroup, ...]:
    """Every ``size`` values that follow one another are a subgroup, numbered from 1.

    The last may be smaller: its limits are those of its own size, so nothing is thrown away.
    """
    if size < 1:
        raise ValueError(f"subgroups of {size}; at least 1")
    given = np.asarray(values, dtype=float).ravel()
    known = given[np.isfinite(given)]
    return subgroups_by_label(known, [1 + place // size for place in range(len(known))])
