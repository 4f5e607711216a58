"""Tables: every number of the JSON report in each, nothing that a spreadsheet takes for a formula.

The files are read back by libraries of others: pandas, openpyxl, pyarrow.
"""

from __future__ import annotations

import csv
import io
import json
import math
import os
import re
import subprocess
import sys
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

import pandas as pd
import pytest
from conftest import ROOT, SAMPLE_AUDIO
from made_reports import instrument_of, own_saddles, report_with
from read_tables import numbers_agree, read_back, records, rows_of, sheets

from analyzer.analysis import analyze_folder
from analyzer.errors import UnusableInputError
from analyzer.measure import Measured
from analyzer.report import tables
from analyzer.report.files import as_json, defused
from analyzer.report.model import RecordingResult, Report, StringResult
from analyzer.report.spreadsheet import as_xlsx
from analyzer.report.tables import (
    frame_as_csv,
    recordings_frame,
    strings_frame,
    table_form,
)

DAY = date(2026, 3, 1)
# What OWASP's "CSV Injection" page names as the start of a formula (recalled), as files may be
# called; a slash cannot be in a name.
HOSTILE = (
    '=cmd|" -C calc"!A0.wav',
    "+1+1.wav",
    "-2+3.wav",
    "@SUM(1,1).wav",
    "\t=1+1.wav",
    "\r=1+1.wav",
    "\n=1+1.wav",
    "＝1+1.wav",
    '=HYPERLINK("http:,,x","y").wav',
)
STARTS = tuple("=+-@\t\r\n＝＋－＠")
UNITS = ("_hz", "_cents", "_mm", "_s", "_cents_per_s")
# Numbers without a unit: counts, Fletcher's B, and turns, which are their own.
WITHOUT_UNIT = {"string", "take", "turns", "stiffness", "stiffness_uncertainty"}


@pytest.fixture(scope="module")
def demo() -> Report:
    return analyze_folder(SAMPLE_AUDIO / "own_saddles", jobs=1)


@pytest.fixture(scope="module")
def body(demo) -> dict:
    return json.loads(as_json(demo))


@pytest.fixture
def hostile(tmp_path) -> Report:
    """Rejected recordings of hostile names and reasons, and an instrument that is called so."""
    others = [Measured(name, None, None, f"=reason {name}") for name in HOSTILE]
    instrument = instrument_of(tmp_path, own_saddles(), name="=1+1")
    return report_with(instrument, {6: -7.0, 5: 5.0}, *others, warnings=("@warning",))


def test_numbers_are_those_of_the_json(demo, body) -> None:
    """CSV and Parquet to the last bit; a cell of XLSX to the 15 digits that spreadsheets keep."""
    book = sheets(as_xlsx(demo, DAY))
    for name, frame in (("strings", strings_frame(demo)), ("recordings", recordings_frame(demo))):
        entries = body[name]
        counts = [numbers_agree(rows, entries, 0.0) for rows in read_back(frame).values()]
        counts.append(numbers_agree(rows_of(book[name]), entries, 1e-15))
        assert len(set(counts)) == 1
        assert counts[0] >= {"strings": 6 * 9, "recordings": 16 * 11}[name]


def test_advice_is_that_of_the_saddles(demo, body) -> None:
    """Columns that stand elsewhere in the JSON."""
    rows = {row["string"]: row for row in rows_of(sheets(as_xlsx(demo, DAY))["strings"])}
    for saddle in body["saddles"]:
        row = rows[saddle["strings"][0]]
        assert (row["turns"], row["direction"]) == (saddle["turns"], saddle["direction"])
        residual = saddle["residual_cents"][str(row["string"])]
        assert math.isclose(row["residual_cents"], residual, rel_tol=1e-15)


def test_every_key_of_a_recording_is_a_column(demo, body) -> None:
    columns = list(recordings_frame(demo).columns)
    assert set(columns) == set(body["recordings"][0]) - {"course", "track"}
    assert columns[-1] == "reason"


def test_columns_of_numbers_carry_their_units(demo) -> None:
    for frame in (strings_frame(demo), recordings_frame(demo)):
        numbers = set(frame.select_dtypes("number").columns)
        assert len(numbers) > 10
        assert {n for n in numbers if not n.endswith(UNITS)} <= WITHOUT_UNIT


