"""Instruments by station, operator and time, and the trends of stations."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analyzer.lot.judgement.specification import IN_WORDS, Characteristic
from analyzer.lot.statistics.figure import CONFIDENCE, NotGiven
from analyzer.lot.statistics.groups import NOT_SAID, Group, Period, by_column, by_period
from analyzer.lot.statistics.trend import Trend, trend
from analyzer.lot.summing.arrays import LotArrays, decided
from analyzer.lot.summing.summary_model import GroupedBy, GroupTable, StationTrend, Trends

_DAY_S = 86_400.0
_SHORTEST_D = 1 / 24  # a choice: a line through less is drawn out more than twentyfold
# A choice: hours are told apart in a lot of up to two days, and make a long table of a longer one.
_LONGEST_BY_HOUR = pd.Timedelta(days=2)


def group_tables(lot: LotArrays) -> tuple[GroupTable, ...]:
    """By each of station, operator, and hour or day that is known of any instrument."""
    instruments = lot.instruments
    columns: list[GroupedBy] = [
        name for name in ("station", "operator") if (instruments[name] != "").any()
    ]
    if period := _period(instruments["recorded_at"]):
        columns.append(period)
    return tuple(table for by in columns for table in _tables(lot, by))


def station_trends(lot: LotArrays) -> Trends:
    """A line for each station and characteristic, judged together."""
    columns = [
        (name, each.characteristic, times_d, each.means_cents[which])
        for name, which, times_d in _stations(lot.instruments)
        for each in lot.judged
    ]
    lines = [_line(times_d, cents) for _, _, times_d, cents in columns]
    tested = sum(isinstance(each, Trend) for each in lines)
    confidence = 1 - (1 - CONFIDENCE) / max(1, tested)
    found = tuple(
        _station_trend(name, characteristic, _line(times_d, cents, confidence))
        for name, characteristic, times_d, cents in columns
    )
    return Trends(_method(tested), tested, confidence, found)


def _line(
    times_d: NDArray[np.float64], cents: NDArray[np.float64], confidence: float = CONFIDENCE
) -> Trend | NotGiven:
    """A line through what was recorded over an hour or more: seconds tell nothing of a day."""
    known_d = times_d[np.isfinite(times_d) & np.isfinite(cents)]
    if known_d.size and np.ptp(known_d) < _SHORTEST_D:
        reason = "recorded within an hour, which tells nothing of a trend by the day"
        return NotGiven("straight line over time", reason)
    return trend(times_d, cents, confidence)


def _method(tested: int) -> str:
    words = (
        "straight line by least squares through the instruments' means over strings, Student's t"
    )
    if tested < 2:
        return words
    share = f"{100 * CONFIDENCE:g} % for all {tested} together (Bonferroni)"
    return f"{words}, {share}"


def _period(times: pd.Series) -> Period | None:
    if times.isna().all():
        return None
    return "hour" if times.max() - times.min() <= _LONGEST_BY_HOUR else "day"


def _tables(lot: LotArrays, by: GroupedBy) -> Iterator[GroupTable]:
    verdicts = lot.instruments["verdict"].to_numpy()
    nothing = np.full(len(verdicts), np.nan)
    yield GroupTable(by, None, _grouped(lot, by, nothing, verdicts))
    for each in lot.judged:
        found = _grouped(lot, by, each.means_cents, each.instrument_verdicts)
        yield GroupTable(by, each.characteristic, found)


def _grouped(
    lot: LotArrays, by: GroupedBy, cents: NDArray[np.float64], verdicts: NDArray[np.int8]
) -> tuple[Group, ...]:
    frame = pd.DataFrame({"value": cents, "conforms": decided(verdicts)})
    if by in {"station", "operator"}:
        frame["key"] = lot.instruments[by].replace("", None)
        return by_column(frame, "key", "value", "conforms")
    frame["key"] = lot.instruments["recorded_at"]
    period: Period = "hour" if by == "hour" else "day"
    return by_period(frame, "key", period, "value", "conforms")


def _stations(
    instruments: pd.DataFrame,
) -> Iterator[tuple[str, NDArray[np.bool_], NDArray[np.float64]]]:
    """Each with the instruments that are its own, and their times in days."""
    times_d = instruments["recorded_s"].to_numpy(dtype=float) / _DAY_S
    stations = instruments["station"].to_numpy(dtype=object)
    for name in sorted(set(stations.tolist()), key=lambda each: (not each, each)):
        which = stations == name
        yield name or NOT_SAID, which, times_d[which]


def _station_trend(
    station: str, characteristic: Characteristic, found: Trend | NotGiven
) -> StationTrend:
    words = ""
    if isinstance(found, Trend) and found.sure:
        where = "Instruments without a station" if station == NOT_SAID else f"Station {station}"
        way = "rises" if found.slope_per_day > 0 else "falls"
        low, high = sorted((abs(found.lower_per_day), abs(found.upper_per_day)))
        words = (
            f"{where}: {IN_WORDS[characteristic]} {way} by {abs(found.slope_per_day):.3g} cents a "
            f"day ({low:.3g} to {high:.3g}). Look whether the instruments have changed or the "
            "station; a reference recording tells."
        )
        if found.caution:
            words = f"{words} Mind that {found.caution}."
    return StationTrend(station, characteristic, found, words)
