"""What a store says of a lot, of a serial number and of a time."""

from __future__ import annotations

import sqlite3
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from made_outcomes import LOT, METHOD, NO_PITCH, UNDER, decided, outcome_of, session_of, store_path

from analyzer.errors import UnusableInputError
from analyzer.lot.identity import specification_digest
from analyzer.lot.judgement.specification import Limits, Requirement, Specification
from analyzer.lot.records import (
    LEFT_OUT_COLUMNS,
    SESSION_COLUMNS,
    VALUE_COLUMNS,
    Fault,
    Outcome,
)
from analyzer.lot.store import StationCheck, history, open_store
from analyzer.measure import Measured

STRICT = Specification("strict", error=Requirement(Limits(-0.5, 0.5)))


@pytest.fixture
def store(tmp_path):
    with open_store(store_path(tmp_path), create=True) as opened:
        yield opened


def add(store, run, session, error_cents=1.0, analyzed_s=None):
    outcome = outcome_of(session, error_cents)
    return store.add(run, outcome, decided(outcome), analyzed_s=analyzed_s)


def begin(store, lot=LOT):
    return store.begin(METHOD, specification=UNDER, lot=lot)


def test_columns_are_those_of_the_contract_full_or_empty(store) -> None:
    run = begin(store)
    frames = {}
    for key in ("empty", "full"):
        frames[key] = [
            store.sessions_frame(LOT),
            store.values_frame(LOT),
            store.left_out_frame(LOT),
        ]
        outcome = outcome_of(session_of("A-1"), 1.0, Measured("x.wav", None, None, NO_PITCH))
        store.add(run, outcome, decided(outcome))
    for empty, full, columns in zip(
        *frames.values(), (SESSION_COLUMNS, VALUE_COLUMNS, LEFT_OUT_COLUMNS), strict=True
    ):
        assert tuple(empty.columns) == tuple(full.columns) == columns
        assert (len(empty), len(full) > 0) == (0, True)
        numbers = full.select_dtypes(["number", "datetime", "bool"]).columns
        assert (empty.dtypes[numbers] == full.dtypes[numbers]).all()
    sessions = frames["full"][0]
    assert sessions.dtypes["recorded_at"] == sessions.dtypes["analyzed_at"] == "datetime64[ns]"
    assert sessions.loc[0, ["recordings", "left_out", "strings", "strings_measured"]].tolist() == [
        13,
        1,
        6,
        6,
    ]


def test_times_stand_as_at_the_station_and_order_by_utc(store) -> None:
    """12:30 at +09:00 is 03:30 UTC, before 10:00 at +02:00, which is 08:00."""
    run = begin(store)
    add(store, run, session_of("A-1"))
    east = session_of("A-2", recorded_at="2031-05-02T12:30:00+09:00", recorded_s=1_935_545_400.0)
    add(store, run, east)
    add(store, run, session_of("A-3", recorded_at=None, recorded_s=None))
    frame = store.sessions_frame(LOT).set_index("serial")
    assert frame.index.tolist() == ["A-3", "A-2", "A-1"]
    assert frame.loc["A-2", "recorded_at"] == pd.Timestamp("2031-05-02 12:30:00")
    assert frame.loc["A-1", "recorded_at"] == pd.Timestamp("2031-05-02 10:00:00")
    assert pd.isna(frame.loc["A-3", "recorded_at"])
    assert np.isnan(frame.loc["A-3", "recorded_s"])


def test_the_last_session_of_a_serial_number_is_the_latest(store) -> None:
    run = begin(store)
    days = {"Aé-1": 3, " ae\u0301-1": 5, "a-2": 1}  # the first two fold to one
    for serial, day in days.items():
        add(store, run, session_of(serial, recorded_s=day * 86400.0))
    add(store, run, session_of("Aé-1", recorded_s=None, recorded_at=None, station="bench 2"))
    for repeat in (2, 1):
        add(store, run, session_of("b", repeat=repeat))
    frame = store.sessions_frame(LOT)
    latest = frame[frame["latest"]]
    assert sorted(zip(latest["serial"], latest["repeat"], strict=True)) == [
        (" ae\u0301-1", 1),  # five days in; one without a time never is the last
        ("a-2", 1),
        ("b", 2),
    ]
    values = store.values_frame(LOT)
    assert values.groupby("analysis")["latest"].agg(["all", "any"]).nunique(axis=1).eq(1).all()
    assert set(values[values["latest"]]["analysis"]) == set(latest["analysis"])


