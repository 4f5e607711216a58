"""What came of a session, into the tables: all of it in one transaction."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import astuple, fields
from typing import Any

from analyzer.lot.judgement.decision import Decision, InstrumentDecision
from analyzer.lot.judgement.uncertainty import Uncertainty
from analyzer.lot.records import MeasuredFile, Outcome, Session
from analyzer.lot.sessions.names import folded
from analyzer.lot.store.codec import pack_measured, pack_report
from analyzer.lot.store.database import Database
from analyzer.lot.store.keys import (
    digest_bytes,
    session_key,
    stored_text,
    text_or_none,
    upsert,
)
from analyzer.lot.store.runs import Run, add_member
from analyzer.report.model import Report, StringResult

_KEPT = ("analyzed_s", "seconds")  # the same inputs were analyzed before
_ANALYSIS = upsert(
    "analyses",
    [
        *("serial", "station", "operator", "repeat", "inputs"),
        *("folded_serial", "place", "instrument", "recorded_at", "recorded_s"),
        *("analyzed_s", "seconds", "method", "complete", "recordings", "left_out"),
        *("strings", "strings_measured"),
    ],
    5,
    _KEPT,
)
_DECIDED_BY = "UPDATE analyses SET specification = ? WHERE id = ?"
_REPORT = upsert("reports", ("analysis", "body"), 1)
_STRING = upsert("strings", ("analysis", *(each.name for each in fields(StringResult))), 2)
_LEFT_OUT = upsert("left_out", ("analysis", "position", "file", "string", "fret", "reason"), 2)
_STATE = upsert("file_states", ("place", "file", "token", "sha256"), 2)
# What is there already stays as it is, unless it was damaged.
_RECORDING = (
    upsert("recordings", ("key", "kept_s", "measured"), 1, ("kept_s",))
    + " WHERE measured IS NOT excluded.measured"
)
_DECISION = upsert(
    "decisions",
    ("analysis", "specification", "verdict", "reason", "conformity_probability", "more_takes"),
    2,
)
_VALUE = upsert(
    "value_decisions",
    [
        *("analysis", "specification", "characteristic", "string", "value_cents"),
        *("standard_uncertainty_cents", "scatter_cents", "scatter_freedom", "known_cents"),
        *("lower_cents", "upper_cents", "target_cents", "conformity_probability"),
        *("verdict", "more_takes", "reason"),
    ],
    4,
)


def add(
    database: Database,
    run: Run,
    outcome: Outcome,
    decision: InstrumentDecision | None,
    analyzed_s: float,
) -> int | None:
    """Keep an outcome; the number of its analysis, None where it has no report.

    Raises ValueError for a report without the digest of its inputs.
    """
    if outcome.report is not None and outcome.inputs is None:
        raise ValueError(f"{outcome.session.named} has a report and no digest of its inputs")
    recordings = [(each, pack_measured(each.measured)) for each in outcome.files]
    body = None if outcome.report is None else pack_report(outcome.report)
    with database.transaction():
        _add_files(database, outcome.session, recordings, analyzed_s)
        if outcome.report is None or body is None:
            add_member(database, run, outcome.session, None, text_or_none(outcome.reason))
            return None
        row = _analysis(run, outcome, outcome.report, analyzed_s)
        analysis = database.number(f"{_ANALYSIS} RETURNING id", row)
        database.write(_REPORT, (analysis, body))
        _add_parts(database, analysis, outcome.report)
        if decision is not None and run.specification is not None:
            _add_decision(database, run.specification, analysis, decision)
        add_member(database, run, outcome.session, analysis)
    return analysis


def decide(
    database: Database, run: Run, decisions: Iterable[tuple[int, InstrumentDecision]]
) -> None:
    """Keep what was decided anew of analyses that are there, all in one transaction."""
    if run.specification is None:
        return
    with database.transaction():
        for analysis, decision in decisions:
            _add_decision(database, run.specification, analysis, decision)


def _analysis(run: Run, outcome: Outcome, report: Report, analyzed_s: float) -> tuple[Any, ...]:
    session = outcome.session
    return (
        *session_key(session),
        digest_bytes(outcome.inputs or ""),
        folded(stored_text(session.serial)),
        stored_text(session.place),
        stored_text(report.instrument),
        text_or_none(session.recorded_at),
        session.recorded_s,
        analyzed_s,
        outcome.seconds,
        run.method,
        int(report.complete),
        len(report.recordings),
        len(report.rejected),
        len(report.strings),
        len(report.measured),
    )


def _add_files(
    database: Database,
    session: Session,
    recordings: Iterable[tuple[MeasuredFile, bytes | None]],
    kept_s: float,
) -> None:
    place = stored_text(session.place)
    for each, measured in recordings:
        state, sha256 = each.state, digest_bytes(each.state.sha256)
        database.write(_STATE, (place, stored_text(state.file), stored_text(state.token), sha256))
        if measured is not None:
            database.write(_RECORDING, (digest_bytes(each.key), kept_s, measured))


def _add_parts(database: Database, analysis: int, report: Report) -> None:
    strings = ((analysis, *map(_number, astuple(each))) for each in report.strings)
    database.write_each(_STRING, strings)
    database.write_each(_LEFT_OUT, _left_out(analysis, report))


def _left_out(analysis: int, report: Report) -> Iterator[tuple[Any, ...]]:
    for position, each in enumerate(report.recordings):
        if each.status == "rejected":
            reason = stored_text(each.reason or "")
            yield (analysis, position, stored_text(each.file), each.string, each.fret, reason)


def _add_decision(
    database: Database, specification: int, analysis: int, decision: InstrumentDecision
) -> None:
    database.write(_DECIDED_BY, (specification, analysis))
    key = (analysis, specification)
    found = (decision.verdict, decision.reason, _number(decision.conformity_probability))
    database.write(_DECISION, (*key, *found, decision.more_takes))
    database.write_each(_VALUE, ((*key, *_value(each)) for each in decision.decisions))


def _value(each: Decision) -> tuple[Any, ...]:
    limits = each.limits
    found = (
        each.characteristic,
        each.string,
        each.value_cents,
        *_uncertainty(each.uncertainty),
        limits.lower_cents,
        limits.upper_cents,
        limits.target_cents,
        each.conformity_probability,
        each.verdict,
        each.more_takes,
        each.reason,
    )
    return tuple(map(_number, found))


def _uncertainty(u: Uncertainty | None) -> tuple[float | None, ...]:
    if u is None:
        return (None,) * 4
    freedom = None if math.isinf(u.freedom) else u.freedom
    return u.standard_cents, u.scatter_cents, freedom, u.known_cents


def _number(value: Any) -> Any:
    """A number of numpy as SQLite knows it; the rest as it is."""
    if isinstance(value, float):
        return float(value)
    return stored_text(value) if isinstance(value, str) else value
