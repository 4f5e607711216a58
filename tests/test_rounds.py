"""From one round to the next: --previous, --turned and compare, as a user meets them."""

from __future__ import annotations

import csv
import io
import json
import math
import os
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile
from benchmark_adjust import KINDS, listen_through_noise, rounds_needed
from pluck_model import PluckModel, recording

from analyzer.analysis import analyze_folder
from analyzer.report.files import as_json

S_MM = 650.0
INSTRUMENT = (
    '[instrument]\nname = "Dunlin"\nscale_length_mm = 650\ntuning = ["E2", "A2"]\n[bridge]\n'
    'saddles = [[2], [1]]\nthread = "M3"\nscrew_head = "tail"\nsmallest_turn = 0.125\n'
    "travel_mm = [4.0, 6.0]\n"
)
BEFORE = {2: 8.0, 1: -5.0}
RATE_HZ = 22050


def moved(error_cents: float, move_mm: float) -> float:
    """From the lengths of an ideal string."""
    return error_cents + 1200 * math.log2((S_MM + move_mm) / (S_MM / 2 + move_mm) / 2)


def write_round(folder: Path, errors, instrument: str = INSTRUMENT) -> Path:
    """Two takes of each note of the two strings, with these true errors."""
    folder.mkdir()
    for string, open_hz in ((2, 82.407), (1, 110.0)):
        fretted_hz = 2 * open_hz * 2 ** (errors[string] / 1200)
        for take in (1, 2):
            rng = np.random.default_rng(take)
            for fret, hz in (("open", open_hz), ("f12", fretted_hz)):
                model = PluckModel(hz, glide_cents=2.0)
                samples = recording(model, rng, rate_hz=RATE_HZ, duration_s=2.0)
                soundfile.write(folder / f"s{string}_{fret}_{take}.wav", samples, RATE_HZ)
    (folder / "instrument.toml").write_text(instrument, encoding="utf-8")
    return folder


@pytest.fixture
def record(tmp_path) -> Callable[..., Path]:
    """Write a round into a folder of this test."""

    def write(name: str, errors, instrument: str = INSTRUMENT) -> Path:
        return write_round(tmp_path / name, errors, instrument)

    return write


@pytest.fixture(scope="module")
def first_round(tmp_path_factory) -> Path:
    """The folder ``before`` and its report, made once."""
    place = tmp_path_factory.mktemp("first_round")
    report = analyze_folder(write_round(place / "before", BEFORE), jobs=1)
    (place / "before.json").write_text(as_json(report), encoding="utf-8")
    return place


@pytest.fixture
def before(first_round, tmp_path) -> Path:
    """The JSON report of a first round; its folder ``before`` stands beside it."""
    shutil.copytree(first_round, tmp_path, dirs_exist_ok=True)
    return tmp_path / "before.json"


def loaded(path):
    return json.loads(path.read_text(encoding="utf-8"))


def test_second_round_learns_the_response(before, record, called, tmp_path) -> None:
    advised = {each["name"]: each["move_mm"] for each in loaded(before)["adjusters"]}
    assert (advised["saddle 2"] > 0, advised["saddle 1"] < 0) == (True, True)
    true = {s: moved(BEFORE[s], 0.85 * advised[f"saddle {s}"]) for s in (2, 1)}
    after, path = record("after", true), tmp_path / "after.json"
    done = called("analyze", after, "--previous", before, "--json", path)
    assert (done.code, done.err) == (0, "")
    assert "What the moves since before.json did" in done.out
    assert done.out.count("as predicted") == 2
    report = loaded(path)
    assert report["previous"] == "before.json"
    for each in report["adjusters"]:
        assert each["response"] == pytest.approx(0.85, abs=0.04)
        assert each["response_uncertainty"] < 0.1
        own = next(iter(each["cents_per_turn"].values()))
        assert own == pytest.approx(-0.5 * 1731.234 / S_MM * each["response"], rel=1e-6)
    for each in report["outcome"]:
        string = each["string"]
        assert each["found_change_cents"] == pytest.approx(true[string] - BEFORE[string], abs=0.1)
        predicted = moved(0.0, advised[f"saddle {string}"])
        assert each["predicted_change_cents"] == pytest.approx(predicted, abs=1e-6)
    # The next move is by the learned response: what is left, over 0.85 of the geometry's.
    (second, _) = report["saddles"]
    assert second["move_mm"] == pytest.approx(true[2] / (1731.234 / S_MM) / 0.85, abs=0.07)
    # Travel is counted on: 4 mm toward the nut have grown by what was moved away.
    assert report["adjusters"][0]["moved_mm"] == advised["saddle 2"]
    assert any("travel_mm is as it was for before.json" in each for each in report["warnings"])


