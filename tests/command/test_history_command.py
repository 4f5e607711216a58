"""``pluckcheck history`` and ``analyze --store``: what is printed, written and refused."""

from __future__ import annotations

import csv
import io
import json
import os
import sqlite3
from contextlib import closing
from functools import partial
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from conftest import ROOT
from forked import begin
from made_outcomes import METHOD, change, outcome_of, session_of, three_instruments
from made_rounds import SERIAL, TRUTHS_CENTS, YEARS, keep_rounds, write_rounds
from schema_checks import faults, validator
from two_rounds import loaded

from analyzer.lot.store import FILE_NAME, Store, open_store, spelling
from analyzer.lot.store.history import OF_SERIAL, SINCE
from cli.printing import PIPED_COLUMNS

HISTORY = validator("history")
COPIES = (
    "INSERT INTO analyses WITH RECURSIVE count(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM count "
    "WHERE n < 10000) SELECT VALUES FROM analyses, count WHERE id = 1"
)


@pytest.fixture(scope="module")
def shop(tmp_path_factory) -> Path:
    place = tmp_path_factory.mktemp("shop")
    keep_rounds(place / "recordings", place / "store")
    return place


@pytest.fixture(scope="module")
def store(shop) -> Path:
    return shop / "store"


@pytest.fixture
def many(tmp_path) -> Path:
    """Ten thousand analyses, a day between each: one that was made, and copies of its rows."""
    path = three_instruments(tmp_path)
    columns = [each[1] for each in rows_of(path, "PRAGMA table_info(analyses)")]
    own = {
        "id": "10 + n",
        "serial": "printf('B-%05d', n)",
        "folded_serial": "printf('b-%05d', n)",
        "recorded_s": "1e9 + 86400.0 * n",
        "analyzed_s": "1e9 + 86400.0 * n",
    }
    values = ", ".join(own.get(each, each) for each in columns)
    change(path, COPIES.replace("VALUES", values))
    return path


def rows_of(path: Path, sql: str, values: tuple[object, ...] = ()) -> list[tuple]:
    with closing(sqlite3.connect(path)) as connection:
        return connection.execute(sql, values).fetchall()


def lines_of(text: str) -> list[str]:
    return [" ".join(line.split()) for line in text.splitlines()]


def test_an_instrument_over_the_years(store, called) -> None:
    done = called("history", SERIAL, "--store", store)
    assert (done.code, done.err) == (0, "")
    lines = lines_of(done.out)
    assert lines[0] == "D-7: Dunlin"
    assert lines[1] == "# Recorded Analyzed (UTC)"  # nothing is known of the rest
    assert [line[:18] for line in lines[3:6]] == [f"{n} {2020 + n}-05-02 10:00" for n in (1, 2, 3)]
    assert lines[7] == "# 2 E2 1 A2"
    for line, truth in zip(lines[9:12], TRUTHS_CENTS, strict=True):
        words = line.split()
        for string, (error, half_width) in zip((2, 1), (words[1:4:2], words[4::2]), strict=True):
            assert abs(float(error) - truth[string]) < float(half_width) + 0.1  # as rounded
    assert lines[12].startswith("2: since the one before, string 2 better (-7.")
    assert lines[13].startswith("3: since the one before, string 1 better (+6.")
    assert lines[-1] == "3 analyses of D-7: 3 not judged."


@pytest.mark.parametrize("columns", [40, 60, 80])
def test_it_fits_and_a_pipe_is_plain(store, tmp_path, run, columns) -> None:
    several = three_instruments(tmp_path)
    narrow = {**os.environ, "COLUMNS": str(columns)}
    for words in (["A-1", "--store", several], [SERIAL, "--store", store]):
        done = run("history", *words, env=narrow)
        assert done.returncode == 0
        assert max(map(len, done.stdout.splitlines())) <= columns
        assert done.stdout.isascii() or "±" in done.stdout
        assert "\x1b" not in done.stdout
    six = lines_of(run("history", "A-1", "--store", several, env=narrow).stdout)
    in_columns = any(line.startswith("# 6 E2 5 A2 4 D3 3 G3 2 B3 1 E4") for line in six)
    assert in_columns == (columns >= 60)


def test_a_terminal_without_unicode(store, run) -> None:
    plain = {**os.environ, "PYTHONIOENCODING": "ascii", "COLUMNS": "80"}
    done = run("history", SERIAL, "--store", store, env=plain)
    assert done.stdout.isascii()
    assert "+/-" in done.stdout


