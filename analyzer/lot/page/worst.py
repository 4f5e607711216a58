"""A lot's values by instrument, and which of them is the worst of each."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analyzer.lot.summing.summary_model import JudgedString

_MOST_PERCENT = 9999  # of the way to a limit; a limit that is the target makes it infinite


@dataclass(frozen=True)
class ValueTable:
    """Shape (judged, instruments): NaN, or an empty verdict, where an instrument has none."""

    cents: NDArray[np.float64]
    uncertainty: NDArray[np.float64]
    verdicts: NDArray[np.object_]


def value_table(
    judged: Sequence[JudgedString], latest: pd.DataFrame, values: pd.DataFrame
) -> ValueTable:
    places = pd.Index(latest["analysis"]).get_indexer(pd.Index(values["analysis"]))
    keys = pd.MultiIndex.from_tuples(
        [(each.characteristic, each.string) for each in judged], names=("c", "s")
    )
    rows = keys.get_indexer(
        pd.MultiIndex.from_arrays([values["characteristic"].astype(object), values["string"]])
    ) if len(judged) else np.full(len(values), -1)  # fmt: skip
    known = (places >= 0) & (rows >= 0)
    at, shape = (rows[known], places[known]), (len(judged), len(latest))

    def table(name: str) -> NDArray[np.float64]:
        found = np.full(shape, math.nan)
        found[at] = values[name].to_numpy(dtype=float, na_value=math.nan)[known]
        return found

    verdicts = np.full(shape, "", dtype=object)
    verdicts[at] = values["verdict"].astype(object).to_numpy()[known]
    return ValueTable(table("value_cents"), table("standard_uncertainty_cents"), verdicts)


def worst_of(
    judged: Sequence[JudgedString], spread: ValueTable
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Which value is the furthest on its way from target to limit, and how far in per cent.

    -1 and NaN where an instrument has no value.
    """
    count = spread.cents.shape[1]
    if not len(judged) or not count:
        return np.full(count, -1), np.full(count, -math.inf)
    ways = np.array(
        [100 * each.limits.way(cents) for each, cents in zip(judged, spread.cents, strict=True)]
    )
    known = np.isfinite(spread.cents)
    ways = np.where(known, np.minimum(ways, _MOST_PERCENT), -math.inf)
    worst = np.where(known.any(axis=0), np.argmax(ways, axis=0), -1)
    return worst, np.max(ways, axis=0)
