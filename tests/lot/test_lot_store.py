"""One file of SQLite: what goes in comes out, whole or not at all, whoever else writes."""

from __future__ import annotations

import math
import os
import signal
import sqlite3
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_notes import CLEAN
from made_outcomes import METHOD, NO_PITCH, UNDER, decided, outcome_of, session_of, store_path

from analyzer.cross_check import judge_together
from analyzer.errors import UnusableInputError
from analyzer.instrument.file import read_instrument
from analyzer.lot.store import open_store
from analyzer.lot.store.codec import pack_measured, pack_report, unpack_measured, unpack_report
from analyzer.lot.store.database import open_database
from analyzer.lot.store.schema import MIGRATIONS, expected_parts, parts_of
from analyzer.measure import Measured, measure_file
from analyzer.pitch.settle import Course
from analyzer.pitch.track import Track
from analyzer.quality.model import Caution, Traits
from analyzer.recording.labels import Label
from analyzer.report.build import build_report
from analyzer.report.files import as_json

ROOT = Path(__file__).parents[2]
ANY = st.floats(allow_nan=True, allow_infinity=True)


@settings(deadline=None)  # how fast the machine is must not decide
@given(ANY, ANY, ANY, st.lists(st.integers(-128, 127), max_size=5), st.text(), st.none() | ANY)
def test_what_was_measured_comes_back_to_the_last_bit(one, two, three, print_, text, faint) -> None:
    """NaN and infinity too; ``repr`` of a float is exact, and NaN equals itself there."""
    course, track = Course((0.1, one), (two, 0.0)), Track((three,), (faint,))
    pitch = replace(CLEAN, settled_hz=one, beat_hz=two, glide_cents=three, course=course)
    pitch = replace(pitch, track=track, stiffness=np.float64(three))
    traits = Traits(44100, 2, ".wav", two, half_lines=True, print_=np.array(print_, np.int8))
    cautions = (Caution(text, one),)
    label = Label(6, "f12", 2)
    found = Measured(text, label, pitch, None, (text,), cautions, (0.5, one), traits)
    packed = pack_measured([found, replace(found, label=None, pitch=None, reason=text)])
    if packed is None:  # a lone surrogate, as in a name of bytes that are no UTF-8
        with pytest.raises(UnicodeEncodeError):
            text.encode()
        return
    back, without = unpack_measured(packed)
    # A numpy scalar comes back as the plain float that it equals.
    plain = replace(found, traits=None, pitch=replace(pitch, stiffness=three))
    assert repr(replace(back, traits=None)) == repr(plain)
    assert (without.label, without.pitch, without.reason) == (None, None, text)
    assert back.traits.print_.dtype == np.int8
    assert back.traits.print_.tobytes() == traits.print_.tobytes()
    assert repr(replace(back.traits, print_=None)) == repr(replace(traits, print_=None))


@pytest.fixture(scope="module")
def demo():
    """The demo's instrument, and what was measured in its recordings."""
    folder = ROOT / "sample_audio" / "paired_saddles"
    instrument = read_instrument(folder / "instrument.toml")
    files = sorted(folder.glob("*.wav"))
    return instrument, [measure_file(path, (), instrument) for path in files]


def test_a_report_from_stored_recordings_is_the_same(demo) -> None:
    instrument, measured = demo
    stored = [unpack_measured(pack_measured(each)) for each in measured]
    reports = []
    for files in (measured, stored):
        plucks = judge_together([each for file in files for each in file], instrument, 440.0)
        reports.append(build_report(instrument, 440.0, plucks, ()))
    assert as_json(reports[1]) == as_json(reports[0])
    back = unpack_report(pack_report(reports[0]))
    assert back == reports[0]
    assert as_json(back) == as_json(reports[0])
    assert len(back.adjusters) > 0  # maps by string are maps by number again
    assert all(isinstance(string, int) for each in back.adjusters for string in each.share)


def add_all(path: Path, serials, errors=1.0, lot="week 12") -> None:
    with open_store(path, create=True) as store:
        run = store.begin(METHOD, specification=UNDER, lot=lot)
        for serial in serials:
            outcome = outcome_of(session_of(serial), errors)
            store.add(run, outcome, decided(outcome))
        store.finish(run)


def dumped(path: Path) -> list[tuple]:
    with open_store(path, create=False, read_only=True) as store:
        return list(store.dump())