def test_json_is_as_its_schema_says(store, called, tmp_path) -> None:
    one = json.loads(called("history", SERIAL, "--store", store, "--json", "-").out)
    assert faults(HISTORY, one) == []
    assert (one["serial"], one["since"], one["known"]) == (SERIAL, None, 3)
    assert [len(each["results"]) for each in one["analyses"]] == [2, 2, 2]
    path = three_instruments(tmp_path)
    words = ("--since", "2031-05-02T10:00:00+02:00", "--by", "recorded", "--json", "-")
    period = json.loads(called("history", *words, "--store", path).out)
    assert faults(HISTORY, period) == []
    moment = pd.Timestamp("2031-05-02T08:00:00Z").timestamp()
    assert period["since"] == {"at": words[1], "since_s": moment, "by": "recorded"}
    assert len(period["analyses"]) == 3
    assert period["counts"]["conform"] == sum(
        each["verdict"] == "conform" for each in period["analyses"]
    )
    assert period["analyses"][0]["results"] is None
    wrong = {**one, "analyses": [{**one["analyses"][0], "verdict": "good"}]}
    assert faults(HISTORY, wrong)


def test_tables_hold_every_string_of_every_analysis(store, called, tmp_path) -> None:
    """Read back by others: the standard library, pandas with pyarrow, openpyxl."""
    book, parquet = tmp_path / "h.xlsx", tmp_path / "h.parquet"
    words = ("history", SERIAL, "--store", store)
    text = called(*words, "--csv", "-").out
    assert called(*words, "--csv", parquet, "--xlsx", book).code == 0
    rows = list(csv.DictReader(io.StringIO(text)))
    body = json.loads(called(*words, "--json", "-").out)
    figures = [
        (each["analysis"], found["string"], found["error_cents"])
        for each in body["analyses"]
        for found in each["results"]
    ]
    assert [
        (int(row["analysis"]), int(row["string"]), float(row["error_cents"])) for row in rows
    ] == figures
    frame = pd.read_parquet(parquet)
    assert list(frame.columns) == list(rows[0])
    assert frame["error_cents"].tolist() == [error for *_, error in figures]
    assert frame["change"].tolist()[2:] == [row["change"] for row in rows[2:]]
    assert frame["change"].isna().tolist() == [True, True, False, False, False, False]
    sheets = openpyxl.load_workbook(book)
    assert sheets.sheetnames == ["analyses", "strings"]
    assert (sheets["analyses"].max_row, sheets["strings"].max_row) == (4, 7)


def test_a_period_as_tables(called, tmp_path) -> None:
    path = three_instruments(tmp_path)
    words = ("history", "--since", "2001-01-01", "--store", path)
    rows = list(csv.DictReader(io.StringIO(called(*words, "--csv", "-").out)))
    assert [row["serial"] for row in rows] == ["A-1", "A-2", "A-3"]
    assert {row["complete"] for row in rows} == {"True"}
    empty = called("history", "--since", "2199-01-01", "--store", path, "--csv", "-")
    assert empty.out.splitlines() == [",".join(rows[0])]
    assert called("history", "--since", "2199-01-01", "--store", path).out == (
        "No analysis analyzed since 2199-01-01 00:00:00 UTC.\n"
    )


def test_the_last_line_counts(called, tmp_path) -> None:
    path = three_instruments(tmp_path)  # errors of 1, 2 and 3 cents against 3
    done = called("history", "--since", "2001-01-01", "--store", path, "--most", 2)
    last = done.out.splitlines()[-1]
    verdicts = dict(rows_of(path, "SELECT analysis, verdict FROM decisions"))
    assert last.startswith("2 analyses analyzed since 2001-01-01 00:00:00 UTC: ")
    assert last.endswith("1 later one not shown.")
    for verdict in {verdicts[1], verdicts[2]}:
        assert f"{[verdicts[1], verdicts[2]].count(verdict)} {verdict}" in last


