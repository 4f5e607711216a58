"""Earlier reports and tables of turns that are none, are of something else, or were edited."""

from __future__ import annotations

import json

import pytest
from two_rounds import BEFORE, INSTRUMENT, loaded

BAD_TURNED = [
    ("adjuster,turns,direction\nsaddle 7,1,clockwise\n", "line 2: names adjuster 'saddle 7'. "),
    ("adjuster,turns,direction\nsaddle 7,1,clockwise\n", "This bridge has: saddle 2, saddle 1."),
    ("adjuster,turns,direction\nsaddle 2,many,clockwise\n", "line 2: has turns 'many'. Give a"),
    ("adjuster,turns,direction\nsaddle 2,-1,clockwise\n", "line 2: has turns '-1'. Give a"),
    ("adjuster,turns,direction\nsaddle 2,1,left\n", "line 2: has direction 'left'. Give clock"),
    ("adjuster,turns,direction\nsaddle 2,1\n", "line 2: has direction ''. Give clockwise or"),
    ("adjuster,turns,direction\n2,1,clockwise\n1,,\n", "line 3: gives neither turns nor move_mm"),
    ("adjuster,turns,move_mm\n2,1,1\n", "line 2: gives both turns and move_mm. Give one of"),
    ("adjuster,move_mm\n2,99\n", "line 2: has move_mm '99'. Give a number from -60 to 60"),
    ("screw,turns\n2,1\n", "turned.csv: has the columns screw, turns. Give a table with the"),
    ("", "turned.csv: has the columns of an empty file. Give a table with the columns"),
]


@pytest.mark.parametrize(("text", "line"), BAD_TURNED)
def test_bad_table_of_turns_is_one_line(before, called, tmp_path, text, line) -> None:
    turned = tmp_path / "turned.csv"
    turned.write_text(text, encoding="utf-8")
    done = called("analyze", tmp_path / "before", "--previous", before, "--turned", turned)
    assert (done.code, done.out) == (2, "")
    assert line in done.err
    assert done.err.startswith("pluckcheck: turned.csv")
    assert done.err.count("\n") == 1


def test_turns_need_the_earlier_report(before, called) -> None:
    done = called("analyze", before.with_suffix(""), "--turned", "x.csv")
    assert done.code == 2
    assert done.err == (
        "pluckcheck: --turned: stands alone. Give the report of the round before with --previous.\n"
    )


def test_turns_of_an_adjuster_without_screw(called, record, tmp_path) -> None:
    bare = INSTRUMENT.replace('thread = "M3"\nscrew_head = "tail"\nsmallest_turn = 0.125\n', "")
    folder, first = record("bare", BEFORE, bare), tmp_path / "first.json"
    assert called("analyze", folder, "--json", first, "--quiet").code == 0
    turned = tmp_path / "turned.csv"
    turned.write_text("adjuster,turns,direction\n2,1,clockwise\n", encoding="utf-8")
    done = called("analyze", folder, "--previous", first, "--turned", turned)
    assert done.code == 2
    assert "gives turns for saddle 2, which has no screw in the instrument file" in done.err


