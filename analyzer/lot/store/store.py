"""A store: everything that is known of the instruments of a production, in one file of SQLite.

    with open_store(folder / FILE_NAME, create=True) as store:
        run = store.begin(method, specification=(specification, digest), lot=name)
        store.keep(run, known)                  # analyses that are there already
        store.add(run, outcome, decision)       # one transaction each
        store.finish(run)
        frame = store.sessions_frame(name)

Every method raises UnusableInputError, one line, where the file fails.
"""

from __future__ import annotations

import time
from collections.abc import Iterable, Iterator
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import pandas as pd

from analyzer.lot.judgement.decision import InstrumentDecision
from analyzer.lot.judgement.specification import Specification
from analyzer.lot.records import Fault, FileState, Outcome, Session
from analyzer.lot.store import dump, frames, history, known, runs, station_checks, upkeep, write
from analyzer.lot.store.database import BUSY_TIMEOUT_S, Database, open_database
from analyzer.lot.store.faults import no_run
from analyzer.lot.store.history import Entry, Moment
from analyzer.lot.store.runs import Run
from analyzer.lot.store.station_checks import StationCheck
from analyzer.measure import Measured
from analyzer.report.model import Report, StringResult


def open_store(
    path: Path,
    *,
    create: bool,
    read_only: bool = False,
    busy_timeout_s: float = BUSY_TIMEOUT_S,
) -> Store:
    """Open a store's file; ``create`` makes it, and its folder, where there is none.

    ``read_only`` also reads where nothing can be written. Another process's write is waited for
    ``busy_timeout_s``. Raises UnusableInputError: see ``open_database``.
    """
    return Store(
        open_database(path, create=create, read_only=read_only, busy_timeout_s=busy_timeout_s)
    )


