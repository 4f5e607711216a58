"""The page in a real browser: one sheet of paper, whatever bridge, and nothing that scrolls."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from browser_checks import browser
from made_reports import SIX_TUNING, TWELVE_TUNING, instrument_of, own_saddles, report_with

from analyzer.page.render import as_html

PAGES, PIXELS = map(shutil.which, ("pdfinfo", "pdftoppm"))
pytestmark = pytest.mark.skipif(not (PAGES and PIXELS), reason="needs pdfinfo and pdftoppm")
DOTS_AN_INCH = 300
DOTS_A_MM = DOTS_AN_INCH / 25.4
MARGIN_MM = 11.0  # as the style of the page has it
FRAME_MM = 5.0
NAME = "A rather long name for an instrument, of the first batch, for the second time"
PAIRS = "[[6, 5], [4, 3], [2, 1]]"
TWELVE_PAIRS = "[[12, 11], [10, 9], [8, 7], [6, 5], [4, 3], [2, 1]]"
CASES = {
    "own": (own_saddles(), SIX_TUNING),
    "pairs": (f"saddles = {PAIRS}", SIX_TUNING),
    "two screws": (f'kind = "two-screw saddles"\nsaddles = {PAIRS}', SIX_TUNING),
    "posts": (
        'kind = "two posts"\nstring_spread_mm = 52\npost_positions_mm = [-11, 63]',
        SIX_TUNING,
    ),
    "twelve": (own_saddles(TWELVE_TUNING), TWELVE_TUNING),
    "twelve, two screws": (
        f'kind = "two-screw saddles"\nsaddles = {TWELVE_PAIRS}',
        TWELVE_TUNING,
    ),
}


@pytest.fixture(scope="module")
def chromium() -> Iterator:
    with browser() as started:
        yield started


@pytest.mark.parametrize("size", ["A4", "Letter"])
@pytest.mark.parametrize("case", CASES)
def test_bench_card_is_one_sheet(chromium, tmp_path, case, size) -> None:
    """ISO 216 and ANSI Y14.1; every string far off, so that there are many steps."""
    bridge, tuning = CASES[case]
    errors = {string: (-1) ** string * 14.0 + string / 3 for string in range(len(tuning), 0, -1)}
    page = as_html(
        report_with(instrument_of(tmp_path, bridge, tuning, NAME), errors), date(2031, 2, 3)
    )
    html, pdf = tmp_path / "page.html", tmp_path / "page.pdf"
    html.write_text(page.replace("@page {", f"@page {{ size: {size};"), encoding="utf-8")
    opened = chromium.new_page()
    opened.goto(html.as_uri())
    opened.pdf(path=pdf, prefer_css_page_size=True)
    opened.close()
    info = subprocess.run([PAGES, pdf], check=True, capture_output=True, text=True)
    assert re.search(r"^Pages: +(\d+)", info.stdout, re.MULTILINE)[1] == "1"
    boxes_are_whole(pdf)


def boxes_are_whole(pdf: Path) -> None:
    """At the right margin the frames are drawn with as much ink as at the left one."""
    subprocess.run([PIXELS, "-r", f"{DOTS_AN_INCH}", "-gray", "-singlefile", pdf,
                    pdf.with_suffix("")], check=True, timeout=300)  # fmt: skip
    ink = 1 - greys(pdf.with_suffix(".pgm")) / 255
    edge = round((MARGIN_MM + 0.8) * DOTS_A_MM)  # the frames begin within 0.8 mm of the margin
    left, right = (thinnest_side(strip) for strip in (ink[:, :edge], ink[:, -edge:]))
    assert right > 0.8 * left


def thinnest_side(strip: np.ndarray) -> float:
    """Ink across the thinnest upright line that is longer than a line of text is high, dots."""
    across = strip.sum(axis=1)
    changes = np.flatnonzero(np.diff((across > 0.1).astype(int), prepend=0, append=0))
    runs = zip(changes[::2], changes[1::2], strict=True)
    return min(np.median(across[a:b]) for a, b in runs if b - a > FRAME_MM * DOTS_A_MM)


def greys(path: Path) -> np.ndarray:
    """A binary PGM, as pdftoppm writes it: P5, width, height, 255, then a byte a pixel."""
    kind, width, height, most, pixels = path.read_bytes().split(maxsplit=4)
    assert (kind, most) == (b"P5", b"255")
    count = int(width) * int(height)
    return np.frombuffer(pixels[-count:], np.uint8).reshape(int(height), int(width))