def test_everything_of_an_outcome_is_kept(tmp_path) -> None:
    path = store_path(tmp_path)
    session = session_of("A-1")
    outcome = outcome_of(
        session, 3.5, Measured("s6_open_9.wav", Label(6, "open", 9), None, NO_PITCH)
    )
    decision = decided(outcome)
    with open_store(path, create=True) as store:
        run = store.begin(METHOD, specification=UNDER, lot="week 12")
        analysis = store.add(run, outcome, decision, analyzed_s=1000.0)
    with open_store(path, create=False) as store:
        assert store.stored_report(analysis) == outcome.report
        assert store.report_json(analysis) == as_json(outcome.report)
        assert store.strings_of(analysis) == outcome.report.strings
        assert store.analysis_of(session, outcome.inputs) == analysis
        assert store.analysis_of(replace(session, repeat=2), outcome.inputs) is None
        known = store.known_recordings([*(each.key for each in outcome.files), "ab" * 32])
        assert repr([known.pop(each.key) for each in outcome.files]) == repr(
            [each.measured for each in outcome.files]
        )
        assert not known
        states = store.known_states(replace(session, files=(*session.files, "new.wav")))
        assert states == {each.state.file: each.state for each in outcome.files[:-1]}
        (entry,) = store.history_of("A-1")
        assert (entry.method, entry.complete, entry.left_out) == (METHOD, False, 1)
        assert (entry.analyzed_s, entry.recorded_s) == (1000.0, session.recorded_s)
        assert (entry.verdict, entry.reason) == (decision.verdict, decision.reason)
        values = store.values_frame("week 12").set_index("string")
        left_out = store.left_out_frame("week 12")
    for each in decision.decisions:
        row = values.loc[each.string]
        assert row["value_cents"] == each.value_cents
        assert row["standard_uncertainty_cents"] == each.uncertainty.standard_cents
        assert (row["lower_cents"], row["upper_cents"]) == (-3.0, 3.0)
        assert (row["verdict"], row["reason"]) == (each.verdict, each.reason)
    assert left_out[["file", "string", "fret", "reason"]].to_numpy().tolist() == [
        ["s6_open_9.wav", 6, "open", NO_PITCH]
    ]


def test_scatter_of_infinite_freedom_is_null(tmp_path) -> None:
    outcome = outcome_of(session_of("A-1"))
    decision = decided(outcome)
    sure = replace(decision.decisions[0].uncertainty, freedom=math.inf)
    few = replace(sure, freedom=3.0)
    one, two, *rest = decision.decisions
    changed = (replace(one, uncertainty=sure), replace(two, uncertainty=few), *rest)
    with open_store(store_path(tmp_path), create=True) as store:
        run = store.begin(METHOD, specification=UNDER)
        store.add(run, outcome, replace(decision, decisions=changed))
        rows = [row for row in store.dump() if row[0] == "value_decisions"]
    by_string = {row[8]: row for row in rows}
    assert by_string[one.string][12] is None
    assert by_string[two.string][12] == 3.0


def test_two_runs_and_their_order_change_nothing(tmp_path) -> None:
    serials = [f"A-{number}" for number in range(5)]
    add_all(tmp_path / "one.sqlite", serials)
    add_all(tmp_path / "two.sqlite", serials[::-1])
    add_all(tmp_path / "two.sqlite", serials)
    assert dumped(tmp_path / "one.sqlite") == dumped(tmp_path / "two.sqlite")
    add_all(tmp_path / "two.sqlite", serials[:1], errors=1.1)
    assert dumped(tmp_path / "one.sqlite") != dumped(tmp_path / "two.sqlite")


CHILD = """
import sys
from pathlib import Path
from made_outcomes import METHOD, UNDER, decided, outcome_of, session_of
from analyzer.lot.store import open_store
with open_store(Path(sys.argv[1]), create=True) as store:
    run = store.begin(METHOD, specification=UNDER, lot="week 12")
    for serial in sys.argv[2:]:
        outcome = outcome_of(session_of(serial))
        store.add(run, outcome, decided(outcome))
        print(serial, flush=True)
    store.finish(run)
"""


def child(path: Path, *serials: str) -> subprocess.Popen[str]:
    """Another process that keeps these in a store, and prints each when it is kept."""
    places = [str(ROOT), *(path for path in sys.path if path.startswith(str(ROOT)))]
    return subprocess.Popen(
        [sys.executable, "-c", CHILD, str(path), *serials],
        env={**os.environ, "PYTHONPATH": os.pathsep.join(places)},
        stdout=subprocess.PIPE,
        text=True,
    )