@pytest.mark.parametrize("name", HOSTILE)
def test_every_start_of_a_formula_is_defused(name) -> None:
    assert not defused(name).startswith(STARTS)
    assert defused(name)[1:] == name


@pytest.mark.fault("text that a spreadsheet would obey")
def test_no_text_of_a_table_is_a_formula(hostile) -> None:
    for frame in (strings_frame(hostile), recordings_frame(hostile)):
        text = frame_as_csv(frame)
        for row in csv.reader(io.StringIO(text)):
            for cell in row:
                assert not cell.startswith(STARTS) or re.fullmatch(r"-[\d.e-]+", cell), cell
    for sheet in sheets(as_xlsx(hostile, DAY)):
        for row in sheet.iter_rows():
            for cell in row:
                assert cell.data_type != "f"
                assert cell.hyperlink is None
                assert not str(cell.value).startswith(STARTS) or cell.data_type == "n"


def test_hostile_names_are_all_there(hostile) -> None:
    book = sheets(as_xlsx(hostile, DAY))
    files = [row["file"] for row in rows_of(book["recordings"])]
    assert f"'{HOSTILE[0]}" in files
    assert r"\t=1+1.wav" in files  # a tab is shown as such and starts nothing
    assert len(files) == len(hostile.recordings)
    instrument = rows_of(book["settings"])[0]
    assert (instrument["setting"], instrument["value"]) == ("instrument", "'=1+1")


def test_a_negative_number_is_a_number(hostile) -> None:
    row = rows_of(sheets(as_xlsx(hostile, DAY))["strings"])[0]
    assert (row["string"], row["error_cents"]) == (6, pytest.approx(-7.0, abs=0.01))
    assert next(csv.DictReader(io.StringIO(frame_as_csv(strings_frame(hostile)))))[
        "error_cents"
    ].startswith("-")


@pytest.mark.fault("names that no encoding has")
def test_names_that_no_encoding_has() -> None:
    recording = RecordingResult("a\udcff\ufffe\x00b.wav", 1, "open", 1, "rejected", "c\ud800")
    report = Report("n\udc80", ("E2",), 440.0, (StringResult(1, "E2", "r"),), (), (recording,), ())
    shown = r"a\udcff\ufffe\x00b.wav"
    assert shown in frame_as_csv(recordings_frame(report))
    assert rows_of(sheets(as_xlsx(report, DAY))["recordings"])[0]["file"] == shown
    assert read_back(recordings_frame(report))["parquet"][0]["file"] == shown


def test_text_longer_than_a_cell_is_cut() -> None:
    """A cell of XLSX holds 32,767 characters (recalled); more make a file that will not open."""
    long = StringResult(1, "E2", "x" * 40_000)
    report = Report("n", ("E2",), 440.0, (long,), (), (), ())
    reason = rows_of(sheets(as_xlsx(report, DAY))["strings"])[0]["reason"]
    assert 30_000 < len(reason) <= 32_767
    assert " ... " in reason


def width_of(sheet, place: int) -> float:
    """Columns of one width stand together in the file."""
    return next(
        each.width for each in sheet.column_dimensions.values() if each.min <= place <= each.max
    )


def test_sheets_are_laid_out(demo) -> None:
    book = sheets(as_xlsx(demo, DAY))
    assert book.sheetnames == ["strings", "recordings", "settings"]
    for sheet in book:
        assert sheet.freeze_panes == "A2"
        for cell in next(sheet.iter_rows()):
            assert len(str(cell.value)) < width_of(sheet, cell.column) <= 61
    heading = [cell.value for cell in book["strings"][1]]
    first = book["strings"].cell(2, heading.index("open_hz") + 1)
    assert (first.data_type, isinstance(first.value, float)) == ("n", True)


def test_settings_are_values_with_units(demo) -> None:
    rows = {
        (row["setting"], row["of"]): row for row in rows_of(sheets(as_xlsx(demo, DAY))["settings"])
    }
    written = rows["written on", None]["value"]
    assert (type(written), written) == (datetime, datetime(2026, 3, 1))  # noqa: DTZ001
    a4 = rows["frequency of A4", None]
    assert (a4["value"], a4["unit"]) == (440, "Hz")
    # ISO 261: M3 coarse advances 0.5 mm a turn; 647.7 mm stands in the demo's instrument file.
    thread = rows["advance a turn", "saddle 6"]
    assert (thread["value"], thread["unit"]) == (0.5, "mm")
    length = rows["scale length", "string 6"]
    assert (length["value"], length["unit"]) == (647.7, "mm")


