"""``pluckcheck lot``: what it prints, what it writes, and how it ends."""

from __future__ import annotations

import json
import os
import shutil
import signal
import time
from pathlib import Path

import pandas as pd
import pytest
from forked import begin
from made_lots import made_lot

from analyzer.lot import analysis


@pytest.fixture(scope="module")
def lot(tmp_path_factory) -> Path:
    """Three instruments well within their limits; of the second a note is missing."""
    folder = tmp_path_factory.mktemp("made") / "lot"
    made = made_lot(folder, 3, tuning=("E2", "A2"), rate_hz=11_025)
    limits = made.errors_cents.min() - 5, made.errors_cents.max() + 5
    (folder / "lot.toml").write_text(
        f"[error]\nlower_cents = {limits[0]:.2f}\nupper_cents = {limits[1]:.2f}\n"
    )
    (folder / "P00002" / "s1_f12_1.wav").unlink()
    return folder


@pytest.fixture(scope="module")
def out(run, lot, tmp_path_factory) -> Path:
    place = tmp_path_factory.mktemp("out")
    found = run("lot", lot, "--out", place, "--jobs", 1, "--pages", "-q")
    assert (found.returncode, found.stdout, found.stderr) == (1, "", "")  # one is not measured
    return place


def test_the_last_line_is_the_verdict(started, lot, out):
    found = started("lot", lot, "--out", out)
    assert found.returncode == 1
    last = " ".join(found.stdout[found.stdout.rindex("Of 3 instruments") :].split())
    assert last.startswith("Of 3 instruments, 2 conform, 0 do not and 1 is not decided")
    assert "0 measured and 3 known before" in found.stdout


def test_tables_hold_a_row_an_instrument_and_a_row_a_value(run, lot, out, tmp_path):
    tables = tmp_path / "sessions.csv", tmp_path / "values.parquet"
    run("lot", lot, "--out", out, "-q", "--csv", tables[0], "--values-csv", tables[1])
    sessions, values = pd.read_csv(tables[0]), pd.read_parquet(tables[1])
    assert dict(zip(sessions["serial"], sessions["verdict"], strict=True)) == {
        "P00001": "conform",
        "P00002": "not decided",
        "P00003": "conform",
    }
    assert len(values) == 6
    assert values["value_cents"].isna().sum() == 1


def test_the_terminal_names_what_somebody_has_to_look_at(run, lot, out):
    said = run("lot", lot, "--out", out).stdout
    assert "Not decided: P00002." in said
    assert "Not measured whole: P00002 (string 1)." in said
    assert "Do not conform" not in said


def test_json_alone_goes_to_standard_output(run, lot, out):
    found = run("lot", lot, "--out", out, "--json", "-")
    assert json.loads(found.stdout)["counts"]["instruments"] == 3


def test_the_page_links_to_the_pages_of_what_is_open(run, lot, out):
    run("lot", lot, "--out", out, "--pages", "-q")
    pages = list((out / "instruments").iterdir())
    assert len(pages) == 1
    html = (out / "lot.html").read_text()
    assert f"instruments/{pages[0].name}" in html
    assert "P00002" in html
    own = pages[0].read_text()
    assert pages[0].name == "P00002.html"
    assert "<title>Serial number P00002, recorded 20" in own
    assert "Not decided. String 1, 12th-fret error: No usable" in own


def test_the_specification_in_the_manual_is_taken_as_it_stands(run, lot, tmp_path):
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    start = readme.index("```toml\n[error] ") + len("```toml\n")
    given = tmp_path / "lot.toml"
    given.write_text(readme[start : readme.index("```", start)], encoding="utf-8")
    assert "[[error.strings]]" in given.read_text(encoding="utf-8")
    page = tmp_path / "out.json"
    found = run(
        *("lot", lot, "--out", tmp_path / "out", "--jobs", 1, "--specification", given),
        *("--json", page),
    )
    assert (found.returncode, found.stderr) == (1, "")  # a note of P00002 is missing
    body = json.loads(page.read_text(encoding="utf-8"))
    assert body["lot"] == "Week 12, six-strings"
    assert sum(body["counts"][each] for each in ("conform", "not_conform", "not_decided")) == 3