def test_processes_at_once_write_what_one_would(tmp_path) -> None:
    serials = [f"A-{number}" for number in range(12)]
    path = store_path(tmp_path)  # which none of them finds there
    every = [child(path, *serials), child(path, *serials[::-1]), child(path, *serials)]
    for each in every:
        each.communicate()
        assert each.returncode == 0
    add_all(tmp_path / "one.sqlite", serials)
    assert dumped(path) == dumped(tmp_path / "one.sqlite")


@pytest.mark.skipif(os.name == "nt", reason="no SIGKILL")
def test_what_was_said_to_be_kept_outlives_a_kill(tmp_path) -> None:
    serials = [f"A-{number}" for number in range(40)]
    path = store_path(tmp_path)
    process = child(path, *serials)
    kept = [process.stdout.readline().strip() for _ in range(7)]
    process.send_signal(signal.SIGKILL)
    kept += process.communicate()[0].split()
    assert process.returncode == -signal.SIGKILL
    with open_store(path, create=False) as store:
        frame = store.sessions_frame("week 12")
        assert set(kept) <= set(frame["serial"]) < set(serials)
        whole = store.values_frame("week 12")["analysis"].value_counts()
        assert set(whole.index) == set(frame["analysis"])
        assert set(whole) == {6}
    add_all(path, serials)
    add_all(tmp_path / "one.sqlite", serials)
    assert dumped(path) == dumped(tmp_path / "one.sqlite")


def test_a_report_asks_for_its_inputs(tmp_path) -> None:
    outcome = replace(outcome_of(session_of("A-1")), inputs=None)
    with open_store(store_path(tmp_path), create=True) as store:
        with pytest.raises(ValueError, match="no digest of its inputs"):
            store.add(store.begin(METHOD), outcome)
        assert list(store.dump()) == []


# A file as version 1 writes it, kept as SQL: what comes after must go on reading it.
VERSION_1 = (ROOT / "tests" / "lot" / "store_version_1.sql").read_text(encoding="utf-8")
NEXT = ("ALTER TABLE analyses ADD COLUMN colour TEXT NOT NULL DEFAULT 'none'",)
BROKEN = (*NEXT, "INSERT INTO no_such_table VALUES (1)")


@pytest.fixture
def old_file(tmp_path) -> Path:
    path = tmp_path / "old.sqlite"
    connection = sqlite3.connect(path)
    connection.executescript(VERSION_1)
    connection.close()
    return path


def test_a_file_of_version_1_is_read(old_file) -> None:
    with open_store(old_file, create=False) as store:
        (entry,) = store.history_of("a-1")
        assert (entry.serial, entry.verdict, entry.recorded_s) == ("A-1", "conform", 1_935_561_600)
        report = store.stored_report(entry.analysis)
        assert report.intervals[3][0] == pytest.approx(1.0)  # cents, as its notes were made
        assert report.strings == store.strings_of(entry.analysis)
        keys = [row[1] for row in store.dump() if row[0] == "recordings"]
        measured = store.known_recordings(keys).values()
        assert sorted(each.file for (each,) in measured) == sorted(session_of("A-1").files)
        assert store.values_frame("week 12")["verdict"].tolist() == ["conform"] * 6
    connection = sqlite3.connect(old_file)
    assert parts_of(connection) == expected_parts(MIGRATIONS)
    connection.close()


def test_the_next_version_is_one_step_on(old_file) -> None:
    for _ in range(2):  # the second time there is nothing to do
        with open_database(old_file, create=False, migrations=(*MIGRATIONS, NEXT)) as database:
            assert database.rows("SELECT serial, colour FROM analyses") == [("A-1", "none")]
            assert database.number("PRAGMA user_version") == len(MIGRATIONS) + 1


def test_a_step_that_fails_leaves_the_file_as_it_was(old_file) -> None:
    before = dumped(old_file)
    with pytest.raises(UnusableInputError, match="no such table: no_such_table"):
        open_database(old_file, create=False, migrations=(*MIGRATIONS, BROKEN))
    assert dumped(old_file) == before


def test_processes_that_bring_it_up_to_date_at_once(old_file) -> None:
    """The step would fail where it is taken twice."""
    code = (
        "import sys; from pathlib import Path; from analyzer.lot.store.database import *\n"
        f"steps = (*MIGRATIONS, {NEXT!r})\n"
        "open_database(Path(sys.argv[1]), create=False, migrations=steps).close()"
    )
    every = [subprocess.Popen([sys.executable, "-c", code, old_file], cwd=ROOT) for _ in range(3)]
    assert [each.wait() for each in every] == [0, 0, 0]
