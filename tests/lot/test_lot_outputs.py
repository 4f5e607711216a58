"""A lot in a terminal and as tables: what is said, where it fits, and what no spreadsheet obeys."""

from __future__ import annotations

import io

import openpyxl
import pandas as pd
import pytest
from gauge_studies import AIAG
from made_lot_frames import START_S, Frames, Made, frames, left_out, specification
from rich.console import Console
from test_lot_summary import DRIFT, ERROR, LITTLE, PITCH, normal_lot

from analyzer.errors import UnusableInputError
from analyzer.lot.output import tables
from analyzer.lot.output.terminal import TerminalLot
from analyzer.lot.output.words import percent, verdict_of_lot
from analyzer.lot.records import SESSION_COLUMNS, VALUE_COLUMNS, Fault
from analyzer.lot.summing.summary_model import LotSummary
from analyzer.report.tables import frame_as_csv, frame_as_parquet, table_form

HOSTILE = "=1+1\x1b[31m\n"


def shown(summary: LotSummary, width=80, *, terminal=False) -> str:
    file = io.StringIO()
    Console(file=file, width=width, force_terminal=terminal, color_system=None).print(
        TerminalLot(summary)
    )
    return file.getvalue()


def flat(text) -> str:
    """What stands there, wherever its lines were broken."""
    return " ".join(text.split())


@pytest.fixture(scope="module")
def lot() -> Frames:
    spec = specification(-2.0, 2.0)
    made = [
        Made(each.serial, {**each.cents, (PITCH, 1): 0.3, (DRIFT, 2): 5.0 * (n == 3)}, u=0.3)
        for n, each in enumerate(normal_lot(60))
    ]
    given = frames(made, spec)
    silent = left_out(*(f"is silent (loudest -{n} dBFS). Check the cable." for n in range(70, 79)))
    return Frames(given.sessions, given.judged, silent)


@pytest.fixture(scope="module")
def summary(lot) -> LotSummary:
    spec = specification(-2.0, 2.0)
    faults = [Fault(f"serial {n}", "Two folders have it.") for n in range(8)]
    return lot.summary(spec, faults=faults, warnings=["Station x is not in lot.toml."])


@pytest.mark.parametrize("terminal", [True, False])
@pytest.mark.parametrize("width", [40, 60, 80, 120])
def test_it_fits_and_ends_with_the_verdict(summary, width, terminal) -> None:
    text = shown(summary, width, terminal=terminal)
    assert max(map(len, text.splitlines())) <= width
    assert flat(text).endswith(verdict_of_lot(summary))
    for words in (
        "Yield",
        "exact binomial (Clopper and Pearson)",
        "Consumer's risk",
        "JCGM 106:2012, 9.3",
        "overall s (n - 1)",
        "12th-fret error 0.49",  # 1.644854 times 0.3
        "global risks, JCGM 106:2012, 9.5",
        "12th-fret error",
        "Control charts of 5 instruments that follow one another",
        "1 instrument: string 2, drift of the open note too far up",
        "9 recordings: is silent",
        "Fault: serial 4: Two folders have it.",
        "3 more faults.",
        "Note: Station x is not in lot.toml.",
    ):
        assert words in flat(text), words


def test_the_worst_string_comes_first(summary) -> None:
    """Of what has a Ppk; the open pitch, which never strays, has none and comes last."""
    worst = min(
        (each for each in summary.judged if each.capability.ppk.value is not None),
        key=lambda each: each.capability.ppk.value,
    )
    text = shown(summary)
    first = text[text.index("─") :].strip("─ \n").splitlines()[0]
    assert first.startswith(worst.named.removeprefix("string "))


def test_both_gauge_methods_stand_side_by_side() -> None:
    """The published study: 27.861 % by analysis of variance, 26.678 % by average and range."""
    spec = specification(-20.0, 20.0)
    made = [
        Made(f"{part}", {(ERROR, 1): float(AIAG[part, who, repeat])}, operator=f"op {who}",
             repeat=repeat + 1, latest=(who, repeat) == (2, 2))
        for part in range(10) for who in range(3) for repeat in range(3)
    ]  # fmt: skip
    text = flat(shown(frames(made, spec).summary(spec)))
    assert "27.9 % of the study's scatter" in text
    assert "26.7 % of the study's scatter" in text
    assert text.index("crossed ANOVA, interaction pooled") < text.index("4 distinct categories")
    assert text.index("average and range") < text.index("5 distinct categories")


@pytest.mark.parametrize("name", LITTLE)
def test_lots_with_little_in_them_are_shown(name) -> None:
    spec = specification()
    found = frames(LITTLE[name], spec).summary(spec)
    assert flat(shown(found, 60)).endswith(verdict_of_lot(found))


