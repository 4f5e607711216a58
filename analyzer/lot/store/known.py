"""What is known already: files, recordings, analyses, reports."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from analyzer.lot.records import Fault, FileState, Session
from analyzer.lot.store import faults
from analyzer.lot.store.codec import (
    CorruptError,
    unpack_measured,
    unpack_report,
    unpack_report_json,
)
from analyzer.lot.store.database import Database
from analyzer.lot.store.keys import by_stored, digest_bytes, session_key, stored_text
from analyzer.lot.store.runs import Run
from analyzer.measure import Measured
from analyzer.report.model import Report

_MOST_PLACES = 4  # a choice: a lot is seldom moved more often before it is measured again
_AT_ONCE = 500  # values of a query; SQLite allows 32,766


def known_states(database: Database, session: Session) -> dict[str, FileState]:
    """What the session's files were like when they were read last, by file; others are left out."""
    names = by_stored(session.files)
    rows = database.rows(
        "SELECT file, token, sha256 FROM file_states WHERE place = ?", (stored_text(session.place),)
    )
    return {
        names[file]: FileState(names[file], token, sha256.hex())
        for file, token, sha256 in rows
        if file in names
    }


def known_recordings(database: Database, keys: Iterable[str]) -> dict[str, tuple[Measured, ...]]:
    """What was measured in recordings, by key; what is not known, or damaged, is left out."""
    found: dict[str, tuple[Measured, ...]] = {}
    for part in _parts(list(dict.fromkeys(keys))):
        marks = ", ".join("?" * len(part))
        sql = f"SELECT key, measured FROM recordings WHERE key IN ({marks})"  # noqa: S608 - marks
        for key, measured in database.rows(sql, [digest_bytes(each) for each in part]):
            try:
                found[key.hex()] = unpack_measured(measured)
            except CorruptError:
                continue  # it is measured again, which mends it
    return found


def _parts(keys: Sequence[str]) -> Iterator[Sequence[str]]:
    for start in range(0, len(keys), _AT_ONCE):
        yield keys[start : start + _AT_ONCE]


def analysis_of(database: Database, session: Session, inputs: str) -> int | None:
    """The analysis of a session from these inputs; None where there is none."""
    row = database.first(
        "SELECT id FROM analyses WHERE serial = ? AND station = ? AND operator = ? AND repeat = ? "
        "AND inputs = ?",
        (*session_key(session), digest_bytes(inputs)),
    )
    return None if row is None else int(row[0])


def places_of(database: Database, serial: str) -> list[str]:
    """Where recordings of a serial number lay, the latest first, at most some."""
    rows = database.rows(
        "SELECT place FROM analyses WHERE serial = ? GROUP BY place ORDER BY max(id) DESC LIMIT ?",
        (stored_text(serial), _MOST_PLACES),
    )
    return [place for (place,) in rows]


def without_decision(database: Database, run: Run) -> list[int]:
    """Which analyses of a run are not yet decided by its specification."""
    rows = database.rows(
        "SELECT analysis FROM members WHERE run = ? AND lot = ? AND analysis IS NOT NULL AND NOT "
        "EXISTS (SELECT 1 FROM decisions WHERE decisions.analysis = members.analysis "
        "AND decisions.specification = ?) ORDER BY analysis",
        (run.run, run.lot, run.specification),
    )
    return [int(analysis) for (analysis,) in rows]


def report_json(database: Database, analysis: int) -> str:
    """The JSON report of an analysis, as it was written; raises UnusableInputError if damaged."""
    serial, body = _report_row(database, analysis)
    try:
        return unpack_report_json(body)
    except CorruptError as error:
        raise faults.corrupt_row(database.path, serial, "report") from error


def stored_report(database: Database, analysis: int) -> Report:
    """The report of an analysis, but for ``reading``; raises UnusableInputError if damaged."""
    serial, body = _report_row(database, analysis)
    try:
        return unpack_report(body)
    except CorruptError as error:
        raise faults.corrupt_row(database.path, serial, "report") from error


def stored_reports(
    database: Database, analyses: Iterable[int]
) -> Iterator[tuple[int, Report | Fault]]:
    """The reports of many analyses, one by one; a fault where one is damaged."""
    for analysis in analyses:
        serial, body = _report_row(database, analysis)
        try:
            yield analysis, unpack_report(body)
        except CorruptError:
            error = faults.corrupt_row(database.path, serial, "report")
            yield analysis, Fault(serial, str(error))


def _report_row(database: Database, analysis: int) -> tuple[str, bytes]:
    row = database.first(
        "SELECT serial, body FROM analyses LEFT JOIN reports ON analysis = id WHERE id = ?",
        (analysis,),
    )
    if row is None:
        raise faults.no_analysis(database.path, analysis)
    serial, body = row
    return serial, body if isinstance(body, bytes) else b""
