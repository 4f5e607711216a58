"""Checks of a station in the store: a row for each characteristic."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby
from typing import Protocol

from analyzer.lot.station_check.judge import finite_or_none
from analyzer.lot.station_check.model import CHANGED, CheckedStation, Judged, Past
from analyzer.lot.store.station_checks import StationCheck

BEGINS = "baseline_begins"  # the characteristic that says so, of value 1
_NOTHING = "measured"  # 0 where nothing could be measured
FAULTS = frozenset({"breaks", "clipped_percent"})


class Checks(Protocol):
    """Where checks are kept; ``analyzer.lot.store.Store`` is one."""

    def add_station_checks(self, checks: Iterable[StationCheck]) -> None: ...

    def station_checks(self, station: str | None = None) -> tuple[StationCheck, ...]: ...


def past_checks(kept: Checks, station: str, reference: str) -> list[Past]:
    """The checks of one station by one reference, in order of time."""
    rows = [each for each in kept.station_checks(station) if each.reference == reference]
    rows.sort(key=lambda each: (each.checked_s or 0.0, each.sha256))
    return [
        _past(list(of_one))
        for _, of_one in groupby(rows, key=lambda each: (each.checked_s, each.sha256))
    ]


def _past(rows: Sequence[StationCheck]) -> Past:
    values = {
        each.characteristic: (each.value, each.standard_uncertainty)
        for each in rows
        if each.value is not None
    }
    faulty = any(values.get(key, (0.0, None))[0] for key in FAULTS)
    # Changed before there were limits of a chart: beyond the tolerance, or by another setting.
    changed = any(each.verdict == CHANGED and each.lower_limit is None for each in rows)
    nothing = values.pop(_NOTHING, None) is not None
    begins = values.pop(BEGINS, None) is not None
    first = rows[0]
    return Past(
        first.sha256,
        first.checked_at or "",
        first.checked_s or 0.0,
        values,
        not faulty and not nothing and not changed,
        begins,
    )


def rows_of(found: CheckedStation, *, begins: bool) -> tuple[StationCheck, ...]:
    """What is kept of a check. A second time the same recording takes the place of the first."""
    rows = [_row(found, each) for each in found.judged]
    if found.check.reason is not None:
        rows.append(_mark(found, _NOTHING, 0.0, found.check.reason))
    if begins:
        rows.append(_mark(found, BEGINS, 1.0, ""))
    return tuple(rows)


def _row(found: CheckedStation, judged: Judged) -> StationCheck:
    low, high = judged.limits or (None, None)
    check, value = found.check, judged.value
    return StationCheck(
        check.station,
        check.reference,
        value.key,
        check.sha256,
        check.file,
        check.checked_at,
        check.checked_s,
        finite_or_none(value.value),
        finite_or_none(value.standard_uncertainty),
        finite_or_none(low),
        finite_or_none(high),
        judged.standing,
        judged.reason,
    )


def _mark(found: CheckedStation, key: str, value: float, remark: str) -> StationCheck:
    check = found.check
    place = (check.sha256, check.file, check.checked_at, check.checked_s)
    numbers = (value, None, None, None)
    return StationCheck(
        check.station, check.reference, key, *place, *numbers, found.verdict, remark
    )


def had_channel(past: Sequence[Past], key: str) -> int | None:
    """The channel of the first check of this baseline: a dead one must not go unnoticed."""
    return next(_channels(past, key), None)


def _channels(past: Sequence[Past], key: str) -> Iterator[int]:
    start = max((n for n, each in enumerate(past) if each.begins), default=0)
    for each in past[start:]:
        if key in each.values:
            yield int(each.values[key][0])