def test_nothing_steers_the_terminal() -> None:
    spec = specification(size=1)
    made = [
        Made(f"{HOSTILE}{n}", {(ERROR, 1): 9.0 * (n == 20)}, station=HOSTILE, at_s=START_S + n)
        for n in range(30)
    ]
    found = frames(made, spec).summary(spec, faults=[Fault(HOSTILE, HOSTILE)], warnings=[HOSTILE])
    text = shown(found)
    assert "\x1b" not in text
    assert "=1+1\\x1b[31m\\n" in text


@pytest.mark.parametrize(
    ("share", "words"),
    [
        (1.0, "100.0 %"),
        (0.0, "0.0 %"),
        (0.98142, "98.1 %"),
        (0.00123, "0.12 %"),
        (0.99996, "99.996 %"),
    ],
)
def test_a_share_near_an_end_is_not_rounded_to_it(share, words) -> None:
    assert percent(share) == words


# Tables.


def test_csv_is_read_back_by_pandas(lot) -> None:
    read = pd.read_csv(
        io.StringIO(frame_as_csv(tables.values_table(lot.judged))), dtype={"serial": str}
    )
    assert tuple(read.columns) == VALUE_COLUMNS
    assert read["value_cents"].to_numpy() == pytest.approx(
        lot.judged["value_cents"].to_numpy(dtype=float), nan_ok=True
    )
    sessions = pd.read_csv(
        io.StringIO(frame_as_csv(tables.sessions_table(lot.sessions))), dtype={"serial": str}
    )
    assert tuple(sessions.columns) == SESSION_COLUMNS
    assert sessions["serial"].tolist() == lot.sessions["serial"].tolist()
    assert sessions["analyzed_at"].iloc[0] == "2031-02-01T00:00:00"


def test_parquet_keeps_types_and_rows(lot, tmp_path) -> None:
    for name, content in (
        ("sessions", frame_as_parquet(tables.sessions_table(lot.sessions))),
        ("values", frame_as_parquet(tables.values_table(lot.judged))),
    ):
        read = pd.read_parquet(io.BytesIO(content))
        given = lot.sessions if name == "sessions" else lot.judged
        assert len(read) == len(given)
        assert read["recorded_at"].dtype.kind == "M"
    form = table_form(tmp_path / "lot.parquet", tables.sessions_table)
    assert len(pd.read_parquet(io.BytesIO(form(lot.sessions)))) == len(lot.sessions)


def test_no_table_holds_a_formula_or_an_escape() -> None:
    spec = specification()
    given = frames([Made(HOSTILE, {(ERROR, 1): 0.0}, station="@SUM(A1)")], spec)
    text = frame_as_csv(tables.sessions_table(given.sessions))
    assert text.encode("utf-8").count(b"\n") == 2
    assert "'=1+1" in text
    assert "'@SUM(A1)" in text
    book = openpyxl.load_workbook(
        io.BytesIO(tables.lot_xlsx(given.sessions, given.judged, given.left_out))
    )
    assert book.sheetnames == ["sessions", "values", "left out"]
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row]
    assert {cell.data_type for cell in cells} <= {"s", "n", "d", "b"}
    serial = book["sessions"].cell(2, SESSION_COLUMNS.index("serial") + 1)
    assert serial.value == "'=1+1\\x1b[31m\\n"
    assert pd.read_parquet(io.BytesIO(frame_as_parquet(tables.sessions_table(given.sessions))))[
        "serial"
    ][0].startswith("=1+1\\x1b")


def test_workbook_has_numbers_and_times_as_such(lot) -> None:
    book = openpyxl.load_workbook(
        io.BytesIO(tables.lot_xlsx(lot.sessions, lot.judged, lot.left_out))
    )
    sheet = book["values"]
    heading = [cell.value for cell in sheet[1]]
    assert tuple(heading) == VALUE_COLUMNS
    column = heading.index("value_cents") + 1
    assert sheet.cell(2, column).value == pytest.approx(lot.judged["value_cents"].iloc[0])
    assert sheet.max_row == len(lot.judged) + 1
    times = book["sessions"].cell(2, SESSION_COLUMNS.index("analyzed_at") + 1)
    assert times.is_date


def test_a_sheet_with_too_many_rows_is_one_clear_line(lot, monkeypatch) -> None:
    monkeypatch.setattr(tables, "XLSX_MOST_ROWS", len(lot.judged))
    with pytest.raises(UnusableInputError) as caught:
        tables.lot_xlsx(lot.sessions, lot.judged, lot.left_out, place="lot.xlsx")
    assert str(caught.value).startswith(f"lot.xlsx: would have {len(lot.judged)} rows of values")
    assert "CSV or Parquet" in str(caught.value)
    monkeypatch.setattr(tables, "XLSX_MOST_ROWS", len(lot.judged) + 1)
    assert tables.lot_xlsx(lot.sessions, lot.judged, lot.left_out)
