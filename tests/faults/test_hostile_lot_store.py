"""What may stand in a store that comes from a stranger, or from a bad disk."""

from __future__ import annotations

import zlib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from made_outcomes import (
    LOT,
    METHOD,
    NO_PITCH,
    UNDER,
    add_one,
    change,
    decided,
    outcome_of,
    refused,
    session_of,
    three_instruments,
)

from analyzer.errors import UnusableInputError
from analyzer.lot.records import Fault, Outcome
from analyzer.lot.store import codec, open_store
from analyzer.measure import Measured


@pytest.fixture
def path(tmp_path) -> Path:
    return three_instruments(tmp_path)


def test_the_middle_of_the_file_is_overwritten(path) -> None:
    content = bytearray(path.read_bytes())
    for start in range(4096, len(content), 4096):
        content[start : start + 4096] = np.random.default_rng(start).bytes(4096)
    path.write_bytes(content)
    with pytest.raises(UnusableInputError, match=r"is damaged|is not as this program made it"):
        read_all(path)


def read_all(path: Path) -> None:
    with open_store(path, create=False) as store:
        store.history_of("A-1")
        list(store.dump())


FLOOD = f'"{"a" * 2_999_998}"'
BOMB = zlib.compress(FLOOD.encode())


def test_no_more_is_unpacked_than_may_be(monkeypatch) -> None:
    assert codec.unpack_report_json(BOMB) == f"{FLOOD}\n"
    monkeypatch.setattr(codec, "_MOST_BYTES", 2_999_999)
    with pytest.raises(codec.CorruptError, match="larger than anything that is kept here"):
        codec.unpack_report_json(BOMB)


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"no zlib",
        zlib.compress(b"{}")[:-3],
        zlib.compress(b"\xff\xfe"),
        zlib.compress(b"[]"),
        zlib.compress(b"{}"),
        zlib.compress(b'{"schema_version": 1, "instrument": 3}'),
        zlib.compress(b'{"schema_version": 99, "instrument": {"name": "x"}}'),
        zlib.compress(b"[" * 100_000),
        BOMB,
    ],
)
def test_a_damaged_report_costs_only_its_own_row(path, body, monkeypatch) -> None:
    monkeypatch.setattr(codec, "_MOST_BYTES", 2_000_000)
    change(path, "UPDATE reports SET body = ? WHERE analysis = 2", values=(body,))
    with open_store(path, create=False) as store:
        found = dict(store.stored_reports([1, 2, 3]))
        line = f"{path}: holds a damaged report of serial number A-2. Analyze its recordings again."
        assert found.pop(2) == Fault("A-2", line)
        assert [each.intervals[3][0] for each in found.values()] == pytest.approx([1.0, 3.0])
        with pytest.raises(UnusableInputError, match="damaged report of serial number A-2"):
            store.stored_report(2)
        # Kept again, it is whole again.
        _, outcome = add_one(store, "A-2", 2.0)
        assert store.stored_report(2) == outcome.report


@pytest.mark.parametrize(
    "measured",
    [
        b"",
        zlib.compress(b""),
        zlib.compress(b"\x91\x91\xc0"),
        zlib.compress(b"\xdd\xff\xff\xff\xff"),  # says that four thousand million follow
        zlib.compress(b"cos\nsystem\n(S'true'\ntR."),  # a pickle is not obeyed
        zlib.compress(b"\x91" * 100_000),
        BOMB,
    ],
)
def test_a_damaged_recording_is_measured_again(path, measured, monkeypatch) -> None:
    monkeypatch.setattr(codec, "_MOST_BYTES", 2_000_000)
    key = outcome_of(session_of("A-1"), 1.0).files[0].key
    sql = "UPDATE recordings SET measured = ? WHERE key = ?"
    change(path, sql, values=(measured, bytes.fromhex(key)))
    with open_store(path, create=False) as store:
        keys = [each.key for each in outcome_of(session_of("A-1"), 1.0).files]
        assert set(store.known_recordings(keys)) == set(keys) - {key}
        add_one(store, "A-1", 1.0)
        assert set(store.known_recordings(keys)) == set(keys)


def test_a_report_that_is_gone(path) -> None:
    change(path, "DELETE FROM reports WHERE analysis = 2")
    with open_store(path, create=False) as store:
        with pytest.raises(UnusableInputError, match="damaged report of serial number A-2"):
            store.report_json(2)
        with pytest.raises(UnusableInputError, match="holds no analysis 7"):
            store.stored_report(7)


