"""What a worker does: the recordings of one session become a report and a decision.

Nothing is written here and no database is known: what is known of a recording already comes
with the task, and what was found goes back with the outcome.
"""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from analyzer.beside import instrument_beside, table_beside
from analyzer.cross_check import judge_together
from analyzer.errors import UnusableInputError
from analyzer.instrument.model import Instrument
from analyzer.lot.decision import decide_instrument
from analyzer.lot.fetching import local_folder, local_instrument_file, tokens
from analyzer.lot.identity import inputs_digest, method_version, recording_key, sha256_of
from analyzer.lot.records import FileState, MeasuredFile, Outcome, Session, Task
from analyzer.lot.specification import Specification
from analyzer.measure import measure_file, unforeseen
from analyzer.music import ISO16_A4_HZ
from analyzer.recording.limits import TRUSTED, ReadingRules, check_count
from analyzer.recording.table import Listed
from analyzer.report.build import build_report

_CHANGED = "changed while they were read. Let whoever writes them finish, and run it again."


@dataclass(frozen=True)
class Settings:
    """What is asked of every session alike. ``method`` is that of whoever gives out the tasks."""

    method: str
    specification: Specification | None = None
    a4_hz: float = ISO16_A4_HZ
    rules: ReadingRules = TRUSTED


@dataclass(frozen=True)
class Inputs:
    """What stands beside the recordings of a session."""

    instrument: Instrument
    listed: Mapping[str, Sequence[Listed]]
    warnings: tuple[str, ...]


def measure_session(task: Task, settings: Settings) -> Outcome:
    """Measure what is not known of a session yet, and decide. Never raises for a session's sake.

    Raises UnusableInputError where this worker's method is not that of the others.
    """
    _check_method(settings.method)
    began = time.monotonic()
    try:
        outcome = _measured(task, settings)
    except UnusableInputError as error:
        outcome = Outcome(task.session, None, str(error))
    except Exception as error:  # noqa: BLE001 - one instrument must never be the end of a lot
        outcome = Outcome(task.session, None, unforeseen(error))
    return replace(outcome, seconds=time.monotonic() - began)


def read_inputs(session: Session, folder: Path, rules: ReadingRules) -> Inputs:
    """The instrument and the tables of a session whose files are in ``folder``.

    Raises UnusableInputError where one of them is wrong.
    """
    instrument_file = local_instrument_file(session, folder)
    instrument, warnings = instrument_beside(folder, instrument_file, rules)
    listed = session.listed or table_beside(
        folder, instrument, [folder / each for each in session.files], rules
    )
    return Inputs(instrument, listed, tuple(warnings))


def key_of(state: FileState, inputs: Inputs, settings: Settings) -> str:
    """The key of a recording under these inputs and settings."""
    return recording_key(
        state.sha256,
        state.file,
        inputs.listed.get(state.file, ()),
        inputs.instrument,
        settings.a4_hz,
        settings.rules,
        settings.method,
    )


def _check_method(method: str) -> None:
    if method != method_version():
        raise UnusableInputError(
            "--scheduler",
            f"has a worker of another version: {method_version()}, not {method}",
            "Install the same pluckcheck, and the same libraries, on every worker",
        )


def _measured(task: Task, settings: Settings) -> Outcome:
    session = task.session
    check_count(session.place, len(session.files), settings.rules.limits)
    before = tokens(session)
    with local_folder(session, settings.rules) as folder:
        inputs = read_inputs(session, folder, settings.rules)
        found = [
            _file(folder / file, FileState(file, before[file], ""), task, inputs, settings)
            for file in session.files
        ]
    if tokens(session) != before:
        return Outcome(session, None, f"{session.place}: its files {_CHANGED}")
    files = tuple(file for file, _ in found)
    return _decided(session, inputs, files, sum(new for _, new in found), settings)


def _file(
    path: Path, unread: FileState, task: Task, inputs: Inputs, settings: Settings
) -> tuple[MeasuredFile, bool]:
    """One recording, and whether it had to be measured for it."""
    known = task.known.get(unread.file)
    same = known is not None and unread.token and known.state.token == unread.token
    sha256 = known.state.sha256 if known is not None and same else sha256_of(path)
    state = replace(unread, sha256=sha256)
    key = key_of(state, inputs, settings)
    if known is not None and known.key == key:
        return replace(known, state=state), False
    listed = inputs.listed.get(unread.file, ())
    measured = measure_file(path, listed, inputs.instrument, settings.a4_hz, settings.rules)
    return MeasuredFile(state, key, tuple(measured)), True


def _decided(
    session: Session,
    inputs: Inputs,
    files: tuple[MeasuredFile, ...],
    new: int,
    settings: Settings,
) -> Outcome:
    every = [each for file in files for each in file.measured]
    together = judge_together(every, inputs.instrument, settings.a4_hz)
    report = build_report(inputs.instrument, settings.a4_hz, together, inputs.warnings)
    decision = None
    if settings.specification is not None:
        decision = decide_instrument(report, settings.specification)
    digest = digest_of(files, inputs, settings)
    return Outcome(session, report, None, digest, files, new, decision=decision)


def digest_of(files: Sequence[MeasuredFile], inputs: Inputs, settings: Settings) -> str:
    """The digest of all that a report is made from."""
    return inputs_digest(
        [each.key for each in files], inputs.instrument, settings.a4_hz, settings.method
    )
