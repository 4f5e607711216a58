"""The lot's frames as arrays: instruments in the order of time, by strings.

Everything of a summary but the gauge study goes by these, so that a lot of any length costs a few
passes over a few arrays. The columns of the frames are those of ``analyzer.lot.records``.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analyzer.lot.judgement.decision import VERDICTS
from analyzer.lot.judgement.specification import IN_WORDS, Characteristic, Limits

CONFORM, NOT_CONFORM, NOT_DECIDED = range(len(VERDICTS))  # as they stand in ``VERDICTS``
NOT_JUDGED = -1  # in place of a verdict
_NEEDED = (
    "analysis",
    "string",
    "characteristic",
    "value_cents",
    "standard_uncertainty_cents",
    "lower_cents",
    "upper_cents",
    "target_cents",
    "verdict",
)
_TEXTS = ("serial", "station", "operator", "reason")
_NUMBERS = ("recorded_s", "conformity_probability")


@dataclass(frozen=True)
class Values:
    """One characteristic of every instrument.

    ``strings``: those that are judged of at least one, the highest number first; ``limits`` of
    each. The arrays have the shape (instruments, strings): ``cents`` is NaN where there is no
    value, ``uncertainties`` (standard, cents) where it is not known, ``verdicts`` holds places in
    ``VERDICTS``, or ``NOT_JUDGED``.
    """

    characteristic: Characteristic
    strings: tuple[int, ...]
    limits: tuple[Limits, ...]
    cents: NDArray[np.float64]
    uncertainties: NDArray[np.float64]
    verdicts: NDArray[np.int8]

    @property
    def missing(self) -> NDArray[np.bool_]:
        """What was judged and has no value, shape (instruments, strings)."""
        found: NDArray[np.bool_] = (self.verdicts != NOT_JUDGED) & np.isnan(self.cents)
        return found

    @property
    def instrument_verdicts(self) -> NDArray[np.int8]:
        """Of each instrument from all its strings, as ``decision.combine`` has it."""
        found = np.full(len(self.verdicts), NOT_JUDGED, dtype=np.int8)
        for verdict in (CONFORM, NOT_DECIDED, NOT_CONFORM):
            found[np.any(self.verdicts == verdict, axis=1)] = verdict
        return found

    @property
    def means_cents(self) -> NDArray[np.float64]:
        """Over the strings that are judged of an instrument; NaN where one has no value."""
        judged = self.verdicts != NOT_JUDGED
        sums = np.sum(np.where(judged, self.cents, 0.0), axis=1)
        counts = np.sum(judged, axis=1)
        means: NDArray[np.float64] = np.where(counts > 0, sums / np.maximum(counts, 1), math.nan)
        return means

    @property
    def farthest_cents(self) -> NDArray[np.float64]:
        """The largest distance from the target; NaN where a judged string has no value."""
        targets = np.array([each.target_cents for each in self.limits])
        away = np.abs(self.cents - targets)
        judged = self.verdicts != NOT_JUDGED
        farthest: NDArray[np.float64] = np.max(
            np.where(judged, away, -math.inf), axis=1, initial=-math.inf
        )
        return np.where(np.isinf(farthest), math.nan, farthest)


@dataclass(frozen=True)
class LotArrays:
    """``instruments``: a row for each serial number's last session, in the order of time.

    Its texts are texts, its ``recorded_at`` are datetimes, and ``verdict`` holds places in
    ``VERDICTS``. ``judged``: a characteristic each, those that are judged
    at all.
    """

    instruments: pd.DataFrame
    judged: tuple[Values, ...]

    @property
    def not_measured(self) -> NDArray[np.bool_]:
        """Instruments in which something that is judged has no value, or that have none at all."""
        judged = np.zeros(len(self.instruments), dtype=bool)
        missing = np.zeros(len(self.instruments), dtype=bool)
        for each in self.judged:
            judged |= np.any(each.verdicts != NOT_JUDGED, axis=1)
            missing |= np.any(each.missing, axis=1)
        return missing | ~judged


def lot_arrays(sessions: pd.DataFrame, values: pd.DataFrame) -> LotArrays:
    """The last session of each serial number, and what is judged in it."""
    # Only these columns are needed: a lot's texts take far more room than its numbers.
    values = values[list(_NEEDED)]
    instruments = _in_order(sessions[sessions["latest"].astype(bool)])
    places = pd.Index(instruments["analysis"]).get_indexer(pd.Index(values["analysis"]))
    found = [
        _values(each, values[which], places[which], len(instruments))
        for each in IN_WORDS
        if np.any(which := (values["characteristic"] == each).to_numpy(dtype=bool) & (places >= 0))
    ]
    return LotArrays(instruments, tuple(found))


def typed(frame: pd.DataFrame) -> pd.DataFrame:
    """The frame with texts, numbers and times as such, whatever came of an empty column."""
    columns: dict[str, Any] = {
        **{name: frame[name].astype(object).fillna("").astype(str) for name in _TEXTS},
        **{name: pd.to_numeric(frame[name]).astype(float) for name in _NUMBERS},
        "recorded_at": pd.to_datetime(frame["recorded_at"]),
        "verdict": codes(frame["verdict"]),
    }
    return frame.assign(**columns)


def codes(verdicts: pd.Series) -> NDArray[np.int8]:
    """Places in ``VERDICTS``; ``NOT_JUDGED`` for anything else."""
    categories = pd.Categorical(verdicts, categories=list(VERDICTS))
    return np.asarray(categories.codes, dtype=np.int8)


def decided(verdicts: NDArray[np.int8]) -> pd.Series:
    """True, False, or missing for what is not decided, as the group tables take it."""
    words = pd.Series(verdicts == CONFORM, dtype="boolean")
    return words.mask(pd.Series((verdicts != CONFORM) & (verdicts != NOT_CONFORM)))


def tally(verdicts: NDArray[np.int8]) -> tuple[int, int, int]:
    """How many conform, do not conform, and are not decided."""
    conform, not_conform, not_decided = (
        int(np.sum(verdicts == each)) for each in (CONFORM, NOT_CONFORM, NOT_DECIDED)
    )
    return conform, not_conform, not_decided


def moment(time: Any) -> datetime | None:
    """A cell of a column of datetimes, to the second as it stood; None for none."""
    return None if pd.isna(time) else pd.Timestamp(time).to_pydatetime().replace(microsecond=0)


def _in_order(sessions: pd.DataFrame) -> pd.DataFrame:
    # By serial number where times do not tell: not by which was stored first, which is chance.
    ordered = typed(sessions).sort_values(["recorded_s", "serial"], na_position="last")
    return ordered.reset_index(drop=True)


def _values(
    characteristic: Characteristic, rows: pd.DataFrame, places: NDArray[np.intp], count: int
) -> Values:
    numbers = rows["string"].to_numpy(dtype=np.int64)
    ascending, first = np.unique(numbers, return_index=True)
    columns = len(ascending) - 1 - np.searchsorted(ascending, numbers)
    shape = (count, len(ascending))

    def spread(name: str) -> NDArray[np.float64]:
        table = np.full(shape, math.nan)
        table[places, columns] = rows[name].to_numpy(dtype=float, na_value=math.nan)
        return table

    verdicts = np.full(shape, NOT_JUDGED, dtype=np.int8)
    verdicts[places, columns] = codes(rows["verdict"])
    return Values(
        characteristic,
        tuple(ascending[::-1].tolist()),
        tuple(_limits(rows.iloc[first[::-1]])),
        spread("value_cents"),
        spread("standard_uncertainty_cents"),
        verdicts,
    )


def _limits(rows: pd.DataFrame) -> Iterator[Limits]:
    """Those that the values were decided by, one row for each string."""
    names: Sequence[str] = ("lower_cents", "upper_cents", "target_cents")
    for lower, upper, target in rows[list(names)].astype(float).to_numpy():
        yield Limits(
            None if math.isnan(lower) else float(lower),
            None if math.isnan(upper) else float(upper),
            0.0 if math.isnan(target) else float(target),
        )
