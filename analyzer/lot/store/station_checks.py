"""Checks of a station by a reference: what was found of it, each time."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import astuple, dataclass, fields

import pandas as pd

from analyzer.lot.store.database import Database
from analyzer.lot.store.keys import digest_bytes, stored_text, text_or_none, upsert


@dataclass(frozen=True)
class StationCheck:
    """One characteristic of one recording of a reference at a station.

    ``characteristic`` ends with the unit that ``value``, its standard uncertainty and the limits
    are in. ``checked_at``: ISO 8601 as it stood at the station; ``checked_s``: seconds since
    1970, UTC. ``sha256``: of the recording, hexadecimal: the same recording is no second check.
    """

    station: str
    reference: str
    characteristic: str
    sha256: str
    file: str
    checked_at: str | None
    checked_s: float | None
    value: float | None
    standard_uncertainty: float | None
    lower_limit: float | None
    upper_limit: float | None
    verdict: str
    remark: str = ""


_NAMES = tuple(each.name for each in fields(StationCheck))
_CHECK = upsert("station_checks", _NAMES, 4)


def add_station_checks(database: Database, checks: Iterable[StationCheck]) -> None:
    """Keep checks, all in one transaction; one of the same recording takes the place of the old."""
    with database.transaction():
        database.write_each(_CHECK, map(_row, checks))


def station_checks(database: Database, station: str | None = None) -> tuple[StationCheck, ...]:
    """The checks of a station, or of all, in order of time."""
    rows = database.rows(
        "SELECT station, reference, characteristic, lower(hex(sha256)), file, checked_at, "
        "checked_s, value, standard_uncertainty, lower_limit, upper_limit, verdict, remark "
        "FROM station_checks WHERE ?1 IS NULL OR station = ?1 "
        "ORDER BY checked_s, station, reference, characteristic, sha256",
        (text_or_none(station),),
    )
    return tuple(StationCheck(*row) for row in rows)


def station_checks_frame(database: Database, station: str | None = None) -> pd.DataFrame:
    """The same as a frame, a column a field."""
    rows = [astuple(each) for each in station_checks(database, station)]
    return pd.DataFrame.from_records(rows, columns=list(_NAMES))


def _row(check: StationCheck) -> tuple[object, ...]:
    values = [
        stored_text(each) if isinstance(each, str) else each
        for each in (getattr(check, name) for name in _NAMES)
    ]
    values[_NAMES.index("sha256")] = digest_bytes(check.sha256)
    return tuple(float(each) if isinstance(each, float) else each for each in values)