def test_the_next_round_goes_on_from_the_stored_report(tmp_path, called) -> None:
    """A shop's way: analyze, turn, record again, and the store gives the round before."""
    first, second, _ = write_rounds(tmp_path / "recordings")
    store, before = tmp_path / "shop.sqlite", tmp_path / "before.json"
    keep = ("--store", store, "--serial", SERIAL, "--jobs", 1)
    printed = called("analyze", first, *keep, "--json", "-")
    assert printed.code == 0
    assert called("history", SERIAL, "--store", store, "--report", before, "-q").code == 0
    assert before.read_text(encoding="utf-8") == printed.out
    after = tmp_path / "after.json"
    learned = called("analyze", second, "--previous", before, *keep, "--json", after)
    assert (learned.code, learned.err) == (0, "")
    stored = called("history", SERIAL, "--store", store, "--report", "-")
    assert stored.out == after.read_text(encoding="utf-8")
    assert loaded(after)["response"]["rounds"] == 1
    compared = called("compare", before, after)
    assert compared.code == 0
    assert "string 2 better" in called("history", SERIAL, "--store", store).out


def test_its_page(store, called, tmp_path) -> None:
    page = tmp_path / "page.html"
    done = called("history", SERIAL, "--store", store, "--html", page, "--quiet")
    assert (done.code, done.out) == (0, "")
    text = page.read_text(encoding="utf-8")
    assert text.lower().startswith("<!doctype html>")
    assert "Dunlin" in text
    newest = called("history", SERIAL, "--store", store, "--report", "-").out
    error = json.loads(newest)["strings"][0]["error_cents"]
    assert f"{error:+.1f}" in text


def test_the_current_folder_is_the_default(store, started) -> None:
    done = started("history", SERIAL, cwd=store, env={**os.environ, "PYTHONPATH": str(ROOT)})
    assert done.stdout.splitlines()[-1] == "3 analyses of D-7: 3 not judged."


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "history: has neither a serial number nor a date. Give one"),
        (["--since", "yesterday"], "--since: is 'yesterday'. Give ISO 8601 from 1970 on"),
        (["--since", "2031-13-01"], "--since: is '2031-13-01'. Give ISO 8601"),
        (["--since", "2031-05-01", "--by", "sold"], "--by: is 'sold'. Give analyzed or recorded."),
        (["D-7", "--most", "0"], "--most: is 0. Give 1 or more."),
        (["D-7", "--most", "x"], "'x' is no whole number"),
        (["D-8"], "has no serial number D-8 among its 1. Look at the spelling; near to it is D-7."),
        (["--since", "2031-05-01", "--report", "x"], "--report: is of one instrument. Give its"),
        (["--since", "2031-05-01", "--html", "x"], "--html: is of one instrument. Give its serial"),
        (["D-7", "--json", "-", "--csv", "-"], "--csv: is -, and --json goes there too."),
        (["D-7", "--json", "no/such/x.json"], "no/such/x.json: cannot be written"),
    ],
)
def test_misuse_is_one_line(store, called, words, said) -> None:
    done = called("history", *words, "--store", store)
    assert (done.code, done.out, done.err.count("\n")) == (2, "", 1)
    assert said in done.err


def test_no_store(called, tmp_path) -> None:
    for place in (tmp_path, tmp_path / "none", tmp_path / "none.sqlite"):
        done = called("history", "A-1", "--store", place)
        assert (done.code, done.out, done.err.count("\n")) == (2, "", 1)
        assert "does not exist. Give the folder or file that" in done.err
    assert list(tmp_path.iterdir()) == []  # looking makes none


@pytest.mark.parametrize("ending", ["", "-wal", "-shm"])
def test_no_output_goes_over_the_store(store, called, ending) -> None:
    path = store / f"{FILE_NAME}{ending}"
    before = (store / FILE_NAME).read_bytes()
    for option in ("--json", "--report", "--xlsx"):
        path.touch()
        done = called("history", SERIAL, "--store", store, option, path)
        assert done.code == 2
        assert "which is read. Give another name." in done.err
    assert (store / FILE_NAME).read_bytes() == before


def test_a_bench_analysis_into_no_place(tmp_path, called) -> None:
    folder = write_rounds(tmp_path / "r")[0]
    (tmp_path / "text.sqlite").write_text("no database at all, but a text of some length")
    report = tmp_path / "report.json"
    for history, said in (
        (tmp_path / "text.sqlite", "is no database of this program"),
        (tmp_path / "text.sqlite" / "x", "cannot be opened"),
        (report, "--json goes there too"),
        (folder / "s2_open_1.wav", "is read"),
    ):
        done = called("analyze", folder, "--store", history, "--json", report)
        assert (done.code, done.out, done.err.count("\n")) == (2, "", 1)
        assert said in done.err
        assert not report.exists()  # it was told before anything was measured
    alone = called("analyze", folder, "--serial", "A-1")
    assert (alone.code, "--serial: stands alone. Give the store" in alone.err) == (2, True)
    for serial in ("", " ", "a\x1bb", "x" * 5000):
        named = called("analyze", folder, "--store", tmp_path / "s", "--serial", serial)
        assert (named.code, named.err.count("\n")) == (2, 1)
        assert "--serial: is no serial number: it " in named.err
    assert not (tmp_path / "s").exists()