BAD_REPORTS = [
    (lambda b: b.update(schema_version=2), "has schema_version 2. This version reads 1"),
    (lambda b: b.pop("schema_version"), "is no report: it has no schema_version. Give a report"),
    (lambda b: b["instrument"].update(name="Knot"), "is of 'Knot', and this is 'Dunlin'. Give"),
    (
        lambda b: b["instrument"].update(tuning=["E2", "B2"]),
        "is of strings E2 B2, and this has E2 A2. Give the earlier report of the same instrument",
    ),
    (
        lambda b: b["instrument"].update(scale_lengths_mm="650"),
        "[instrument] scale_lengths_mm: is '650'. Give a list of lengths in mm, or null",
    ),
    (
        lambda b: b["instrument"].update(scale_lengths_mm=[650, "x"]),
        "[instrument] scale_lengths_mm: is 'x', not a number. Give a list of lengths in mm",
    ),
    (lambda b: b.pop("instrument"), "[instrument]: is missing. Add a table headed [instrument]"),
    (lambda b: b.pop("strings"), "[strings]: is missing. Add a list with an entry for each"),
    (lambda b: b["strings"][0].pop("error_cents"), "[strings] error_cents: is missing. Add a"),
    (
        lambda b: b["strings"][0].update(error_cents="x"),
        "[strings] error_cents: is 'x', not a number. Give a number from -1200 to 1200, or null",
    ),
    (lambda b: b["strings"][0].update(error_uncertainty_cents=-1), "error_uncertainty_cents: is"),
    (lambda b: b.update(adjusters=[]), "has the adjusters none, and the instrument file saddle 2"),
    (lambda b: b["adjusters"][0].update(name="post"), "has the adjusters post, saddle 1, and the"),
    (lambda b: b["adjusters"][0].pop("moved_mm"), "[adjusters] moved_mm: is missing. Add a"),
    (lambda b: b["adjusters"][0].update(direction="up"), "[adjusters] direction: is 'up'. Give"),
    (lambda b: b["adjusters"][0].update(travel_mm=4), "[adjusters] travel_mm: is 4. Give two"),
    (lambda b: b.update(response=None), "has the adjusters saddle 2, saddle 1, and the instrument"),
    (lambda b: b["response"].update(state=[0, 9, 9]), "[response]: is not what was learned of"),
    (lambda b: b["response"].update(covariance=[[1]]), "[response]: is not what was learned of"),
    (lambda b: b["response"].update(state="x"), "[response]: is not what was learned of these"),
]


@pytest.mark.parametrize(("edit", "line"), BAD_REPORTS)
def test_bad_earlier_report_is_one_line(before, called, tmp_path, edit, line) -> None:
    body = loaded(before)
    edit(body)
    before.write_text(json.dumps(body), encoding="utf-8")
    done = called("analyze", tmp_path / "before", "--previous", before)
    assert (done.code, done.out) == (2, "")
    assert line in done.err
    assert done.err.startswith("pluckcheck: before.json")
    assert done.err.count("\n") == 1


@pytest.mark.parametrize(
    ("content", "line"),
    [
        (b"not JSON", "old.json: is not JSON. Give a report that pluckcheck analyze wrote"),
        (b"[1, 2]", "old.json: is no report: it has no schema_version"),
        (b"[" * 100_000, "old.json: is not JSON"),
        (b"\xff\xfe", "old.json: is not plain text in UTF-8"),
        (b"9" * 10_000, "old.json: is not JSON"),
    ],
)
def test_what_is_no_report_at_all(before, called, tmp_path, content, line) -> None:
    old = tmp_path / "old.json"
    old.write_bytes(content)
    for words in (("analyze", tmp_path / "before", "--previous", old), ("compare", old, before)):
        done = called(*words)
        assert (done.code, done.out) == (2, "")
        assert line in done.err
        assert done.err.count("\n") == 1


def test_learning_needs_a_bridge(before, called, tmp_path) -> None:
    text = INSTRUMENT.split("[bridge]", maxsplit=1)[0]
    (tmp_path / "before" / "instrument.toml").write_text(text, encoding="utf-8")
    done = called("analyze", tmp_path / "before", "--previous", before)
    assert done.code == 2
    assert "--previous: needs a bridge to learn about. Give scale_length_mm and a" in done.err


def test_earlier_report_is_never_written_over(before, called, tmp_path) -> None:
    text = before.read_text(encoding="utf-8")
    done = called("analyze", tmp_path / "before", "--previous", before, "--json", before)
    assert done.code == 2
    assert f"--json: would write over {before}, which is read" in done.err
    done = called("compare", before, before, "--csv", before)
    assert done.code == 2
    assert before.read_text(encoding="utf-8") == text


def test_names_of_folders_are_no_names_of_instruments(record, called, tmp_path) -> None:
    """Without a name in the file each round has its folder's, and is the same instrument."""
    unnamed = INSTRUMENT.replace('name = "Dunlin"\n', "")
    first = tmp_path / "first.json"
    assert called("analyze", record("one", BEFORE, unnamed), "--json", first, "-q").code == 0
    assert called("analyze", record("two", BEFORE, unnamed), "--previous", first, "-q").code == 0
