"""The page in a real browser: by keyboard, on a phone and a desk, in both schemes, to axe-core."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

import pytest
from browser_checks import DESK, PHONE, browser, look_at
from conftest import SAMPLE_AUDIO
from made_reports import TWELVE_TUNING, instrument_of, own_saddles, report_with

from analyzer.analysis import analyze_folder
from analyzer.instrument.model import Instrument, assumed_instrument
from analyzer.measure import Measured
from analyzer.page.render import as_html
from analyzer.recording.labels import Label

DAY = date(2031, 2, 3)
HOSTILE = "<script>document.title='broken'</script>\" onload='x' <svg> {{ 7*7 }} " + "w" * 120
SIX = {6: 9.4, 5: 4.1, 4: -3.2, 3: 12.5, 2: 0.0, 1: -1.1}
TWELVE = {string: 17.0 - 1.5 * string for string in range(12, 0, -1)}
SCREENS, WIDTHS = ((PHONE, "light"), (DESK, "dark")), (390, 1920)


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    """The demo, bridges of several adjusters, twelve strings, nothing known, a name out to harm."""
    place = tmp_path_factory.mktemp("pages")
    bad = Measured(f"{HOSTILE}.wav", Label(6, "open", 3), None, f"is no sound {HOSTILE}.")
    posts = 'kind = "two posts"\nstring_spread_mm = 52\npost_positions_mm = [-11, 63]'
    ends = 'kind = "two-screw saddles"\nsaddles = [[6, 5], [4, 3], [2, 1]]'
    twelve = instrument_of(place, own_saddles(TWELVE_TUNING), TWELVE_TUNING)
    reports = {
        "demo": analyze_folder(SAMPLE_AUDIO / "own_saddles"),
        "posts": report_with(instrument_of(place, posts), SIX),
        "ends": report_with(instrument_of(place, ends), SIX),
        "twelve": report_with(twelve, TWELVE),
        "bare": report_with(assumed_instrument(), {6: -4.0}),
        "hostile": report_with(Instrument(HOSTILE, ("E2", "A2")), {2: 1.0, 1: 2.0}, bad),
    }
    files = []
    for name, report in reports.items():
        files.append(place / f"{name}.html")
        files[-1].write_text(as_html(report, DAY), encoding="utf-8")
    return files


@pytest.fixture(scope="module")
def chromium() -> Iterator:
    with browser() as started:
        yield started


def test_the_page_works_in_a_browser(chromium, pages) -> None:
    """Nothing is asked for or complained of, nothing scrolls sideways, every part opens by key."""
    for file in pages:
        seen = look_at(chromium, file, *SCREENS, widths=WIDTHS)
        assert seen.requests == [file.as_uri()]
        assert seen.messages == []
        assert seen.scrolls == [], file.stem
        assert seen.opened_by_key == seen.parts > 0
        assert seen.violations == [], file.stem
        if file.stem == "hostile":
            assert "<script>document.title" in seen.text
