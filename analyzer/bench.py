"""One instrument at the bench, analyzed and kept in a store: a record of each over the years.

It belongs to no lot, and nothing is decided of it. What the store has measured already of these
recordings is not measured again.
"""

from __future__ import annotations

import hashlib
import time
from collections.abc import Mapping
from pathlib import Path

from analyzer.analysis import Inputs, Progress, measure_files, report_of
from analyzer.errors import UnusableInputError
from analyzer.lot.identity import method_version, settings_digest
from analyzer.lot.records import FileState, MeasuredFile, Outcome, Session
from analyzer.lot.running.work import Inputs as SessionInputs
from analyzer.lot.running.work import read_state
from analyzer.lot.sessions.clock import in_utc
from analyzer.lot.sessions.fetching import tokens
from analyzer.lot.sessions.names import tidy, unfit
from analyzer.lot.sessions.place import absolute
from analyzer.lot.store import file_in, files_of, open_store
from analyzer.measure import Measured
from analyzer.processes import ALL_CORES, check_jobs
from analyzer.report.files import as_json
from analyzer.report.model import Report


class Bench:
    """One bench analysis on its way into a store.

    ``store``: the file; ``serial``: the serial number that it is kept under; ``files``: every file
    that the store may consist of.
    """

    def __init__(self, store: Path, serial: str) -> None:
        self.store, self.serial = store, serial
        self.files = files_of(store)
        self._outcome: Outcome | None = None

    def analyze(
        self, inputs: Inputs, *, jobs: int = ALL_CORES, progress: Progress | None = None
    ) -> Report:
        """As ``analyzer.analysis.report_from``, but for what the store has measured already.

        Raises UnusableInputError for the store, too, before anything is measured.
        """
        check_jobs(jobs)
        report, self._outcome = _analyzed(self, inputs, jobs, progress)
        return report

    def keep(self, _report: Report | None = None) -> None:
        """Keep what was analyzed, in one transaction; from the same recordings, it is there once.

        Raises UnusableInputError where it cannot be kept.
        """
        outcome = self._outcome
        if outcome is None:
            raise ValueError("nothing was analyzed")
        if outcome.reason is not None:
            raise UnusableInputError(outcome.session.place, outcome.reason, "Analyze it again")
        with open_store(self.store, create=True) as store:
            store.add(store.begin(method_version()), outcome)


def bench_of(place: Path, folder: Path, serial: str | None = None) -> Bench:
    """A store by its file (``*.sqlite``) or its folder; there need be neither yet.

    ``serial``: by default the name of the folder of recordings. Raises UnusableInputError where
    that is no serial number.
    """
    name = folder.resolve().name if serial is None else serial
    why = unfit(name)
    if why is not None:
        found = f"is no serial number: it {why}"
        if serial is None:
            raise UnusableInputError(f"the name of {folder}", found, "Give one with --serial")
        raise UnusableInputError("--serial", found, "Give the one that the instrument bears")
    return Bench(file_in(place), tidy(name))


def _analyzed(
    bench: Bench, inputs: Inputs, jobs: int, progress: Progress | None
) -> tuple[Report, Outcome]:
    """The report, and what is to be kept of it; a reason there, why it cannot be."""
    began = time.monotonic()
    session = _session(bench, inputs)
    before = tokens(session)
    about = _about(inputs)
    unread = [FileState(file, before[file], "") for file in session.files]
    states = [read_state(inputs.folder / each.file, each) for each in unread]
    files, new = _measured(inputs, states, _known(bench, states, about), about, jobs, progress)
    report = report_of(inputs, [each.measured for each in files], jobs)
    changed = "its recordings changed while they were read, so that nothing is kept of it"
    outcome = Outcome(
        session,
        report,
        None if tokens(session) == before else changed,
        _digest(inputs, about, files, report),
        files,
        new,
        time.monotonic() - began,
    )
    return report, outcome


def _session(bench: Bench, inputs: Inputs) -> Session:
    newest_s = max((_modified_s(path) for path in inputs.files), default=0.0) or None
    at = in_utc(newest_s)
    return Session(
        bench.serial,
        absolute(str(inputs.folder)),
        tuple(path.name for path in inputs.files),
        recorded_at=at,
        recorded_s=None if at is None else newest_s,
    )


def _modified_s(path: Path) -> float:
    """When a file changed last, seconds since 1970, UTC; 0 where nothing tells."""
    try:
        return path.stat().st_mtime
    except OSError:
        return 0.0


def _about(inputs: Inputs) -> SessionInputs:
    digest = settings_digest(inputs.instrument, inputs.a4_hz, inputs.rules, method_version())
    return SessionInputs(inputs.instrument, inputs.listed, inputs.warnings, digest)


def _known(
    bench: Bench, states: list[FileState], about: SessionInputs
) -> Mapping[str, tuple[Measured, ...]]:
    """What the store has of these files, by key; makes the store where there is none yet."""
    with open_store(bench.store, create=True) as store:
        return store.known_recordings(about.key_of(each) for each in states if each.token)


def _measured(
    inputs: Inputs,
    states: list[FileState],
    known: Mapping[str, tuple[Measured, ...]],
    about: SessionInputs,
    jobs: int,
    progress: Progress | None,
) -> tuple[tuple[MeasuredFile, ...], int]:
    """Every recording in order, and how many of them had to be measured."""
    keys = [about.key_of(each) for each in states]
    missing = [path for path, key in zip(inputs.files, keys, strict=True) if key not in known]
    found = iter(measure_files(inputs, missing, jobs, progress))
    files = tuple(
        MeasuredFile(state, key, known[key] if key in known else tuple(next(found)))
        for state, key in zip(states, keys, strict=True)
    )
    return files, len(missing)


def _digest(
    inputs: Inputs, about: SessionInputs, files: tuple[MeasuredFile, ...], report: Report
) -> str:
    """That of the same session in a lot, so that both are one analysis.

    A report that learned from a round before is more than its recordings give, and stands beside
    it: it is told by what it says.
    """
    keys = [each.key for each in files]
    if inputs.done is not None:
        keys.append(hashlib.sha256(as_json(report).encode("utf-8")).hexdigest())
    return about.digest_of(keys)