def test_what_a_stranger_added_is_not_obeyed(path) -> None:
    change(path, "CREATE INDEX mine ON strings (note)", "CREATE VIEW my_view AS SELECT 1")
    open_store(path, create=False).close()  # these change nothing
    change(
        path,
        "CREATE TRIGGER always_good AFTER INSERT ON decisions BEGIN "
        "UPDATE decisions SET verdict = 'conform'; END",
    )
    assert "it has a trigger always_good" in refused(path)


@pytest.mark.parametrize(
    ("change_of", "named"),
    [
        ("ALTER TABLE strings ADD COLUMN colour TEXT", "the table strings"),
        ("DROP TABLE left_out", "the table left_out"),
        ("DROP INDEX analyses_by_analyzed", "the index analyses_by_analyzed"),
    ],
)
def test_tables_that_were_changed(path, change_of, named) -> None:
    change(path, change_of)
    line = refused(path, create=False, read_only=True)
    assert f"is not as this program made it: {named} is not as it was made" in line


HOSTILE = [
    "'; DROP TABLE analyses; --",
    "\x1b[2J\x07\n",
    "a\x00b",
    "=cmd()",
    "<script>",
    "\u202egnp.exe",
    "☃" * 300,
    "%s%n",
]


@pytest.mark.parametrize("text", HOSTILE)
def test_any_text_is_only_text(path, text) -> None:
    session = session_of(text, station=text, operator=text, place=text)
    with open_store(path, create=False) as store:
        run = store.begin(text, specification=UNDER, lot=text)
        outcome = outcome_of(session, 1.0, Measured(text, None, None, NO_PITCH))
        store.add(run, outcome, decided(outcome))
        store.add(run, Outcome(replace(session, repeat=2), None, text))
        frame = store.sessions_frame(text)
        assert frame[["serial", "station", "operator"]].to_numpy().tolist() == [[text] * 3]
        assert store.left_out_frame(text)["file"].tolist() == [text]
        assert store.history_of(text)[0].serial == text
        assert store.failed(text)[0].reason == text
        assert len(store.sessions_frame(LOT)) == 3


def test_names_that_are_no_utf8(path) -> None:
    r"""Linux allows any bytes; they stand as in the JSON report, and are found again."""
    name = "whole\udc80.wav"
    session = session_of("A\udcff", files=(name,))
    outcome = outcome_of(session, 1.0, Measured(name, None, None, NO_PITCH))
    with open_store(path, create=False) as store:
        run = store.begin(METHOD, specification=UNDER, lot="lot \udc80")
        analysis = store.add(run, outcome, decided(outcome))
        assert store.analysis_of(session, outcome.inputs) == analysis
        assert store.known_states(session) == {name: outcome.files[-1].state}
        assert outcome.files[-1].key not in store.known_recordings(
            each.key for each in outcome.files
        )
        assert store.sessions_frame("lot \udc80")["serial"].tolist() == ["A\\udcff"]
        assert store.left_out_frame("lot \udc80")["file"].tolist() == ["whole\\udc80.wav"]
        assert store.history_of("A\udcff")[0].analysis == analysis


def test_text_in_the_file_that_is_no_utf8(path) -> None:
    change(path, "UPDATE analyses SET operator = CAST(X'41FF42' AS TEXT) WHERE id = 2")
    with open_store(path, create=False) as store:
        frame = store.sessions_frame(LOT).set_index("serial")
        assert frame.loc["A-2", "operator"] == "A\ufffdB"


def test_times_that_are_none(path) -> None:
    change(
        path,
        "UPDATE analyses SET recorded_at = 'yesterday', analyzed_s = 9e300 WHERE id = 1",
        "UPDATE analyses SET recorded_at = '9999-12-31T23:59:59' WHERE id = 2",
        "UPDATE analyses SET recorded_s = 9e999 WHERE id = 3",
    )
    with open_store(path, create=False) as store:
        frame = store.sessions_frame(LOT).set_index("serial")
        assert frame["recorded_at"].isna().to_dict() == {"A-1": True, "A-2": True, "A-3": False}
        assert frame["analyzed_at"].isna().to_dict() == {"A-1": True, "A-2": False, "A-3": False}
        assert frame["latest"].all()
        assert len(store.values_frame(LOT)) == 18
