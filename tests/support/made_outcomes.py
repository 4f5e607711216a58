"""Outcomes of invented instruments, to keep in a store: made notes, real decisions."""

from __future__ import annotations

import hashlib
import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
from made_notes import SIX
from made_reports import notes_of

from analyzer.errors import UnusableInputError
from analyzer.lot.identity import inputs_digest, recording_key, specification_digest
from analyzer.lot.judgement.decision import InstrumentDecision, decide_instrument
from analyzer.lot.judgement.specification import Limits, Requirement, Specification
from analyzer.lot.records import FileState, MeasuredFile, Outcome, Session
from analyzer.lot.store import Store, open_store
from analyzer.measure import Measured
from analyzer.report.build import build_report

METHOD = "a method of the tests"
SPECIFICATION = Specification("made", error=Requirement(Limits(-3.0, 3.0)))
UNDER = (SPECIFICATION, specification_digest(SPECIFICATION))
LOT = "week 12"
NO_PITCH = "holds no steady note. Record it again."


def session_of(serial: str, **changes: object) -> Session:
    """A session of twelve recordings in a folder of its serial number."""
    files = tuple(
        f"s{string}_{fret}_1.wav" for string in range(6, 0, -1) for fret in ("open", "f12")
    )
    plain = Session(
        serial,
        f"lots/{serial}",
        files,
        station="bench 1",
        operator="first shift",
        recorded_at="2031-05-02T10:00:00+02:00",
        recorded_s=1_935_561_600.0,
    )
    return replace(plain, **changes)


def outcome_of(session: Session, error_cents: float = 1.0, *others: Measured) -> Outcome:
    """What comes of it where every string but one has no error."""
    errors = {string: error_cents if string == 3 else 0.0 for string in SIX.strings}
    measured = [*notes_of(SIX, errors, takes=1), *others]
    files = tuple(_file(session, each, error_cents) for each in measured)
    report = build_report(SIX, 440.0, measured, ["made by hand"])
    inputs = inputs_digest([each.key for each in files], SIX, "settings of the tests")
    return Outcome(session, report, None, inputs, files, len(files), 1.5)


def _file(session: Session, measured: Measured, error_cents: float) -> MeasuredFile:
    content = f"{session.serial} {session.repeat} {measured.file} {error_cents}"
    sha256 = hashlib.sha256(content.encode("utf-8", "backslashreplace")).hexdigest()
    state = FileState(measured.file, f"{len(content)}-1", sha256)
    key = recording_key(sha256, measured.file, (), "settings of the tests")
    return MeasuredFile(state, key, (measured,))


def decided(outcome: Outcome, specification: Specification = SPECIFICATION) -> InstrumentDecision:
    assert outcome.report is not None
    return decide_instrument(outcome.report, specification)


def store_path(folder: Path) -> Path:
    return folder / "results" / "lot.sqlite"


def add_one(store: Store, serial: str = "A-1", error_cents: float = 1.0) -> tuple[int, Outcome]:
    """Keep an instrument of the lot; its number and what was kept."""
    run = store.begin(METHOD, specification=UNDER, lot=LOT)
    outcome = outcome_of(session_of(serial), error_cents)
    analysis = store.add(run, outcome, decided(outcome))
    assert analysis is not None
    return analysis, outcome


def three_instruments(folder: Path) -> Path:
    """A store with A-1, A-2 and A-3, whose string 3 has errors of 1, 2 and 3 cents."""
    path = store_path(folder)
    with open_store(path, create=True) as store:
        for number in (1, 2, 3):
            add_one(store, f"A-{number}", float(number))
    return path


def refused(path: Path, *, create: bool = True, **options: object) -> str:
    """The one line with which it is refused, whether to write or to read."""
    with pytest.raises(UnusableInputError) as caught:
        open_store(path, create=create, **options)
    line = str(caught.value)
    assert line.startswith(f"{path}: ")
    assert "\n" not in line
    return line


def change(path: Path, *statements: str, values: tuple[object, ...] = ()) -> None:
    """What someone does to the file with a program of their own."""
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        for each in statements:
            connection.execute(each, values)
