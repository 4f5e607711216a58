"""Every number of the JSON that another form shows is the same there, whatever the report."""

from __future__ import annotations

import json
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st
from made_reports import instrument_of, report_with
from page_checks import Checked, figures_on_page
from read_tables import numbers_agree, read_back, rows_of, sheets
from steady import steady

from analyzer.measure import Measured
from analyzer.page.render import as_html
from analyzer.report.files import as_json
from analyzer.report.spreadsheet import as_xlsx
from analyzer.report.tables import recordings_frame, strings_frame

DAY = date(2031, 3, 1)
TUNING = ("E2", "A2", "D3", "G3")
BRIDGES = (
    "saddles = [[4], [3], [2], [1]]",
    "saddles = [[4, 3], [2, 1]]",
    'kind = "two posts"\nstring_spread_mm = 30.0\npost_positions_mm = [-10.0, 40.0]',
)
SCREW = 'thread = "M3"\nscrew_head = "neck"\nsmallest_turn = 0.25\ntravel_mm = [2.0, 3.0]\n'


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    return tmp_path_factory.mktemp("made")


ERRORS = st.dictionaries(st.integers(1, 4), st.floats(-40, 40), min_size=1)


@steady(20)
@given(ERRORS, st.sampled_from(BRIDGES), st.integers(0, 2))
def test_json_tables_and_page_have_the_same_numbers(place, errors, bridge, left_out) -> None:
    """CSV and Parquet to the last bit; XLSX to 15 digits; the page keeps them whole in its data."""
    instrument = instrument_of(place, bridge, TUNING, screw=SCREW)
    others = [
        Measured(f"s1_open_{n}.wav", None, None, "is silent.") for n in range(7, 7 + left_out)
    ]
    report = report_with(instrument, errors, *others)
    body = json.loads(as_json(report))
    book = sheets(as_xlsx(report, DAY))
    for name, frame in (
        ("strings", strings_frame(report)),
        ("recordings", recordings_frame(report)),
    ):
        for rows in read_back(frame).values():
            assert numbers_agree(rows, body[name], 0.0) >= len(errors)
        assert numbers_agree(rows_of(book[name]), body[name], 1e-15) >= len(errors)
    shown = [float(value) for value, _ in Checked(as_html(report, DAY)).data]
    assert shown == figures_on_page(body)
