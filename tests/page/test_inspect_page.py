"""The page of an inspection: it is what the JSON says, and neither names nor browsers break it."""

from __future__ import annotations

import json
import re

import numpy as np
import pytest
import soundfile
from browser_checks import DESK, PHONE, browser, look_at
from conftest import SAMPLE_AUDIO
from page_checks import Checked, contrast
from pluck_model import PluckModel, recording

from analyzer.errors import printable
from analyzer.inspection.drawings import (
    course_drawing,
    deviations_drawing,
    level_drawing,
    wave_drawing,
)
from analyzer.inspection.files import inspection_as_json
from analyzer.inspection.look import inspect_recording
from analyzer.inspection.page import inspection_as_html

DEMO = SAMPLE_AUDIO / "own_saddles" / "s6_open_1.wav"
HOSTILE = "s6 <script>alert(1)<!--\x1b[31m {{ 7*7 }} &amp; \u202e<svg>.wav"
LARGEST_BYTES = 200_000  # of one pluck's page: the aim that this project sets itself


@pytest.fixture(scope="module")
def demo():
    return inspect_recording(DEMO)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A pluck, noise, two plucks in a file, and one with a name that is out to do harm."""
    place = tmp_path_factory.mktemp("pages")
    rng = np.random.default_rng(8)
    pluck = recording(PluckModel(82.407), rng)
    for name, samples in (
        ("noise.wav", 0.1 * rng.standard_normal(2 * 44100)),
        ("whole.wav", np.concatenate([pluck, pluck])),
        (HOSTILE.replace("/", ""), recording(PluckModel(82.407), rng, snr_db=9)),
    ):
        soundfile.write(place / name, samples, 44100)
    return place


@pytest.fixture(scope="module")
def found(demo, folder):
    """What is to be seen in the demo's recording, and in each of the folder."""
    return [demo, *(inspect_recording(path) for path in sorted(folder.iterdir()))]


def test_numbers_on_the_page_are_those_of_the_json(demo) -> None:
    body = json.loads(inspection_as_json(demo))
    pitch, partials = body["pitch"], body["partials"]
    shown = Checked(inspection_as_html(demo)).data
    values = [None if value == "nan" else float(value) for value, _ in shown]
    expected = [
        pitch["settled_hz"], body["note_cents"], body["promised_cents"],
        body["place"]["start_s"], pitch["glide_cents"], pitch["sustain_drift_cents"],
        pitch["late_slope_cents_per_s"], pitch["stiffness"], len(partials),
        pitch["misfit_cents"], pitch["first_partial_hz"],
        *(each[name] for each in partials for name in ("frequency_hz", "deviation_cents")),
        *(each["value"] for each in body["checks"] if each["value"] is not None),
    ]  # fmt: skip
    assert values == expected
    texts = [text for _, text in shown]
    assert re.match(r"82\.264\d* ± 0\.000\d+ Hz", texts[0])


def test_page_is_well_formed_and_needs_nothing_beside_itself(found) -> None:
    for each in found:
        page = inspection_as_html(each)
        checked = Checked(page)
        assert checked.open == []
        assert not {"link", "img", "script", "iframe", "object"} & set(checked.tags)
        assert not re.search(r"https?:|url\(|@import", page)
        assert "default-src 'none'" in page
        assert not re.search(r"\b(nan|None|inf)\b", checked.text)
        assert " ... " not in page  # what is drawn has not been cut as a long name is
        ids = checked.values("id")
        assert len(ids) == len(set(ids))
        for names in checked.values("aria-labelledby"):
            assert set(names.split()) <= set(ids)
        drawings = [v for tag, key, v in checked.attributes if (tag, key) == ("svg", "role")]
        assert drawings == ["img"] * len(drawings)
        assert checked.tags.count("desc") == len(drawings) >= 1
        assert checked.tags.count("h1") == 1
        assert len(page.encode()) < LARGEST_BYTES


