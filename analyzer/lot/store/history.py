"""What is known of one serial number, and of what was analyzed since a moment."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields
from typing import Literal

from analyzer.lot.judgement.decision import Verdict
from analyzer.lot.judgement.specification import RuleKind
from analyzer.lot.sessions.names import folded
from analyzer.lot.store import faults
from analyzer.lot.store.database import Database
from analyzer.lot.store.keys import stored_text
from analyzer.lot.store.rows import row_as
from analyzer.lot.store.spelling import nearest_serials
from analyzer.report.model import StringResult

Moment = Literal["analyzed_s", "recorded_s"]
_COLUMNS = """SELECT a.id, a.serial, a.station, a.operator, a.repeat, a.recorded_at, a.recorded_s,
a.analyzed_s, a.place, a.instrument, m.method, a.complete, a.recordings, a.left_out, a.strings,
a.strings_measured, d.verdict, d.reason, d.conformity_probability, d.more_takes,
s.digest, CASE WHEN json_valid(s.body) THEN json_extract(s.body, '$.rule.kind') END
FROM analyses AS a JOIN methods AS m ON m.id = a.method
LEFT JOIN specifications AS s ON s.id = a.specification
LEFT JOIN decisions AS d ON d.analysis = a.id AND d.specification = a.specification"""
OF_SERIAL = f"{_COLUMNS} WHERE a.folded_serial = ? ORDER BY a.recorded_s, a.repeat, a.id"
SINCE: dict[Moment, str] = {
    "analyzed_s": f"{_COLUMNS} WHERE a.analyzed_s >= ? ORDER BY a.analyzed_s, a.id LIMIT ?",
    "recorded_s": f"{_COLUMNS} WHERE a.recorded_s >= ? ORDER BY a.recorded_s, a.id LIMIT ?",
}
COUNT_SINCE: dict[Moment, str] = {
    "analyzed_s": "SELECT count(*) FROM analyses WHERE analyzed_s >= ?",
    "recorded_s": "SELECT count(*) FROM analyses WHERE recorded_s >= ?",
}


@dataclass(frozen=True)
class Entry:
    """One analysis, and how it was decided last.

    ``recorded_at``: ISO 8601 as it stood at the station; times in ``_s`` are seconds since 1970,
    UTC. ``verdict`` and what follows are None where nothing was decided of it; ``specification`` is
    the digest of the limits and the rule that it was decided by.
    """

    analysis: int
    serial: str
    station: str
    operator: str
    repeat: int
    recorded_at: str | None
    recorded_s: float | None
    analyzed_s: float
    place: str
    instrument: str
    method: str
    complete: bool
    recordings: int
    left_out: int
    strings: int
    strings_measured: int
    verdict: Verdict | None
    reason: str | None
    conformity_probability: float | None
    more_takes: int | None
    specification: str | None
    rule: RuleKind | None


_COMPLETE = [each.name for each in fields(Entry)].index("complete")


def history_of(database: Database, serial: str) -> tuple[Entry, ...]:
    """The analyses of a serial number, the oldest first.

    Of its exact spelling where there is one, else of those that differ in capitals or form only.
    Raises UnusableInputError where there is none.
    """
    rows = database.rows(OF_SERIAL, (folded(stored_text(serial)),))
    entries = [_entry(database, row) for row in rows]
    exact = [each for each in entries if each.serial == stored_text(serial)]
    if not entries:
        known = database.number("SELECT count(DISTINCT folded_serial) FROM analyses")
        raise faults.no_serial(database.path, serial, known, nearest_serials(database, serial))
    return tuple(exact or entries)


def since(
    database: Database, moment_s: float, *, by: Moment = "analyzed_s", most: int | None = None
) -> Iterator[Entry]:
    """Analyses from a moment on, the oldest first, at most so many."""
    limit = -1 if most is None else most
    return (_entry(database, row) for row in database.each(SINCE[by], (moment_s, limit)))


def count_since(database: Database, moment_s: float, *, by: Moment = "analyzed_s") -> int:
    """How many ``since`` gives."""
    return database.number(COUNT_SINCE[by], (moment_s,))


def strings_of(database: Database, analysis: int) -> tuple[StringResult, ...]:
    """The strings of an analysis as they are in its report, without unpacking that."""
    rows = database.rows(
        "SELECT a.serial, s.string, s.note, s.reason, s.open_hz, s.fretted_hz, s.error_cents, "
        "s.error_uncertainty_cents, s.open_drift_cents, s.fretted_drift_cents, "
        "s.sustain_drift_cents, s.saddle_move_mm, s.saddle_move_uncertainty_mm FROM strings AS s "
        "JOIN analyses AS a ON a.id = s.analysis WHERE s.analysis = ? ORDER BY s.string DESC",
        (analysis,),
    )
    return tuple(row_as(StringResult, row, database, str(serial)) for serial, *row in rows)


def _entry(database: Database, row: tuple[object, ...]) -> Entry:
    complete = list(row)
    complete[_COMPLETE] = bool(row[_COMPLETE])  # SQLite has no true and false
    return row_as(Entry, complete, database, str(row[1]))
