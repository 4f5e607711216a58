"""What a worker does: the recordings of one session become a report and a decision.

Nothing is written here and no database is known: what is known of a recording already comes
with the task, and what was found goes back with the outcome.
"""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

from analyzer.beside import assumed_for, table_beside
from analyzer.cross_check import judge_together
from analyzer.errors import UnusableInputError
from analyzer.instrument.file import read_instrument
from analyzer.instrument.model import Instrument
from analyzer.lot.identity import (
    inputs_digest,
    method_version,
    recording_key,
    settings_digest,
    sha256_of,
)
from analyzer.lot.judgement.decision import decide_instrument
from analyzer.lot.judgement.specification import Specification
from analyzer.lot.records import FileState, MeasuredFile, Outcome, Session, Task
from analyzer.lot.sessions.fetching import local_folder, local_instrument_file, tokens
from analyzer.lot.sessions.place import token
from analyzer.measure import measure_file, unforeseen
from analyzer.music import ISO16_A4_HZ
from analyzer.recording.limits import TRUSTED, ReadingRules, check_count
from analyzer.recording.table import Listed
from analyzer.report.build import build_report

_CHANGED = "changed while they were read. Let whoever writes them finish, and run it again."
_UNREADABLE = "00" * 32  # in place of a digest


@dataclass(frozen=True)
class Settings:
    """What is asked of every session alike. ``method`` is that of whoever gives out the tasks."""

    method: str
    specification: Specification | None = None
    a4_hz: float = ISO16_A4_HZ
    rules: ReadingRules = TRUSTED


@dataclass(frozen=True)
class Inputs:
    """What stands beside the recordings of a session. ``digest``: of what they have in common."""

    instrument: Instrument
    listed: Mapping[str, Sequence[Listed]]
    warnings: tuple[str, ...]
    digest: str

    def key_of(self, state: FileState) -> str:
        """The key of what is measured in a recording."""
        return recording_key(state.sha256, state.file, self.listed.get(state.file, ()), self.digest)

    def digest_of(self, keys: Sequence[str]) -> str:
        """The digest of all that the report is made from."""
        return inputs_digest(keys, self.instrument, self.digest)


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


def read_inputs(session: Session, folder: Path, settings: Settings) -> Inputs:
    """The instrument and the table of takes of a session whose files are in ``folder``.

    Raises UnusableInputError where one of them is wrong.
    """
    instrument, warnings = _instrument(session, folder)
    listed = session.listed or table_beside(
        folder, instrument, [folder / each for each in session.files], settings.rules
    )
    digest = settings_digest(instrument, settings.a4_hz, settings.rules, settings.method)
    return Inputs(instrument, listed, warnings, digest)


def session_inputs(session: Session, settings: Settings) -> Inputs:
    """The same wherever the session lies, without its recordings."""
    with local_folder(replace(session, files=()), settings.rules) as folder:
        return read_inputs(session, folder, settings)


def _instrument(session: Session, folder: Path) -> tuple[Instrument, tuple[str, ...]]:
    path = local_instrument_file(session, folder)
    if path is None:
        instrument, warning = assumed_for(session.serial)
        return instrument, (warning,)
    return _read_instrument(path, token(str(path))), ()


@lru_cache(maxsize=64)
def _read_instrument(path: Path, _token: str) -> Instrument:
    """A whole lot mostly has one file; it is read again when it has changed."""
    return read_instrument(path)


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
        inputs = read_inputs(session, folder, settings)
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
    state = known.state if known is not None and same else read_state(path, unread)
    key = inputs.key_of(state)
    if known is not None and known.key == key:
        return replace(known, state=state), False
    listed = inputs.listed.get(unread.file, ())
    measured = measure_file(path, listed, inputs.instrument, settings.a4_hz, settings.rules)
    return MeasuredFile(state, key, tuple(measured)), True


def read_state(path: Path, unread: FileState) -> FileState:
    """With the content's digest. What cannot be read is looked at again the next time."""
    try:
        if path.is_file():  # a pipe would be waited for
            return replace(unread, sha256=sha256_of(path))
    except OSError:
        pass
    return FileState(unread.file, "", _UNREADABLE)


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
    digest = inputs.digest_of([each.key for each in files])
    return Outcome(session, report, None, digest, files, new, decision=decision)