class Store:
    """An open store. The functions behind the methods stand in the modules beside this one."""

    def __init__(self, database: Database) -> None:
        self._database = database

    @property
    def path(self) -> Path:
        return self._database.path

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        self._database.close()

    # Writing.

    def begin(
        self,
        method: str,
        *,
        specification: tuple[Specification, str] | None = None,
        lot: str | None = None,
        started_s: float | None = None,
    ) -> Run:
        """Begin a run: under a specification and its digest, over a lot of this name, if any."""
        return runs.begin(self._database, method, _now(started_s), specification, lot)

    def add(
        self,
        run: Run,
        outcome: Outcome,
        decision: InstrumentDecision | None = None,
        *,
        analyzed_s: float | None = None,
    ) -> int | None:
        """Keep an outcome in one transaction; the number of its analysis, None without report."""
        return write.add(self._database, run, outcome, decision, _now(analyzed_s))

    def keep(self, run: Run, sessions: Iterable[tuple[Session, int]]) -> None:
        """Take sessions whose analyses are there already into the run, in one transaction."""
        runs.keep(self._database, run, sessions)

    def decide(self, run: Run, decisions: Iterable[tuple[int, InstrumentDecision]]) -> None:
        """Keep what the run's specification makes of analyses, in one transaction."""
        write.decide(self._database, run, decisions)

    def finish(self, run: Run, *, finished_s: float | None = None) -> None:
        """End a run that saw the whole lot: what it has not seen is no longer in the lot."""
        runs.finish(self._database, run, _now(finished_s))

    def add_station_checks(self, checks: Iterable[StationCheck]) -> None:
        """Keep checks of a station, in one transaction."""
        station_checks.add_station_checks(self._database, checks)

    def forget_measured(self, before_s: float) -> int:
        """Drop what was measured in single recordings before a moment; analyses stay."""
        return upkeep.forget_measured(self._database, before_s)

    # What is known already.

    def known_states(self, session: Session) -> dict[str, FileState]:
        """What the session's files were like when they were read last, by file."""
        return known.known_states(self._database, session)

    def known_recordings(self, keys: Iterable[str]) -> dict[str, tuple[Measured, ...]]:
        """What was measured in recordings, by key, as far as it is known."""
        return known.known_recordings(self._database, keys)

    def analysis_of(self, session: Session, inputs: str) -> int | None:
        """The analysis of a session from these inputs; None where there is none."""
        return known.analysis_of(self._database, session, inputs)

    def places_of(self, serial: str) -> list[str]:
        """Where recordings of a serial number lay, the latest first."""
        return known.places_of(self._database, serial)

    def without_decision(self, run: Run) -> list[int]:
        """Analyses of the run that its specification has not decided yet."""
        return known.without_decision(self._database, run)

    def stored_report(self, analysis: int) -> Report:
        """The report of an analysis; UnusableInputError where it is damaged."""
        return known.stored_report(self._database, analysis)

    def stored_reports(self, analyses: Iterable[int]) -> Iterator[tuple[int, Report | Fault]]:
        """The reports of analyses one by one, a fault in place of one that is damaged."""
        return known.stored_reports(self._database, analyses)

    def report_json(self, analysis: int) -> str:
        """The JSON report of an analysis as it was written."""
        return known.report_json(self._database, analysis)

    # A lot after the last run over it.

    def run_over(self, lot: str) -> Run:
        """The last run over a lot; UnusableInputError where there was none."""
        run = runs.last_run(self._database, lot)
        if run is None:
            raise no_run(self.path, lot)
        return run

    def sessions_frame(self, lot: str) -> pd.DataFrame:
        """A row a session: ``records.SESSION_COLUMNS``."""
        return frames.sessions_frame(self._database, self.run_over(lot))

    def values_frame(self, lot: str) -> pd.DataFrame:
        """A row a value that is judged: ``records.VALUE_COLUMNS``."""
        return frames.values_frame(self._database, self.run_over(lot))

    def left_out_frame(self, lot: str) -> pd.DataFrame:
        """A row a recording that was left out: ``records.LEFT_OUT_COLUMNS``."""
        return frames.left_out_frame(self._database, self.run_over(lot))

    def same_recordings(self, lot: str) -> Iterator[tuple[str, ...]]:
        """Serial numbers of the lot whose recordings are the same, byte by byte."""
        return frames.same_recordings(self._database, self.run_over(lot))

    def failed(self, lot: str) -> tuple[Fault, ...]:
        """The sessions of which nothing came, and why."""
        return runs.failed(self._database, self.run_over(lot))

    # Over the years.

    def history_of(self, serial: str) -> tuple[Entry, ...]:
        """The analyses of a serial number, the oldest first; UnusableInputError without any."""
        return history.history_of(self._database, serial)

    def since(
        self, moment_s: float, *, by: Moment = "analyzed_s", most: int | None = None
    ) -> Iterator[Entry]:
        """Analyses from a moment on, seconds since 1970, UTC; the oldest first."""
        return history.since(self._database, moment_s, by=by, most=most)

    def count_since(self, moment_s: float, *, by: Moment = "analyzed_s") -> int:
        """How many ``since`` gives."""
        return history.count_since(self._database, moment_s, by=by)

    def strings_of(self, analysis: int) -> tuple[StringResult, ...]:
        """The strings of an analysis, as in its report."""
        return history.strings_of(self._database, analysis)

    def station_checks(self, station: str | None = None) -> tuple[StationCheck, ...]:
        """The checks of a station, or of all, in order of time."""
        return station_checks.station_checks(self._database, station)

    def station_checks_frame(self, station: str | None = None) -> pd.DataFrame:
        """The same as a frame."""
        return station_checks.station_checks_frame(self._database, station)

    # The file itself.

    def clock_behind_s(self, now_s: float | None = None) -> float:
        """How far the clock is behind the newest analysis; 0 where it is not."""
        return upkeep.clock_behind_s(self._database, _now(now_s))

    def dump(self) -> Iterator[tuple[Any, ...]]:
        """All content, without numbers and times of writing: to compare two stores."""
        return dump.dump(self._database)


def _now(given_s: float | None) -> float:
    return time.time() if given_s is None else given_s