def test_settings_say_what_was_asked_and_where_moves_are_known_from(demo) -> None:
    asked = replace(demo, reading=(("Limit files", "50"),), previous="before.json")
    for told, words in ((False, "taken to be as it advised"), (True, "as told")):
        book = sheets(as_xlsx(replace(asked, moves_told=told), DAY))
        rows = {row["setting"]: row["value"] for row in rows_of(book["settings"])}
        assert rows["Limit files"] == "50"
        assert (rows["round before"], rows["moves since then"]) == ("before.json", words)


def test_empty_columns_keep_their_type(demo) -> None:
    """Files of a lot are put together: what one instrument lacks must not change the type."""
    lacking = Report("n", ("E2",), 440.0, (StringResult(1, "E2", "r"),), (), (), ())
    for frame_of in (strings_frame, recordings_frame):
        one, other = frame_of(demo), frame_of(lacking)
        assert list(one.dtypes) == list(other.dtypes)
        assert list(one.columns) == list(other.columns)


def test_ending_chooses_parquet(called, tmp_path, body) -> None:
    places = tmp_path / "s.parquet", tmp_path / "R.PARQUET"
    done = called(
        "analyze",
        SAMPLE_AUDIO / "own_saddles",
        "--csv",
        places[0],
        "--recordings-csv",
        places[1],
        "-q",
    )
    assert (done.code, done.out, done.err) == (0, "", "")
    assert numbers_agree(records(pd.read_parquet(places[0])), body["strings"], 0.0) > 50
    assert len(pd.read_parquet(places[1])) == len(body["recordings"])


@pytest.mark.fault("the library for Parquet is not installed")
def test_without_the_library_for_parquet(monkeypatch) -> None:
    monkeypatch.setattr(tables, "find_spec", lambda _: None)
    with pytest.raises(
        UnusableInputError, match=r"x\.parquet: .* pip install 'pluckcheck\[parquet\]'"
    ):
        table_form(Path("x.parquet"), strings_frame)
    assert table_form(Path("x.csv"), strings_frame) is not None


def test_workbook_into_a_pipe(run) -> None:
    done = run("analyze", SAMPLE_AUDIO / "paired_saddles", "--xlsx", "-", text=False)
    assert done.returncode == 0
    assert sheets(done.stdout).sheetnames == ["strings", "recordings", "settings"]


@pytest.mark.skipif(os.name != "posix", reason="no pseudo-terminals")
@pytest.mark.fault("a workbook that would go to the terminal")
def test_workbook_does_not_go_to_a_terminal(run) -> None:
    reading, terminal = os.openpty()
    try:
        done = run("analyze", SAMPLE_AUDIO / "own_saddles", "--xlsx", "-", stdout=terminal)
    finally:
        os.close(terminal)
        os.close(reading)
    assert done.returncode == 2
    assert done.stderr.startswith("pluckcheck: --xlsx: would go to the terminal")


@pytest.mark.fault("pyarrow cannot be imported")
def test_tables_without_pyarrow() -> None:
    """pandas keeps text in another way then."""
    code = (
        "import sys\n"
        "class Hidden:\n"
        "    def find_spec(self, name, path, target=None):\n"
        "        if name == 'pyarrow':\n"
        "            raise ModuleNotFoundError(name)\n"
        "sys.meta_path.insert(0, Hidden())\n"
        "import analyzer\n"
        "from analyzer.report.spreadsheet import as_xlsx\n"
        "from analyzer.report.tables import frame_as_csv\n"
        "found = analyzer.analyze('sample_audio/paired_saddles', jobs=1)\n"
        "print(frame_as_csv(found.to_frame()).count(chr(10)), len(as_xlsx(found.report)) > 5000)"
    )
    words = [sys.executable, "-c", code]
    done = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, check=False)
    assert (done.stdout, done.returncode) == ("7 True\n", 0), done.stderr


@pytest.mark.fault("two tables into one file")
def test_outputs_do_not_share_a_place(called, tmp_path) -> None:
    place = tmp_path / "one"
    done = called(
        "analyze", SAMPLE_AUDIO / "own_saddles", "--csv", place, "--recordings-csv", place
    )
    assert done.code == 2
    assert "--recordings-csv: is " in done.err