def test_values_go_with_their_sessions(store) -> None:
    run = begin(store)
    for number in (3, 1, 2):
        session = session_of(f"A-{number}", recorded_s=number * 100.0, station=f"bench {number}")
        add(store, run, session, float(number))
    values = store.values_frame(LOT)
    assert values["serial"].tolist() == [f"A-{n}" for n in (1, 2, 3) for _ in range(6)]
    assert values["string"].tolist() == [6, 5, 4, 3, 2, 1] * 3
    third = values[values["string"] == 3]
    assert third["value_cents"].tolist() == pytest.approx([1.0, 2.0, 3.0])
    assert third["station"].tolist() == ["bench 1", "bench 2", "bench 3"]
    assert values[values["string"] != 3]["value_cents"].abs().max() < 1e-9


def test_a_lot_is_what_the_last_run_saw(store) -> None:
    run = begin(store)
    sessions = {serial: session_of(serial) for serial in ("A-1", "A-2", "A-3")}
    known = {serial: add(store, run, session) for serial, session in sessions.items()}
    add(store, begin(store, "another lot"), session_of("B-1"))
    store.finish(run)

    run = begin(store)
    store.keep(run, [(sessions["A-1"], known["A-1"])])
    store.add(run, Outcome(sessions["A-2"], None, "holds no recording. Record it."))
    # Until the run has seen everything, what it has not come to yet is still there.
    assert store.sessions_frame(LOT)["serial"].tolist() == ["A-1", "A-3"]
    store.finish(run)
    assert store.sessions_frame(LOT)["serial"].tolist() == ["A-1"]
    assert store.failed(LOT) == (Fault("A-2", "holds no recording. Record it."),)
    assert store.sessions_frame("another lot")["serial"].tolist() == ["B-1"]
    assert store.history_of("A-3")[0].serial == "A-3"  # the store forgets nothing

    run = begin(store)
    add(store, run, sessions["A-2"])
    store.finish(run)
    assert store.failed(LOT) == ()
    with pytest.raises(UnusableInputError, match="holds no run over week 13"):
        store.sessions_frame("week 13")


def test_a_changed_specification_decides_again_from_what_is_stored(store) -> None:
    session = session_of("A-1")
    run = begin(store)
    analysis = add(store, run, session, 1.5)
    assert store.without_decision(run) == []
    strict = (STRICT, specification_digest(STRICT))
    run = store.begin(METHOD, specification=strict, lot=LOT)
    store.keep(run, [(session, analysis)])
    assert store.without_decision(run) == [analysis]
    assert pd.isna(store.sessions_frame(LOT).loc[0, "verdict"])
    ((_, report),) = store.stored_reports([analysis])
    store.decide(run, [(analysis, decided(replace(outcome_of(session), report=report), STRICT))])
    assert store.without_decision(run) == []
    assert store.sessions_frame(LOT)["verdict"].tolist() == ["not conform"]
    assert store.values_frame(LOT)["upper_cents"].tolist() == [0.5] * 6
    assert store.history_of("A-1")[0].verdict == "not conform"
    # And back: nothing is left to decide.
    run = begin(store)
    store.keep(run, [(session, analysis)])
    assert store.without_decision(run) == []
    assert store.sessions_frame(LOT)["verdict"].tolist() == ["conform"]
    assert store.history_of("A-1")[0].verdict == "conform"


