"""The page of a lot in a real browser: its table by keyboard, without scripts, on paper, to axe."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from browser_checks import DESK, PHONE, be_on, browser, listened, scrolls_sideways, violations
from large_lots import BOTH, Process, left_out_frame, lot_of

from analyzer.lot.page.render import as_html
from analyzer.lot.records import Fault

DAY = date(2031, 2, 20)
ROWS = 25  # of the table at once
UNFOLDED = 3  # rows, for axe-core to look into
HOSTILE = (
    "<script>document.title='broken'</script>\" onload='x' </pre> {{ 7*7 }} \u202e" + "w" * 150
)
HEBREW = "\u05e9\u05dc\u05d5\u05dd"


def drifting():
    """Signals, a drift, faults, warnings, a value that is missing, what was left out."""
    made = lot_of(
        100,
        Process(lambda place: 0.3 + 2.4 * place / 100, 1.3, missing={5: 4}),
        BOTH,
    )
    row = {"analysis": 4, "serial": "HS-00004", "file": "a.wav", "reason": "is clipped"}
    return replace(
        made,
        left_out=left_out_frame(row),
        faults=(Fault(f"lot/{HOSTILE}", "holds no recording."),),
        warnings=(f"Station {HOSTILE} is not in lot.toml.",),
    )


def hostile():
    names = [f"{HOSTILE} {n}" if n % 2 else f"{HEBREW} {n}" for n in range(40)]
    process = Process(sd_cents=2.5, stations=(HOSTILE, HEBREW, "A"), operators=(HOSTILE, "B"))
    return lot_of(40, process, replace(BOTH, name=HOSTILE), names)


LOTS = {
    "good": lambda: lot_of(1000),
    "drifting": drifting,
    "hostile": hostile,
    "studied": lambda: lot_of(12, repeats=2),
    "one": lambda: lot_of(1),
    "large": lambda: lot_of(5000, Process(sd_cents=1.7)),
}


@pytest.fixture(scope="module")
def lot():
    """A lot by its name, made when it is asked for first."""
    return cache(lambda name: LOTS[name]())


@pytest.fixture(scope="module")
def file_of(tmp_path_factory, lot):
    """The page of a lot by its name, written when it is asked for first."""
    place = tmp_path_factory.mktemp("lots")

    @cache
    def written(name: str) -> Path:
        made = lot(name)
        pages = {serial: f"own/{serial}.html" for serial in made.sessions["serial"][:30]}
        html = as_html(made.summary, made.sessions, made.values, pages, DAY)
        (place / f"{name}.html").write_text(html, encoding="utf-8")
        return place / f"{name}.html"

    return written


@pytest.fixture(scope="module")
def chromium() -> Iterator:
    with browser() as started:
        yield started


def opened(chromium, file, width=DESK, **options: Any):
    """A page under its own policy, and what it did so far."""
    page = chromium.new_context(viewport={"width": width, "height": 900}, **options).new_page()
    seen = listened(page)
    page.goto(file.as_uri())
    return page, seen


def shown(page) -> list[str]:
    return page.eval_on_selector_all(".live .unfold", "all => all.map(each => each.textContent)")


@pytest.mark.parametrize(
    ("name", "screens"),
    [
        ("good", [(PHONE, "light"), (DESK, "dark")]),
        ("drifting", [(PHONE, "dark"), (1920, "light")]),
        ("hostile", [(PHONE, "light"), (DESK, "dark")]),
        ("studied", [(DESK, "dark")]),
        ("one", [(390, "dark")]),
        ("large", [(DESK, "light")]),
    ],
    ids=lambda each: each if isinstance(each, str) else "",
)
def test_every_lot_fits_every_screen(chromium, file_of, name, screens) -> None:
    """Nothing is asked for or complained of, nothing scrolls sideways, all parts unfold by key."""
    page, seen = opened(chromium, file_of(name), screens[0][0], color_scheme=screens[0][1])
    rows = page.query_selector_all(".live .unfold")[:UNFOLDED]
    for each in [*page.query_selector_all("summary"), *rows]:
        each.focus()
        page.keyboard.press("Enter")
    assert page.locator(".live [aria-expanded=true]").count() == len(rows)
    folded = page.query_selector_all("details:not([open])")
    # Charts that are few enough are open from the start, and Enter has closed them.
    assert all(each.get_attribute("class") == "printed" for each in folded)
    for screen in screens:
        be_on(page, screen)
        assert not scrolls_sideways(page), screen
        assert violations(page) in (None, []), screen
    assert seen.requests == [file_of(name).as_uri()]
    assert seen.messages == []
    assert page.title().startswith("Lot ")
    page.context.close()


@pytest.mark.parametrize("name", ["drifting", "studied", "hostile"])
def test_no_width_scrolls_sideways(chromium, file_of, name) -> None:
    """About every width at which the page changes its form, with all its parts open."""
    page, _ = opened(chromium, file_of(name))
    page.eval_on_selector_all("details", "all => all.forEach(each => { each.open = true; })")
    page.locator(".live .unfold").first.click()
    for width in (320, 360, 480, 640, 641, 720, 800, 900, 1023, 1024, 1150, 1279, 1280, 1440, 1920):
        page.set_viewport_size({"width": width, "height": 900})
        wide = page.evaluate("document.documentElement.scrollWidth")
        assert wide <= width, (name, width, wide)
    page.context.close()


def test_the_table_is_filtered_sorted_and_turned(chromium, file_of, lot) -> None:
    page, seen = opened(chromium, file_of("large"))
    sessions = lot("large").sessions
    bad = sessions[sessions["verdict"] == "not conform"]
    status = page.locator(".live [role=status]")
    assert status.inner_text() == "1 to 25 of 5,000 instruments"
    assert len(shown(page)) == ROWS
    assert set(shown(page)) <= set(bad["serial"])  # what does not conform comes first

    page.get_by_role("combobox", name="Verdict").select_option("not conform")
    assert status.inner_text() == f"1 to {ROWS} of {len(bad)} instruments, of 5,000 in all"
    page.get_by_role("button", name="Serial number").click()
    serials = sorted(bad["serial"])
    assert shown(page) == serials[:ROWS]
    page.get_by_role("button", name="Next").first.click()
    assert shown(page) == serials[ROWS : 2 * ROWS] != []
    page.get_by_role("button", name="Serial number").click()
    assert shown(page) == serials[::-1][:ROWS]
    head = page.locator(".live th[aria-sort]")
    assert head.get_attribute("aria-sort") == "descending"

    page.get_by_role("combobox", name="Station").select_option("Line 2")
    assert set(shown(page)) == set(bad.loc[bad["station"] == "Line 2", "serial"]) != set()

    page.get_by_role("combobox", name="Verdict").select_option("")
    page.get_by_role("combobox", name="Station").select_option("")
    page.get_by_label("Serial number, operator, reason").fill("hs-0123 cleo")
    named = sessions["serial"].str.startswith("HS-0123") & (sessions["operator"] == "Cleo")
    assert set(shown(page)) == set(sessions.loc[named, "serial"]) != set()
    page.get_by_label("Serial number, operator, reason").fill("no such instrument")
    assert status.inner_text() == "No instrument fits, of 5,000 in all"
    assert seen.messages == []
    page.context.close()


def test_rows_sort_by_time_and_by_the_worst_value(chromium, file_of, lot) -> None:
    page, _ = opened(chromium, file_of("good"))
    made = lot("good")
    page.get_by_role("button", name="Recorded").click()
    assert shown(page) == made.sessions.sort_values("recorded_s")["serial"].tolist()[:ROWS]
    page.get_by_role("button", name="Worst value").click()
    values = made.values[made.values["latest"]]
    # Limits lie 5 cents to either side of the target, 0.
    ways = (100 * values["value_cents"].abs() / 5).groupby(values["serial"]).max().round()
    found = [ways[serial] for serial in shown(page)]
    assert found == sorted(ways, reverse=True)[:ROWS]
    page.context.close()


def test_a_row_unfolds_to_every_value(chromium, file_of, lot) -> None:
    page, _ = opened(chromium, file_of("drifting"))
    page.get_by_label("Serial number, operator, reason").fill("HS-00006")
    page.locator(".unfold").focus()
    page.keyboard.press("Enter")
    inside = page.locator(".live .unfolded")
    values = lot("drifting").values
    own = values[(values["serial"] == "HS-00006") & values["latest"]]
    lines = page.locator(".live .values li")
    assert lines.count() == len(own) == 18
    text = inside.inner_text().replace("\u2212", "-")
    for cents in own["value_cents"].dropna():
        said = f"{cents:+.1f}" if abs(cents) >= 0.05 else "0.0"
        assert f": {said}, u 0.4" in text
    assert text.count("no value") == 3  # of string 4, in each characteristic
    assert page.locator(".live .values svg").count() == 15
    link = page.get_by_role("link", name="Page of HS-00006")
    assert link.get_attribute("href") == "./own/HS-00006.html"
    page.context.close()


def test_names_stay_names(chromium, file_of) -> None:
    page, seen = opened(chromium, file_of("hostile"))
    assert any("<script>document.title" in each for each in shown(page))
    assert page.evaluate("document.scripts.length") == 1
    assert seen.messages == []
    hrefs = page.eval_on_selector_all("a", "all => all.map(each => each.getAttribute('href'))")
    assert all(each.startswith(("#", "./")) for each in hrefs)
    page.context.close()


@pytest.mark.parametrize("name", ["good", "drifting", "one"])
def test_all_is_there_without_scripts(chromium, file_of, lot, name) -> None:
    page, seen = opened(chromium, file_of(name), java_script_enabled=False)
    sessions = lot(name).sessions[lot(name).sessions["latest"]]
    listed = page.locator(".listed")
    assert listed.is_visible()
    assert not page.locator(".live").is_visible()
    text = listed.inner_text()
    for serial in sessions.loc[sessions["verdict"] != "conform", "serial"]:
        assert serial in text
    page.get_by_text("Every instrument and value as text").click()
    whole = page.locator("pre").inner_text()
    assert all(serial in whole for serial in sessions["serial"])
    assert seen.messages == []
    page.context.close()


def test_paper_has_the_figures_and_what_needs_a_look(chromium, file_of, lot) -> None:
    page, _ = opened(chromium, file_of("drifting"))
    page.emulate_media(media="print")
    assert not page.locator(".live").is_visible()
    sessions = lot("drifting").sessions[lot("drifting").sessions["latest"]]
    rows = page.locator(".listed tbody tr:visible")
    assert rows.count() == (sessions["verdict"] != "conform").sum()
    # A part that is printed is drawn though it is folded.
    folded = page.locator("details.printed:not([open]) .inside")
    assert folded.count() > 0
    for place in range(folded.count()):
        assert folded.nth(place).evaluate("each => each.checkVisibility()")
    assert not page.locator("details.off-paper").first.is_visible()
    page.context.close()