def test_strict_ends_with_1_where_one_does_not_conform_and_3_where_one_is_open(run, lot, tmp_path):
    limits = tmp_path / "lot.toml"
    limits.write_text("[error]\nlower_cents = 40.0\ntarget_cents = 50.0\n[lot]\nname = 'x'\n")
    options = ["--out", tmp_path / "out", "--jobs", 1, "-q", "--specification", limits]
    whole = lot.parent / "whole"
    if not whole.exists():
        made_lot(whole, 1, tuning=("E2", "A2"), rate_hz=11_025)
    assert run("lot", whole, *options).returncode == 0
    assert run("lot", whole, *options, "--strict").returncode == 1
    # Of what lies on a limit neither can be proven: 0 must not be the answer for a shipment.
    values = tmp_path / "values.csv"
    run("lot", whole, *options, "--values-csv", values)
    highest = pd.read_csv(values)["value_cents"].max()
    limits.write_text(f"[error]\nlower_cents = -90.0\nupper_cents = {highest:.4f}\n")
    assert run("lot", whole, *options).returncode == 0
    assert run("lot", whole, *options, "--strict").returncode == 3


@pytest.mark.fault("one instrument's recordings under two serial numbers")
def test_the_same_recordings_under_two_serials_are_named(run, lot, tmp_path):
    again = tmp_path / "lot"
    shutil.copytree(lot, again)
    shutil.copytree(lot / "P00001", again / "P00009")
    found = run("lot", again, "--out", tmp_path / "out", "--jobs", 1, "--json", "-")
    (warning,) = json.loads(found.stdout)["warnings"]
    assert warning.startswith("P00001, P00009 have the very same recordings")


@pytest.mark.parametrize(
    ("arguments", "line"),
    [
        (["nowhere"], "pluckcheck: nowhere: does not exist."),
        (["EMPTY"], "holds no folder of an instrument. "),
        (["LOT", "--jobs", "0"], "pluckcheck: --jobs: is 0. Give 1 or more, or -1 for all cores."),
        (["LOT", "--a4", "1000"], "pluckcheck: --a4: is 1000 Hz. "),
        (["LOT", "--specification", "no.toml"], "no.toml"),
    ],
)
@pytest.mark.fault("a lot that cannot be used")
def test_what_cannot_be_used_is_one_line(run, lot, tmp_path, arguments, line):
    (tmp_path / "empty").mkdir()
    names = {"LOT": str(lot), "EMPTY": str(tmp_path / "empty")}
    given = [names.get(each, each) for each in arguments]
    found = run("lot", *given, "--out", tmp_path / "out")
    assert found.returncode == 2
    assert found.stdout == ""
    assert len(found.stderr.splitlines()) == 1
    assert line in found.stderr


@pytest.mark.fault("a file that is no store in its place")
def test_a_store_that_is_none_is_one_line(run, lot, tmp_path):
    (tmp_path / "lot.sqlite").write_text("no database, but long enough to be taken for one" * 9)
    found = run("lot", lot, "--out", tmp_path)
    assert found.returncode == 2
    assert len(found.stderr.splitlines()) == 1
    assert "lot.sqlite" in found.stderr


def test_interrupted_lot_says_how_to_go_on(tmp_path) -> None:
    reached = tmp_path / "reached"

    def never_end() -> None:
        def analyze_lot(*_: object) -> None:
            reached.touch()
            time.sleep(3600)

        analysis.analyze_lot = analyze_lot

    running = begin("lot", tmp_path, "--out", tmp_path / "out", prepare=never_end)
    while not reached.exists() and not running.ended():
        time.sleep(0.01)
    os.kill(running.pid, signal.SIGINT)
    done = running.wait()
    assert (done.code, done.out) == (130, "")
    assert done.err == "pluckcheck: stopped. Give it again to go on.\n"
