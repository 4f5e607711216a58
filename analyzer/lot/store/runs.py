"""Runs over a lot, and of which analyses a lot consists after the last of them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from analyzer.lot.identity import deciding_part
from analyzer.lot.judgement.specification import Specification
from analyzer.lot.records import Fault, Session
from analyzer.lot.store.codec import specification_json
from analyzer.lot.store.database import Database
from analyzer.lot.store.keys import session_key, stored_text, text_or_none

_PUT_METHOD = "INSERT INTO methods (method) VALUES (?) ON CONFLICT DO NOTHING"
_METHOD = "SELECT id FROM methods WHERE method = ?"
_PUT_LOT = "INSERT INTO lots (lot) VALUES (?) ON CONFLICT DO NOTHING"
_LOT = "SELECT id FROM lots WHERE lot = ?"
_MEMBER = """INSERT INTO members (lot, serial, station, operator, repeat, run, analysis, reason)
VALUES (?, ?, ?, ?, ?, ?, ?, ?)
ON CONFLICT DO UPDATE SET run = max(run, excluded.run), analysis = excluded.analysis,
reason = excluded.reason"""
_SEEN = """UPDATE analyses SET place = ?2, recorded_at = ?3, recorded_s = ?4,
specification = coalesce(?5, specification) WHERE id = ?1 AND NOT (place IS ?2
AND recorded_at IS ?3 AND recorded_s IS ?4 AND specification IS coalesce(?5, specification))"""


@dataclass(frozen=True)
class Run:
    """Under which numbers a run writes: see ``begin``. ``lot`` and ``run`` are None outside a lot,
    ``specification`` is where nothing is decided.
    """

    method: int
    specification: int | None = None
    lot: int | None = None
    run: int | None = None


def begin(
    database: Database,
    method: str,
    started_s: float,
    specification: tuple[Specification, str] | None = None,
    lot: str | None = None,
) -> Run:
    """Begin a run with a method, over a lot and under a specification (with its digest), if any."""
    with database.transaction():
        method_id = _number(database, _PUT_METHOD, _METHOD, method)
        decided_by = None
        if specification is not None:
            decided_by = _specification(database, *specification)
        if lot is None:
            return Run(method_id, decided_by)
        lot_id = _number(database, _PUT_LOT, _LOT, lot)
        database.write(
            "INSERT INTO runs (lot, specification, method, started_s) VALUES (?, ?, ?, ?)",
            (lot_id, decided_by, method_id, started_s),
        )
        run_id = database.number("SELECT last_insert_rowid()")
        return Run(method_id, decided_by, lot_id, run_id)


def finish(database: Database, run: Run, finished_s: float) -> None:
    """End a run that came to its end: what is no longer in the lot is no longer a member of it."""
    if run.run is None:
        return
    with database.transaction():
        database.write("DELETE FROM members WHERE lot = ? AND run < ?", (run.lot, run.run))
        database.write("UPDATE runs SET finished_s = ? WHERE id = ?", (finished_s, run.run))


def keep(database: Database, run: Run, known: Iterable[tuple[Session, int]]) -> None:
    """Take analyses that are there already into the run, all in one transaction."""
    with database.transaction():
        for session, analysis in known:
            add_member(database, run, session, analysis)
            at, when_s = text_or_none(session.recorded_at), session.recorded_s
            place = stored_text(session.place)
            database.write(_SEEN, (analysis, place, at, when_s, run.specification))


def add_member(
    database: Database, run: Run, session: Session, analysis: int | None, reason: str | None = None
) -> None:
    """Within a transaction: what a run made of a session."""
    if run.run is not None:
        key = session_key(session)
        database.write(_MEMBER, (run.lot, *key, run.run, analysis, reason))


def last_run(database: Database, lot: str) -> Run | None:
    """The last run over a lot, whether it came to its end or not; None where there was none."""
    row = database.first(
        "SELECT method, specification, lot, id FROM runs WHERE lot = "
        "(SELECT id FROM lots WHERE lot = ?) ORDER BY id DESC LIMIT 1",
        (stored_text(lot),),
    )
    return None if row is None else Run(*row)


def failed(database: Database, run: Run) -> tuple[Fault, ...]:
    """The sessions of a lot of which nothing came, and why."""
    rows = database.each(
        "SELECT serial, repeat, reason FROM members WHERE lot = ? AND analysis IS NULL "
        "ORDER BY serial, station, operator, repeat",
        (run.lot,),
    )
    return tuple(
        Fault(Session(serial, "", (), repeat=repeat).named, reason or "")
        for serial, repeat, reason in rows
    )


def _specification(database: Database, specification: Specification, digest: str) -> int:
    values = (digest, specification_json(deciding_part(specification)))
    sql = "INSERT INTO specifications (digest, body) VALUES (?, ?) ON CONFLICT DO NOTHING"
    database.write(sql, values)
    return database.number("SELECT id FROM specifications WHERE digest = ?", (digest,))


def _number(database: Database, put: str, get: str, text: str) -> int:
    """The number that stands for a text, given now where there is none."""
    database.write(put, (stored_text(text),))
    return database.number(get, (stored_text(text),))
