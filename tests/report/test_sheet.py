"""The guide for whoever records: what is on it, for this instrument, in three forms."""

from __future__ import annotations

import re
import shutil
import subprocess
from html.parser import HTMLParser
from pathlib import Path

import pytest
from conftest import SAMPLE_AUDIO

from analyzer.instrument.model import Instrument, assumed_instrument
from analyzer.recording.labels import holds_many, read_label
from analyzer.sheet.content import TAKES, sheet_of
from analyzer.sheet.markdown import as_markdown
from analyzer.sheet.page import as_page
from analyzer.sheet.text import as_text

SIX = assumed_instrument()
FORMS = [lambda sheet: as_text(sheet, 60), as_markdown, as_page]
# What a page for a customer must not need explained.
JARGON = r"\b(cents?|intonation|octave|partials?|sample rate|dB|saddle|setback|inharmonic\w*)\b"


class Checked(HTMLParser):
    """Which tags a page has, and whether each that opens is closed."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.open: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.feed(page)

    def handle_starttag(self, tag, attrs) -> None:
        self.tags.append(tag)
        self.attributes += attrs
        if tag != "meta":
            self.open.append(tag)

    def handle_endtag(self, tag) -> None:
        assert self.open.pop() == tag


@pytest.mark.parametrize("form", FORMS)
def test_what_the_recordings_need_is_on_it(form) -> None:
    text = " ".join(form(sheet_of(SIX)).split())
    for needed in ("three seconds", "silent", "as you do when you play", "fairly new", "3 times",
                   "12th fret", "whole.wav", "s6_open_2.wav", ".m4a", "eyes", "repairer",
                   "Local safety rules"):  # fmt: skip
        assert needed in text, needed
    places = [text.index(f"s{string}_f12") for string in SIX.strings]
    assert places == sorted(places)
    assert not re.search(JARGON, text)


def test_the_names_on_it_are_read_as_they_are_meant() -> None:
    """The command that reads recordings takes each name for the string and place beside it."""
    for row in sheet_of(SIX).rows:
        for name, fret in ((row.open_name, "open"), (row.fretted_name, "f12")):
            for take in range(1, TAKES + 1):
                label = read_label(f"{name}_{take}.m4a", SIX)
                assert (label.string, label.fret, label.take) == (row.string, fret, take)
        assert SIX.note(row.string) == row.note
    assert holds_many("whole.m4a")


@pytest.mark.parametrize("columns", [40, 60, 80])
def test_text_keeps_to_the_terminal(columns) -> None:
    named = Instrument("A name " * 20, SIX.tuning, None, None)
    assert max(map(len, as_text(sheet_of(named), columns).splitlines())) <= columns


def test_the_order_counts_where_notes_are_alike() -> None:
    def warns(*tuning: str) -> bool:
        return "order" in as_text(sheet_of(Instrument("x", tuning, None, None)), 500)

    assert not warns("E2", "A2", "D3", "G3", "B3", "E4")
    assert warns("G3", "G3")  # a pair of strings in unison
    assert warns("G2", "G3")  # the 12th fret of one is the other


def test_names_in_the_page_are_text() -> None:
    name = "<script>alert(1)</script>\" onload='x' {{ 7*7 }} &amp;"
    page = as_page(sheet_of(Instrument(name, SIX.tuning, None, None)))
    checked = Checked(page)
    assert checked.open == []
    assert "script" not in checked.tags
    assert not [key for key, _ in checked.attributes if key.startswith("on")]
    assert "{{ 7*7 }} &amp;amp;" in page
    assert "\\u202e" in as_page(sheet_of(Instrument("a\u202eb", SIX.tuning, None, None)))


def test_the_page_needs_nothing_beside_itself() -> None:
    page = as_page(sheet_of(SIX))
    assert not {"link", "img", "script", "iframe"} & set(Checked(page).tags)
    assert not re.search(r"https?:|url\(|@import", page)
    assert "default-src 'none'" in page


@pytest.mark.skipif(
    not (shutil.which("chromium") and shutil.which("pdfinfo")), reason="needs chromium and pdfinfo"
)
@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_twelve_strings_print_to_one_sheet(tmp_path, size) -> None:
    """In a real browser, on both common sizes of paper (ISO 216; ANSI Y14.1)."""
    notes = "E2 E3 A2 A3 D3 D4 G3 G4 B3 B3 E4 E4".split()
    page = as_page(sheet_of(Instrument("A long name, " * 8, tuple(notes), None, None)))
    html, pdf = tmp_path / "page.html", tmp_path / "page.pdf"
    html.write_text(page.replace("@page {", f"@page {{ size: {size};"), encoding="utf-8")
    command = ["chromium", "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer"]
    print_it = [*command, f"--print-to-pdf={pdf}", html.as_uri()]
    subprocess.run(print_it, check=True, capture_output=True, timeout=300)
    info = subprocess.run(
        [shutil.which("pdfinfo"), pdf], check=True, capture_output=True, text=True
    )
    assert re.search(r"^Pages: +(\d+)", info.stdout, re.MULTILINE)[1] == "1"


def test_command_in_all_forms(tmp_path: Path, called) -> None:
    folder = SAMPLE_AUDIO / "own_saddles"
    text = called("sheet", folder)
    assert (text.code, text.err) == (0, "")
    assert text.out == called("sheet", folder / "instrument.toml").out
    page, markdown = tmp_path / "page.html", tmp_path / "page.md"
    both = called("sheet", folder, "--html", page, "--markdown", markdown)
    assert (both.code, both.out, both.err) == (0, "", "")
    assert page.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert markdown.read_text(encoding="utf-8") == called("sheet", folder, "--markdown", "-").out


def test_an_instrument_that_is_not_there(tmp_path, called) -> None:
    done = called("sheet", tmp_path)
    assert (done.code, done.out) == (2, "")
    assert done.err.startswith(f"pluckcheck: {tmp_path}: holds no instrument.toml. Give the")
    missing = called("sheet", tmp_path / "mine.toml")
    assert missing.err.startswith(f"pluckcheck: {tmp_path / 'mine.toml'}: cannot be read (")
    folder = SAMPLE_AUDIO / "own_saddles"
    over = called("sheet", folder, "--html", folder / "instrument.toml")
    assert over.code == 2
    assert "would write over" in over.err