def test_third_round_carries_on_from_the_second(before, record, called, tmp_path) -> None:
    after, second = record("after", BEFORE), tmp_path / "second.json"
    turned = tmp_path / "turned.csv"
    turned.write_text("adjuster,turns,direction\n", encoding="utf-8")
    words = ("analyze", after, "--previous", before, "--turned", turned)
    assert called(*words, "--json", second, "--quiet").code == 0
    assert loaded(second)["response"]["rounds"] == 0  # nothing was turned: nothing to learn
    third = tmp_path / "third.json"
    last = record("last", {2: moved(8.0, 1.0), 1: -5.0})
    turned.write_text("adjuster,turns,direction\n2,2,clockwise\n", encoding="utf-8")
    words = ("analyze", last, "--previous", second, "--turned", turned)
    assert called(*words, "--json", third, "--quiet").code == 0
    report = loaded(third)
    assert report["response"]["rounds"] == 1
    assert report["adjusters"][0]["moved_mm"] == 1.0
    assert [each["in_words"] for each in report["outcome"]] == [
        "as predicted",
        "unmoved, and unchanged",
    ]


def test_turned_the_wrong_way_is_said_and_not_learned(before, record, called) -> None:
    advised = {each["name"]: each["move_mm"] for each in loaded(before)["adjusters"]}
    true = {s: moved(BEFORE[s], -advised[f"saddle {s}"]) for s in (2, 1)}
    done = called("analyze", record("after", true), "--previous", before)
    assert done.out.count("the wrong way; check screw_head and the way it was turned") == 2
    assert "Nothing was learned from it" in done.out


def test_travel_that_was_used_up_is_not_given_again(record, called, tmp_path) -> None:
    """6 mm away from the nut, 5.9 of them used: what is left is a step or so, not 6 mm."""
    first = tmp_path / "first.json"
    assert called("analyze", record("one", BEFORE), "--json", first, "--quiet").code == 0
    turned = tmp_path / "turned.csv"
    turned.write_text("adjuster,move_mm\nsaddle 2,5.9\n", encoding="utf-8")
    words = ("analyze", record("two", BEFORE), "--previous", first, "--turned", turned)
    second = tmp_path / "second.json"
    called(*words, "--json", second, "--quiet")
    saddle = loaded(second)["saddles"][0]
    assert 0 <= saddle["move_mm"] <= 0.1
    assert "The travel ends" in saddle["reason"]


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


# compare


def test_compare_marks_only_what_exceeds_both_uncertainties(before, called, tmp_path) -> None:
    """0.3 and 0.4 make 0.5 (root sum of squares): 0.49 is no sure change, 0.51 is one."""
    body = loaded(before)
    after = tmp_path / "after.json"
    figures = [(4.0, 0.3, 3.51, 0.4, "no sure change"), (4.0, 0.3, 3.49, 0.4, "better")]
    for place, (old, unsure, *_rest) in enumerate(figures):
        body["strings"][place].update(error_cents=old, error_uncertainty_cents=unsure)
    before.write_text(json.dumps(body), encoding="utf-8")
    for place, (_, _, new, unsure, _) in enumerate(figures):
        body["strings"][place].update(error_cents=new, error_uncertainty_cents=unsure)
    after.write_text(json.dumps(body), encoding="utf-8")
    rows = json.loads(called("compare", before, after, "--json", "-").out)["strings"]
    for row, (old, _, new, _, verdict) in zip(rows, figures, strict=True):
        assert row["change_cents"] == pytest.approx(new - old)
        assert row["change_uncertainty_cents"] == pytest.approx(0.5)
        assert row["verdict"] == verdict
    table = list(csv.DictReader(io.StringIO(called("compare", before, after, "--csv", "-").out)))
    assert [row["verdict"] for row in table] == ["no sure change", "better"]
    assert float(table[1]["change_cents"]) == pytest.approx(-0.51)


