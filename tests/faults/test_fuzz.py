"""Spoiled files of every kind, some of them here and 10,000 by ``python tests/faults/fuzz.py``."""

from __future__ import annotations

import json
import sys
import tempfile
from pathlib import Path

import fuzz
import pytest
from hypothesis import given
from hypothesis import strategies as st
from mutations import KINDS, READERS, SIX, WHATS, Change, judge, originals, spoiled, two_strings
from steady import steady

from analyzer.errors import PluckcheckError, RecordingError, UnusableInputError
from analyzer.instrument.file import read_instrument
from analyzer.instrument.model import assumed_instrument
from analyzer.measure import measure_recording
from analyzer.recording.labels import Label, read_label
from analyzer.recording.table import read_table
from analyzer.report.markdown import code
from analyzer.report.turned import read_turned

FILES, SEED = 300, 11  # another seed than that of the full run

CHANGES = st.lists(
    st.builds(Change, st.sampled_from(WHATS), st.floats(0, 1), st.integers(1, 400),
              st.integers(0, 2**16 - 1)),
    min_size=1, max_size=6,
)  # fmt: skip
TEXT_KINDS = ("label", "takes", "instrument", "strings", "turned", "lot")
VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner,
                                                                max_size=4),
    max_leaves=12,
)  # fmt: skip
KEYS = st.sampled_from(
    ("name", "scale_length_mm", "tuning", "kind", "saddles", "thread", "screw_head", "travel_mm",
     "string", "diameter_mm", "shares", "smallest_turn", "x")
)  # fmt: skip


def test_no_fault_in_some_hundred_files() -> None:
    done = fuzz.run(FILES, SEED, readers=1)
    assert fuzz.faults_of(done) == []
    assert len(done) == FILES
    assert {each.kind for each in done} == set(KINDS)


@pytest.mark.parametrize("kind", KINDS)
def test_what_is_not_spoiled_is_read(kind, tmp_path) -> None:
    """Else the spoiled ones would all fail at the first check, and show nothing."""
    for name, content in originals(kind):
        if kind == "sound":  # of which some are no notes
            assert judge(kind, name, content, tmp_path) is None
        elif kind != "label":
            assert READERS[kind](name, content, tmp_path) == ""


@pytest.mark.parametrize(
    ("program", "words"),
    [
        ("import os; input(); os.abort()", "ends the process (code -6)"),
        ("input(); raise ValueError('oh')", "ends the process (code 1): ValueError: oh"),
        ("input(); import time; time.sleep(600)", "hangs"),
        ("input(); print('sound 0.1 90 0 \\'TypeError\\'')", "TypeError"),
    ],
)
def test_the_harness_sees_what_it_looks_for(monkeypatch, program, words) -> None:
    if words == "hangs":
        monkeypatch.setattr(fuzz, "HANG_S", 2.0)
    reader = fuzz.Reader(SEED)
    reader._command = [sys.executable, "-c", program]
    done = reader.read(7)
    reader.close()
    assert done.fault == words
    assert fuzz.faults_of([done]) != []
    assert fuzz.faults_of([fuzz.Done(1, "sound", 0.1, 501.0, 0.0, "")]) != []


@steady(300)
@given(st.sampled_from(TEXT_KINDS), st.integers(0, 5), CHANGES)
def test_texts_that_are_spoiled(kind, which, changes) -> None:
    files = originals(kind)
    name, content = files[which % len(files)]
    with tempfile.TemporaryDirectory() as folder:
        assert judge(kind, name, spoiled(content, changes), Path(folder)) is None


@steady(60)
@given(st.integers(0, 11), CHANGES)
def test_sounds_that_are_spoiled(which, changes) -> None:
    name, content = originals("sound")[which]
    with tempfile.TemporaryDirectory() as folder:
        assert judge("sound", name, spoiled(content, changes), Path(folder)) is None


@steady(300)
@given(st.dictionaries(KEYS, VALUES, max_size=6), st.dictionaries(KEYS, VALUES, max_size=6))
def test_values_of_any_type_in_every_key(instrument, bridge) -> None:
    lines = [f"{key} = {as_toml(value)}" for key, value in instrument.items()]
    lines += ["[bridge]", *(f"{key} = {as_toml(value)}" for key, value in bridge.items())]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "instrument.toml"
        text = "\n".join(["[instrument]", *lines])
        path.write_bytes(text.encode("utf-8", "surrogatepass"))
        with pytest.raises(UnusableInputError) as caught:  # no such bridge can be right
            read_instrument(path)
    assert str(caught.value).isprintable()


def as_toml(value) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(k)} = {as_toml(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(as_toml, value)) + "]"
    return {None: '""', True: "true", False: "false"}.get(value) or (
        json.dumps(value) if isinstance(value, str) else repr(value)
    )


@steady(500)
@given(st.text(max_size=60))
def test_any_text_as_a_name(name) -> None:
    said = ""
    try:
        assert isinstance(read_label(name, SIX), Label)
    except RecordingError as error:
        said = str(error)
    assert said.isprintable()
    assert code(name).isprintable()


@steady(300)
@given(st.lists(st.lists(st.text(max_size=12), max_size=7), max_size=5), st.booleans())
def test_any_cells_in_a_table(rows, headed) -> None:
    body = "\n".join(",".join(cells) for cells in rows)
    with tempfile.TemporaryDirectory() as folder:
        for head, read in (
            ("file,start_s,end_s,string,fret", lambda path: read_table(path, SIX, [])),
            ("adjuster,turns,direction",
             lambda path: read_turned(path, two_strings().bridge.adjusters)),
        ):  # fmt: skip
            path = Path(folder) / "table.csv"
            path.write_bytes((f"{head}\n{body}" if headed else body).encode("utf-8", "replace"))
            said = ""
            try:
                read(path)
            except PluckcheckError as error:
                said = str(error)
            assert said.isprintable()


def test_a_short_loud_noise_that_once_had_no_solution_is_measured(tmp_path) -> None:
    """Of 10,000 files, number 8770: of two rows the fit's lines left nothing but rounding."""
    kind, name, content = fuzz.case(5, 8770)
    path = tmp_path / name
    path.write_bytes(content)
    found = measure_recording(path, assumed_instrument())
    assert kind == "sound"
    assert "could not be measured" not in (found.reason or "")
