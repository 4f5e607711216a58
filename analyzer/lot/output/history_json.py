"""The histories of a store as JSON (schema_version 1), as ``history.schema.json`` describes it."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from analyzer.lot.histories import Analyzed, History, InstrumentHistory, Since, verdicts
from analyzer.lot.sessions.clock import in_utc
from analyzer.lot.store import Entry
from analyzer.report.json_text import head, json_text

SCHEMA_VERSION = 1


def as_json(history: History) -> str:
    """A history as JSON text. Numbers are unrounded; what could not be had is null."""
    body: dict[str, Any] = {
        **head(SCHEMA_VERSION),
        "serial": history.serial if isinstance(history, InstrumentHistory) else None,
        "since": _since(history.since),
        "known": history.known,
        "counts": {
            "not_judged" if verdict is None else verdict.replace(" ", "_"): count
            for verdict, count in verdicts(history.entries).items()
        },
        "analyses": list(_analyses(history)),
    }
    return json_text(body)


def _since(since: Since | None) -> dict[str, Any] | None:
    if since is None:
        return None
    return {"at": since.moment.at, "since_s": since.moment.seconds, "by": since.by}


def _analyses(history: History) -> list[dict[str, Any]]:
    if isinstance(history, InstrumentHistory):
        return [{**_entry(each.entry), **_figures(each)} for each in history.analyses]
    nothing = {"results": None, "changes": None, "warnings": None}
    return [{**_entry(each), **nothing} for each in history.entries]


def _entry(entry: Entry) -> dict[str, Any]:
    return {**asdict(entry), "analyzed_at": in_utc(entry.analyzed_s)}


def _figures(found: Analyzed) -> dict[str, Any]:
    return {
        "results": [asdict(each) for each in found.strings],
        "changes": [asdict(each) for each in found.changes],
        "warnings": list(found.warnings),
    }