def test_names_are_text_on_the_page(folder) -> None:
    (path,) = (each for each in folder.iterdir() if each.name.startswith("s6"))
    page = inspection_as_html(inspect_recording(path))
    checked = Checked(page)
    assert not {"script"} & set(checked.tags)
    assert "<script>alert(1)<!--\\x1b[31m {{ 7*7 }} &amp; \\u202e<svg>.wav" in checked.text
    assert "\x1b" not in page
    assert "\u202e" not in page
    assert page.count("</style>") == 1


def test_wave_and_marks_lie_where_the_seconds_say(demo) -> None:
    drawing = wave_drawing(demo)
    first, second = drawing.frame.ticks[:2]
    per_s = (second.at - first.at) / (second.value - first.value)
    for x, at_s in (
        (drawing.start_x, demo.place.start_s),
        (drawing.early.from_x, demo.place.early_s[0]),
        (drawing.early.to_x, demo.place.early_s[1]),
        (drawing.settled.from_x, demo.place.settled_s[0]),
    ):
        assert x == pytest.approx(first.at + per_s * (at_s - first.value), abs=0.02)
    low, high = drawing.frame.ticks_high[0], drawing.frame.ticks_high[-1]
    assert low.value < 0 < high.value
    assert high.at < drawing.frame.zero_y < low.at  # upward is positive


def test_sharp_is_above_in_every_drawing(demo) -> None:
    course = course_drawing(demo)
    heights = [float(each.split(",")[1]) for each in course.fit.split()]
    assert heights[0] < course.frame.zero_y - 50  # it starts 4 cents sharp
    assert heights[-1] == pytest.approx(course.frame.zero_y, abs=0.5)
    assert course.dots.count("M") <= sum(len(each.times_s) for each in demo.tracks)
    assert course.dots.count("M") > 0.9 * sum(len(each.times_s) for each in demo.tracks)
    marks = deviations_drawing(demo.tracks).marks
    zero_y = deviations_drawing(demo.tracks).frame.zero_y
    for mark, track in zip(marks, demo.tracks, strict=True):
        assert (mark.y < zero_y) == (track.deviation_cents > 0) or mark.y == zero_y
        assert mark.to_y < mark.y < mark.from_y
    levels = level_drawing(demo)
    assert [each.words for each in levels.plucks] == ["the pluck"]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_colours_are_those_of_the_report_page(demo, scheme) -> None:
    """WCAG 2.2: 1.4.3 asks 4.5 of text, 1.4.11 asks 3 of what is drawn, on what lies under it."""
    page = inspection_as_html(demo)
    style = re.search(r"<style>(.*?)</style>", page, re.DOTALL)[1]
    blocks = re.findall(r":root \{(.*?)\}", style, re.DOTALL)
    colours = dict(re.findall(r"--(\w+): (#[0-9a-f]+)", blocks[("light", "dark").index(scheme)]))
    for ground in ("ground", "raised"):
        assert contrast(colours["faint"], colours[ground]) >= 4.5
        for drawn in ("move", "earlier"):
            assert contrast(colours[drawn], colours[ground]) >= 3
    outside = re.sub(r":root \{.*?\}", "", style, flags=re.DOTALL)
    assert set(re.findall(r"#[0-9a-f]{3,6}\b", outside)) <= {"#000", "#fff"}
    assert not re.search(r'style="|fill="|stroke="', page.split("</style>")[1])


def test_a_browser_takes_the_page(found, tmp_path) -> None:
    with browser() as started:
        for number, each in enumerate(found):
            file = tmp_path / f"{number}.html"
            file.write_text(inspection_as_html(each), encoding="utf-8")
            seen = look_at(started, file, (PHONE, "light"), (DESK, "dark"))
            assert seen.requests == [file.as_uri()]
            assert seen.messages == []
            assert seen.scrolls == []
            assert seen.opened_by_key == seen.parts
            assert seen.violations == []
            assert printable(each.title) in seen.text