@pytest.mark.parametrize(
    ("old", "new", "verdict"),
    [(1.0, -4.0, "worse"), (-4.0, 1.0, "better"), (2.0, -2.0, "changed")],
)
def test_better_and_worse_are_by_the_size_of_the_error(
    before, called, tmp_path, old, new, verdict
) -> None:
    body = loaded(before)
    after = tmp_path / "after.json"
    body["strings"][0].update(error_cents=old, error_uncertainty_cents=0.2)
    before.write_text(json.dumps(body), encoding="utf-8")
    body["strings"][0].update(error_cents=new)
    after.write_text(json.dumps(body), encoding="utf-8")
    done = called("compare", before, after)
    assert done.code == 0
    row = next(line for line in done.out.splitlines() if line.strip().startswith("2 E2"))
    assert row.strip().endswith(verdict)


def test_compare_with_a_string_that_has_no_result(before, called, tmp_path) -> None:
    body = loaded(before)
    after = tmp_path / "after.json"
    body["strings"][0].update(error_cents=None, error_uncertainty_cents=None)
    after.write_text(json.dumps(body), encoding="utf-8")
    done = called("compare", before, after)
    assert done.code == 1
    assert "No result after." in done.out
    rows = json.loads(called("compare", before, after, "--json", "-").out)["strings"]
    assert rows[0]["change_cents"] is None


def test_compare_of_two_instruments(before, called, tmp_path) -> None:
    other = tmp_path / "other.json"
    body = loaded(before)
    body["instrument"]["name"] = "Knot"
    other.write_text(json.dumps(body), encoding="utf-8")
    done = called("compare", before, other)
    assert done.code == 2
    assert "before.json: is of 'Dunlin', and this is 'Knot'. Give the earlier report" in done.err


def test_compare_takes_folders(before, record, called) -> None:
    after = record("after", {2: 1.0, 1: -5.0})
    done = called("compare", before, after)
    assert done.code == 0
    lines = [line.strip() for line in done.out.splitlines()]
    assert next(line for line in lines if line.startswith("2 E2")).endswith("better")
    assert next(line for line in lines if line.startswith("1 A2")).endswith("no sure change")
    assert lines[-1].startswith("Of 2 strings: 1 better, 0 worse, 1 no sure change.")


@pytest.mark.parametrize("columns", [40, 60, 80])
def test_nothing_is_wider_than_the_terminal(before, run, tmp_path, columns) -> None:
    environment = {**os.environ, "COLUMNS": str(columns)}
    folder = tmp_path / "before"
    for words in (("analyze", folder, "--previous", before), ("compare", before, before)):
        done = run(*words, env=environment)
        assert done.returncode == 0
        assert max(map(len, done.stdout.splitlines())) <= columns


# How many rounds it takes: a small form of benchmark_adjust.py, with noise for recordings.


def test_two_rounds_do_on_every_kind_of_bridge() -> None:
    """26 instruments, two of each kind; 95 % of those that answer 15 % off, all of the others."""
    listen = listen_through_noise(0.1)
    found = [rounds_needed(number, listen) for number in range(2 * len(KINDS))]
    as_geometry = [each[0] for each in found]
    assert sum(one for one, _ in as_geometry) >= 0.95 * len(found)
    assert all(two for _, two in as_geometry)
    off = [each[k][1] for each in found for k in (1, 2)]
    assert sum(off) >= 0.95 * len(off)
    assert not all(each[1][0] for each in found)  # one round is not enough for these
