"""The file's own affairs: its clock, and what it need not keep for ever."""

from __future__ import annotations

from analyzer.lot.store.database import Database


def clock_behind_s(database: Database, now_s: float) -> float:
    """How far ``now_s`` lies before the newest analysis, seconds; 0 where it does not.

    Nothing depends on the order of these times, but a person may: a clock was set back.
    """
    row = database.first("SELECT max(analyzed_s) FROM analyses")
    newest_s = None if row is None else row[0]
    return 0.0 if newest_s is None else max(0.0, newest_s - now_s)


def forget_measured(database: Database, before_s: float) -> int:
    """Drop what was measured in single recordings before a moment; how many were dropped.

    Analyses, reports and decisions stay. Where an instrument gets further takes after that, its
    earlier recordings are measured again. The room in the file is used again.
    """
    with database.transaction():
        database.write("DELETE FROM recordings WHERE kept_s < ?", (before_s,))
        return database.number("SELECT changes()")