def test_history_prefers_the_exact_spelling(store) -> None:
    run = store.begin(METHOD)  # at the bench: no lot, no specification
    for serial, moment_s in (("AB-1", 300.0), ("ab-1", 100.0), ("AB-1", 200.0), ("AB-10", 50.0)):
        session = session_of(serial, recorded_s=moment_s, repeat=int(moment_s))
        store.add(run, outcome_of(session))
    times = [each.recorded_s for each in store.history_of("AB-1")]
    assert times == [200.0, 300.0]
    assert [each.serial for each in store.history_of("ab-1")] == ["ab-1"]
    assert [each.recorded_s for each in store.history_of(" Ab-1 ")] == [100.0, 200.0, 300.0]
    assert {each.verdict for each in store.history_of("AB-1")} == {None}
    with pytest.raises(UnusableInputError, match="has no serial number AB-2 among its 2"):
        store.history_of("AB-2")


def test_since_a_moment(store) -> None:
    run = begin(store)
    for number in range(5):
        session = session_of(f"A-{number}", recorded_s=1000.0 - number)
        add(store, run, session, analyzed_s=100.0 * number)
    found = store.since(200.0)
    assert [each.serial for each in found] == ["A-2", "A-3", "A-4"]
    assert [each.serial for each in store.since(0.0, most=2)] == ["A-0", "A-1"]
    assert [each.serial for each in store.since(998.0, by="recorded_s")] == ["A-2", "A-1", "A-0"]
    assert (store.count_since(200.0), store.count_since(999.5, by="recorded_s")) == (3, 1)


@pytest.mark.fault("a clock that was set back between runs")
def test_a_clock_that_was_set_back_is_noticed_and_breaks_nothing(store) -> None:
    assert store.clock_behind_s(0.0) == 0.0
    run = begin(store)
    first = add(store, run, session_of("A-1"), analyzed_s=5000.0)
    second = add(store, run, session_of("A-2"), analyzed_s=1000.0)
    assert second > first
    assert store.clock_behind_s(1400.0) == 3600.0
    assert store.clock_behind_s(5000.5) == 0.0
    assert [each.serial for each in store.since(0.0)] == ["A-2", "A-1"]


def test_measured_recordings_can_be_forgotten(store) -> None:
    run = begin(store)
    old, new = outcome_of(session_of("A-1")), outcome_of(session_of("A-2"))
    analysis = store.add(run, old, decided(old), analyzed_s=100.0)
    store.add(run, new, decided(new), analyzed_s=200.0)
    assert store.forget_measured(150.0) == 12
    assert store.known_recordings(each.key for each in old.files) == {}
    assert len(store.known_recordings(each.key for each in new.files)) == 12
    assert store.stored_report(analysis) == old.report


CHECK = StationCheck(
    *("bench 1", "tuning fork", "tone_hz", "ab" * 32, "fork.wav", "2031-05-02T10:00:00", 1000.0),
    *(440.01, 0.002, 439.9, 440.1, "conform"),
)


def test_station_checks_are_kept_once_a_recording(store) -> None:
    later = replace(CHECK, sha256="cd" * 32, checked_s=500.0, value=None, verdict="not decided")
    elsewhere = replace(CHECK, station="bench 2")
    store.add_station_checks([CHECK, later, elsewhere])
    store.add_station_checks([replace(CHECK, remark="looked at again")])
    assert store.station_checks("bench 1") == (later, replace(CHECK, remark="looked at again"))
    assert len(store.station_checks()) == 3
    assert store.station_checks_frame("bench 2")["value"].tolist() == [440.01]


@pytest.mark.parametrize(
    "sql", [history.OF_SERIAL, *history.SINCE.values(), *history.COUNT_SINCE.values()]
)
def test_history_is_found_by_an_index(store, sql) -> None:
    """No timing: SQLite itself says whether it would look at every row."""
    values = (1.0, 10)[: sql.count("?")]
    connection = sqlite3.connect(store.path)
    steps = [row[3] for row in connection.execute(f"EXPLAIN QUERY PLAN {sql}", values)]
    connection.close()
    assert any("USING" in step and "INDEX analyses_by" in step for step in steps)
    assert not any(step.startswith("SCAN") for step in steps)