def test_a_store_that_fails_at_the_end_costs_no_result(tmp_path, called, monkeypatch) -> None:
    folder = write_rounds(tmp_path / "r")[0]
    opened = []

    def full(path: Path, **options: bool) -> Store:
        if opened:
            connection = sqlite3.connect(path, isolation_level=None)
            connection.execute("BEGIN IMMEDIATE")  # another process, which does not end
            opened.append(connection)
            return open_store(path, **options, busy_timeout_s=0.1)
        opened.append(None)
        return open_store(path, **options)

    monkeypatch.setattr("analyzer.bench.open_store", full)
    report = tmp_path / "report.json"
    done = called("analyze", folder, "--store", tmp_path / "s", "--json", report)
    assert done.code == 2
    assert "locked by another process" in done.err
    assert done.out.splitlines()[-1].startswith("2 of 2 strings have a result")
    assert len(loaded(report)["strings"]) == 2
    for each in filter(None, opened):
        each.close()


def test_ten_thousand_analyses_are_found_by_an_index(many) -> None:
    for sql, values in (
        (OF_SERIAL, ("b-05000",)),
        (SINCE["analyzed_s"], (1.5e9, -1)),
        (SINCE["recorded_s"], (1.5e9, -1)),
        (spelling.AFTER, ("b-05000",)),
        (spelling.BEFORE, ("b-05000",)),
    ):
        steps = [row[3] for row in rows_of(many, f"EXPLAIN QUERY PLAN {sql}", values)]
        assert any("INDEX analyses_by" in step for step in steps), steps
        assert not any(step.startswith("SCAN") for step in steps), steps
        assert not any("TEMP B-TREE" in step for step in steps if sql is not OF_SERIAL), steps


def test_ten_thousand_analyses_are_listed(many, called) -> None:
    done = called("history", "--since", "2001-09-09T01:46:40", "--by", "recorded", "--store", many)
    lines = done.out.splitlines()
    assert len(lines) == 10_003 + 3
    assert max(map(len, lines)) <= PIPED_COLUMNS
    # 1e9 s + 5000 days: by the calendar of the standard library
    assert pd.Timestamp(1e9 + 86400.0 * 5000, unit="s") == pd.Timestamp("2015-05-19T01:46:40")
    late = called("history", "--since", "2015-05-19T01:46:40", "--by", "recorded", "--store", many)
    assert lines_of(late.out)[2].startswith("B-05000 ")
    one = called("history", "b-05000", "--store", many)
    assert one.out.splitlines()[-1].startswith("1 analysis of B-05000: ")
    near = called("history", "B-0500O", "--store", many)
    assert "among its 10,003. Look at the spelling; near to it are B-0500" in near.err


def test_head_ends_it_quietly(many) -> None:
    words = ("history", "--since", "2000-01-01", "--store", many)
    for output in ([], ["--json", "-"], ["--csv", "-"]):
        reading, writing = os.pipe()
        running = begin(*words, *output, stdout=writing, prepare=partial(os.close, reading))
        os.close(writing)
        with os.fdopen(reading, "rb") as head:
            assert head.readline()
        done = running.wait()
        assert (done.code, done.err) == (141, "")  # as shells count SIGPIPE


def test_two_shops_write_one_store(tmp_path, called) -> None:
    """What another run adds while the history is read neither waits nor spoils it."""
    path = three_instruments(tmp_path)
    with open_store(path, create=False) as other:
        run = other.begin(METHOD)
        other.add(run, outcome_of(session_of("A-4"), 1.0))
        done = called("history", "A-4", "--store", path)
        assert done.code == 0
        other.add(run, outcome_of(session_of("A-4"), 2.0))
    assert "2 analyses of A-4" in called("history", "A-4", "--store", path).out


def test_years_are_those_of_the_recordings(store, called) -> None:
    done = called(
        "history", "--since", "2022-05-02T10:00:00Z", "--by", "recorded", "--store", store
    )
    assert [line.split()[1][:4] for line in done.out.splitlines()[2:-1]] == [
        str(year) for year in YEARS[1:]
    ]
