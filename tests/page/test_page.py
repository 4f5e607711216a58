"""The page: what stands on it, that it is what the JSON says, and that names cannot break it."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import date
from itertools import pairwise

import numpy as np
import pytest
from conftest import SAMPLE_AUDIO
from made_reports import (
    SIX_TUNING,
    TWELVE_TUNING,
    instrument_of,
    notes_of,
    own_saddles,
    report_with,
)
from page_checks import Checked, contrast, figures_on_page

from analyzer.analysis import analyze_folder
from analyzer.instrument.model import Instrument, assumed_instrument
from analyzer.measure import Measured
from analyzer.page.bridge_drawing import bridge_drawing
from analyzer.page.card import card_of
from analyzer.page.course_drawing import course_drawings
from analyzer.page.errors_drawing import errors_drawing
from analyzer.page.render import as_html
from analyzer.page.rounding import decimals_for, scientific, with_interval
from analyzer.page.scale import Scale
from analyzer.page.settings import settings_of
from analyzer.page.verdict import verdict_of
from analyzer.pitch.settle import Course
from analyzer.pitch.track import MOST_POINTS, Track
from analyzer.recording.labels import Label
from analyzer.recording.limits import ReadingRules, limits_with
from analyzer.report.build import build_report
from analyzer.report.files import as_json
from analyzer.report.model import RecordingResult

DAY = date(2031, 2, 3)
ERRORS = {6: 9.4, 5: 4.1, 4: -3.2, 3: 12.5, 2: 0.0, 1: -1.1}
LARGEST_BYTES = 1_500_000  # of a six-string's page: the aim that this project sets itself
HOSTILE = "<script>alert(1)</script>\" onload='x' {{ 7*7 }} &amp; \u202e</style></svg>"
BRIDGES = {
    "own": own_saddles(),
    "pairs": "saddles = [[6, 5], [4, 3], [2, 1]]",
    "two screws": 'kind = "two-screw saddles"\nsaddles = [[6, 5], [4, 3], [2, 1]]',
    "posts": 'kind = "two posts"\nstring_spread_mm = 52\npost_positions_mm = [-11, 63]',
}

WITHOUT_SCREW = {
    "filed": 'kind = "fixed"\nsaddle_width_mm = 8.0\nbreak_point_mm = 4.0',
    "loose": 'kind = "floating"',
    "by hand": own_saddles(),
}


@pytest.fixture
def own(tmp_path):
    return report_with(instrument_of(tmp_path, BRIDGES["own"]), ERRORS)


# Figures


@pytest.mark.parametrize(
    ("value", "half_width", "shown"),
    [
        # The three examples of the rule in the Review of Particle Physics (recalled).
        (0.827, 0.119, "+0.83 ± 0.12"),
        (0.827, 0.367, "+0.8 ± 0.4"),
        (-12.04, 0.96, "\u221212.0 ± 1.0"),
        (0.004, 0.5, "0.0 ± 0.5"),
        (1234.0, 36.0, "+1234 ± 36"),  # never rounded beyond the units
        (5.00004, 0.00001, "+5.000 ± 0.001"),  # never finer than three, never shown surer
    ],
)
def test_a_value_is_rounded_to_its_uncertainty(value, half_width, shown) -> None:
    assert with_interval(value, half_width) == shown


def test_what_could_not_be_had_is_no_figure() -> None:
    assert with_interval(None, 0.1) is None
    assert scientific(None, 0.1) is None
    assert scientific(6.4e-5, 0.012e-5) == "(6.400 ± 0.012) × 10⁻⁵"
    assert decimals_for(float("nan")) == 3


def test_scale_is_linear_and_its_marks_are_round() -> None:
    scale = Scale(-1.0, 4.0, 100.0, 200.0)
    assert [scale.at(x) for x in (-1, 0, 4)] == [100, 120, 200]
    assert [(tick.value, tick.at) for tick in scale.ticks(5)] == [
        (-1, 100), (0, 120), (1, 140), (2, 160), (3, 180), (4, 200)]  # fmt: skip
    assert [tick.value for tick in Scale(0.0, 0.9, 0, 1).ticks(5)] == pytest.approx(
        [0, 0.2, 0.4, 0.6, 0.8]
    )


# The page against the JSON


def test_numbers_on_the_page_are_those_of_the_json() -> None:
    report = analyze_folder(SAMPLE_AUDIO / "own_saddles")
    body = json.loads(as_json(report))
    expected = figures_on_page(body)
    assert len(expected) == 4 * len(body["strings"])
    shown = Checked(as_html(report, DAY)).data
    assert [float(value) for value, _ in shown] == expected
    for place, (value, text) in enumerate(shown):
        number, _, half = text.replace("\u2212", "-").partition(" ± ")
        decimals = len(number.partition(".")[2])
        size = abs(float(value)) if place % 4 == 2 else float(value)  # a move's way is in words
        assert abs(float(number) - size) <= 0.5 * 10**-decimals + 1e-9
        assert not half or len(half.partition(".")[2]) == decimals


def test_the_courses_are_kept_small() -> None:
    report = analyze_folder(SAMPLE_AUDIO / "own_saddles")
    for each in report.recordings:
        assert each.course is not None
        times_s, cents = each.course.times_s, each.course.cents
        assert len(times_s) == len(cents) == 32
        assert list(times_s) == sorted(times_s)
        assert 0.03 < times_s[0] < 0.15
        assert cents[0] == pytest.approx(each.glide_cents, abs=1e-3)
        assert abs(cents[-1]) < 0.2 < cents[0]  # the demo glides down to its settled pitch
        assert each.track is not None
        for at_s, seen in zip(each.track.times_s, each.track.cents, strict=True):
            assert seen is None or abs(seen - np.interp(at_s, times_s, cents)) < 0.4


def test_before_stands_beside_after(record, before) -> None:
    report = analyze_folder(record("after", {2: 0.3, 1: -0.4}), previous=before, jobs=1)
    earlier = json.loads(before.read_text(encoding="utf-8"))
    page = Checked(as_html(report, DAY))
    drawing = errors_drawing(report)
    assert drawing is not None
    assert drawing.has_before
    shown = [float(value) for value, _ in page.data]
    for row, each in zip(drawing.rows, earlier["strings"], strict=True):
        assert each["error_cents"] in shown
        # Before was 8 sharp and 5 flat; now both are near nought.
        assert (row.before.x > drawing.zero_x) == (each["error_cents"] > 0)
        assert abs(row.now.x - drawing.zero_x) < abs(row.before.x - drawing.zero_x) / 4
    assert "before.json" in page.text


# What is drawn


def test_the_bridge_is_drawn_to_one_scale(own) -> None:
    drawing = bridge_drawing(own)
    moves = {string: move for each in own.saddles for string, move in each.moves_mm.items()}
    (first, second) = drawing.ticks[:2]
    per_mm = (second.at - first.at) / (second.value - first.value)
    for line in drawing.strings:
        assert line.then_x - line.now_x == pytest.approx(moves[line.string] * per_mm, abs=0.03)
    sharp, flat = drawing.strings[0], drawing.strings[2]
    assert sharp.arrow == 1  # sharp: away from the nut, which is at the left
    assert flat.arrow == -1
    assert all(label.in_row for label in drawing.turns)
    directions = {label.y: label.direction for label in drawing.turns}
    # The head at the tail: clockwise draws the saddle toward it (common practice of the trade).
    assert directions[sharp.y] == "clockwise"
    assert directions[flat.y] == "counterclockwise"


def test_every_screw_of_a_slanting_saddle_has_its_arrow_at_its_place(tmp_path) -> None:
    """The screws lie at the outer strings of each saddle; their heads at the tail (as the file)."""
    report = report_with(instrument_of(tmp_path, BRIDGES["two screws"]), ERRORS)
    drawing = bridge_drawing(report)
    lines = {line.string: line for line in drawing.strings}
    found = {label.y: (label.turns, label.direction) for label in drawing.turns}
    turned = [each for each in report.adjusters if each.turns]
    assert len(found) == len(turned) > 3
    for each in turned:
        bass = each.name.startswith("bass")
        string = max(each.strings) if bass else min(each.strings)
        assert found[lines[string].y] == (f"{each.turns:g} turn{'s' * (each.turns > 1)}",
                                          each.direction)  # fmt: skip
        # Clockwise draws toward the head (common practice): here away from the nut.
        assert (each.direction == "clockwise") == (lines[string].then_x > lines[string].now_x)
    for shape in drawing.saddles:
        assert [head_x for _, head_x, _ in shape.screws] == [drawing.right] * 2
    text = Checked(as_html(report, DAY)).text
    for each in turned:
        assert f"{each.name}: {each.turns:g} turn" in text


def test_the_screws_of_posts_lie_beyond_the_strings(tmp_path) -> None:
    """Posts at -11 and 63 mm, strings from 0 to 52: 11 / 10.4 of a row outside either."""
    report = report_with(instrument_of(tmp_path, BRIDGES["posts"]), ERRORS)
    drawing = bridge_drawing(report)
    ys = [line.y for line in drawing.strings]
    row = (ys[-1] - ys[0]) / 5
    (shape,) = drawing.saddles
    above, below = (y for _, _, y in shape.screws)
    assert (ys[0] - above) / row == pytest.approx(11 / 10.4, abs=0.01)
    assert (below - ys[-1]) / row == pytest.approx(11 / 10.4, abs=0.01)
    assert min(above, *(label.y for label in drawing.turns)) > 10  # inside the drawing
    assert below < drawing.height - 32  # above the axis
    corners = [float(each.split(",")[1]) for each in shape.then.split()]
    assert min(corners) < above
    assert below < max(corners)
    bass, treble = report.adjusters
    labels = {label.y: label.turns for label in drawing.turns}
    assert labels[above].startswith(f"{bass.turns:g} turn")
    assert labels[below].startswith(f"{treble.turns:g} turn")
    # The piece is straight: so are its screws, strings and posts in the drawing.
    (x0, _, y0), (x1, _, y1) = shape.screws
    for line in drawing.strings:
        on_line = x0 + (x1 - x0) * (line.y - y0) / (y1 - y0)
        assert line.then_x == pytest.approx(on_line, abs=0.1)


def edge_at(points: str, y: float, way: int) -> float:
    """x of the outline's edge at a height, from which one comes that goes this way."""
    corners = [tuple(map(float, each.split(","))) for each in points.split()]
    crossed = [
        x0 + (x1 - x0) * (y - y0) / (y1 - y0)
        for (x0, y0), (x1, y1) in zip(corners, [*corners[1:], corners[0]], strict=True)
        if min(y0, y1) <= y <= max(y0, y1) and y0 != y1
    ]
    return min(crossed) if way > 0 else max(crossed)


@pytest.mark.parametrize(("kind", "count"), [("posts", 6), ("two screws", 2), ("pairs", 2)])
def test_an_arrow_ends_before_the_piece_that_lies_in_its_way(tmp_path, kind, count) -> None:
    """Above the first string of a piece it is past it; a move of less than an arrow has none."""
    drawing = bridge_drawing(report_with(instrument_of(tmp_path, BRIDGES[kind]), ERRORS))
    shapes = [shape for shape in drawing.saddles if shape.then]
    drawn = 0
    for arrow in (each for shape in drawing.saddles for each in shape.arrows):
        for shape in shapes:
            ys = [float(each.split(",")[1]) for each in shape.then.split()]
            if not min(ys) < arrow.y < max(ys):
                continue
            edge_x = edge_at(shape.then, arrow.y, arrow.way)
            assert 0 < arrow.way * (edge_x - arrow.to_x) < 3
            drawn += 1
    assert drawn == count


def test_an_arrow_ends_at_a_saddle_of_its_own(own) -> None:
    drawing = bridge_drawing(own)
    moved = [line for line in drawing.strings if line.arrow]
    arrows = [each for shape in drawing.saddles for each in shape.arrows]
    ends = {(each.to_x, each.y) for each in arrows}
    assert ends == {(line.then_x, line.y - 14) for line in moved}
    assert len(arrows) == len(moved)
    assert len(moved) == 5  # one is in tune


@pytest.mark.parametrize("kind", BRIDGES)
def test_the_key_says_what_shared_saddles_cannot(tmp_path, kind) -> None:
    text = Checked(as_html(report_with(instrument_of(tmp_path, BRIDGES[kind]), ERRORS), DAY)).text
    shared = kind != "own"
    assert ("what strings share comes as near to all of theirs as it can" in text) == shared
    assert ("whole steps come near it" in text) != shared


def test_a_screw_for_two_strings_lies_between_them(tmp_path) -> None:
    drawing = bridge_drawing(report_with(instrument_of(tmp_path, BRIDGES["pairs"]), ERRORS))
    ys = {line.string: line.y for line in drawing.strings}
    for label in drawing.turns:
        assert not label.in_row
        assert any(label.y == (ys[n] + ys[n - 1]) / 2 for n in (6, 4, 2))


def test_the_best_place_stands_with_its_interval(own) -> None:
    drawing = bridge_drawing(own)
    (first, second) = drawing.ticks[:2]
    per_mm = (second.at - first.at) / (second.value - first.value)
    for line, each in zip(drawing.strings, own.strings, strict=True):
        best, half = each.saddle_move_mm, each.saddle_move_uncertainty_mm
        assert line.ideal.x - line.now_x == pytest.approx(best * per_mm, abs=0.03)
        assert line.ideal.to_x - line.ideal.x == pytest.approx(half * per_mm, abs=0.03)
        assert line.ideal.x - line.ideal.from_x == pytest.approx(half * per_mm, abs=0.03)
    unsure = replace(own.strings[0], saddle_move_uncertainty_mm=40.0)
    wide = bridge_drawing(replace(own, strings=(unsure, *own.strings[1:]))).strings[0].ideal
    assert (wide.from_x, wide.to_x) == (drawing.left, drawing.right)  # open, and not beyond it
    assert wide.open_from
    assert wide.open_to


def test_the_bridge_lies_where_the_file_says(tmp_path) -> None:
    bridge = (
        'kind = "two posts"\nstring_positions_mm = [0, 10, 20, 30, 40, 52]\n'
        "post_positions_mm = [-11, 63]\nsetback_mm = [3.5, 3.0, 2.5, 2.4, 2.0, 1.5]"
    )
    drawing = bridge_drawing(report_with(instrument_of(tmp_path, bridge), ERRORS))
    heights = [line.y for line in drawing.strings]
    gaps = [after - first for first, after in pairwise(heights)]
    assert gaps[-1] / gaps[0] == pytest.approx(1.2, abs=0.01)
    assert drawing.strings[0].now_x > drawing.strings[-1].now_x  # the larger setback lies further
    assert drawing.axis == "mm beyond the scale length"


def test_every_check_has_a_box_and_its_reading(own) -> None:
    card = card_of(own)
    assert card.every == 1
    boxes = [box for stage in card.stages for box in stage.boxes]
    checks = [step for step in own.steps if not step.check_may_be_skipped]
    assert len(card.stages) < len(checks) < len(own.steps)
    for box, step in zip(boxes, checks, strict=True):
        (cents,) = step.error_cents.values()
        assert float(box.split(": ")[1].replace("\u2212", "-")) == pytest.approx(cents, abs=0.051)
    for stage in card.stages:
        name = stage.works[0].name
        turns = sum(step.turns for step in own.steps if step.adjuster == name)
        assert float(stage.boxes[-1].split(":")[0]) == turns


def test_steps_that_are_too_many_for_a_sheet_share_boxes(tmp_path) -> None:
    instrument = instrument_of(tmp_path, own_saddles(TWELVE_TUNING), TWELVE_TUNING)
    report = report_with(instrument, {string: 18.0 - string for string in range(12, 0, -1)})
    card = card_of(report)
    assert card.every > 1
    for stage in card.stages:
        own_steps = [step for step in report.steps if step.adjuster == stage.works[0].name]
        checks = sum(not step.check_may_be_skipped for step in own_steps)
        first = int(checks < len(own_steps))  # what the others rest on stands by itself
        assert len(stage.boxes) == first - (-(checks - first) // card.every)
        assert not first or float(stage.boxes[0].split(":")[0]) == own_steps[0].turns
        assert float(stage.boxes[-1].split(":")[0]) == sum(step.turns for step in own_steps)


FALLS = Course((0.1, 0.2, 0.3, 1.0, 2.0, 3.0), (6.0, 4.0, 2.0, 0.05, 0.0, 0.0))
SEEN = Track((0.1, 0.3, 1.0, 1.5, 2.0, 2.5, 3.0), (6.2, 2.1, None, 0.1, -0.1, 0.0, 0.1))


def take(fret="open", number=1, course=FALLS, track=SEEN):
    return RecordingResult("s6.wav", 6, fret, number, "used", settled_hz=82.4,
                           settled_uncertainty_cents=0.2, course=course, track=track)  # fmt: skip


def points(text):
    return [tuple(map(float, each.split(","))) for each in text.split()]


def test_a_note_that_falls_is_drawn_falling_and_beside_its_fit() -> None:
    """Down is down: in SVG y grows downward."""
    (drawing,) = course_drawings([take()])
    (drawn,) = drawing.takes
    fit = points(drawn.fit)
    assert [y for _, y in fit] == sorted(y for _, y in fit)
    assert fit[0][1] < fit[-1][1] == pytest.approx(drawing.settled_y, abs=0.06)
    before, after = (points(each) for each in drawn.measured)  # a gap between
    assert len(before) == 2
    assert len(after) == 4
    assert before[0][1] < fit[0][1]  # 6.2 cents lies above 6.0
    assert before[0][0] == fit[0][0]
    (first, second) = drawing.ticks_cents[:2]
    per_cent = (second.at - first.at) / (second.value - first.value)
    assert fit[0][1] - drawing.settled_y == pytest.approx(6.0 * per_cent, abs=0.1)


def test_the_parts_of_a_note_stand_where_they_are() -> None:
    (drawing,) = course_drawings([take()])
    (first, second) = drawing.ticks_s[:2]
    per_s = (second.at - first.at) / (second.value - first.value)
    zero = first.at - first.value * per_s
    assert drawing.early == pytest.approx((zero + 0.1 * per_s, zero + 0.3 * per_s), abs=0.02)
    # The fit is within its interval of 0.2 cents from 1.0 s on.
    assert drawing.settled == pytest.approx((zero + 1.0 * per_s, drawing.right), abs=0.02)
    assert "settled from 1.0 s on" in drawing.description


def test_a_note_that_runs_away_is_not_called_settled(own) -> None:
    rises = Course(FALLS.times_s, (0.0, 0.0, 0.0, 0.0, 1.0, 4.0))
    (drawing,) = course_drawings([take(), take(number=2, course=rises)])
    assert drawing.settled is None
    assert "not settled at its end" in drawing.description
    used = [replace(each, course=rises) for each in own.recordings]
    page = Checked(as_html(replace(own, recordings=tuple(used)), DAY))
    assert page.text.count("not settled at its end") >= 12


def test_what_a_fading_note_does_does_not_flatten_the_drawing() -> None:
    times_s = tuple(0.05 * each for each in range(1, 61))
    wild = Track(times_s, (*(0.0,) * 58, 80.0, -90.0))
    (drawing,) = course_drawings([take(track=wild)])
    assert max(tick.value for tick in drawing.ticks_cents) <= 10
    assert min(tick.value for tick in drawing.ticks_cents) >= -10


def test_both_notes_have_a_drawing_to_one_scale() -> None:
    small = Course(FALLS.times_s, tuple(each / 4 for each in FALLS.cents))
    high = take("f12", course=small, track=None)
    other = take("f5")
    drawings = course_drawings([high, take(), other])
    assert [each.name for each in drawings] == ["open", "12th fret"]
    assert drawings[0].ticks_cents == drawings[1].ticks_cents
    assert drawings[1].takes[0].measured == ()
    assert course_drawings([other]) == ()


def test_what_was_asked_of_the_reading_stands_among_the_settings(record) -> None:
    folder = record("after", {2: 0.3, 1: -0.4})
    limits = limits_with(["length_s=900", "files=50"])
    asked = analyze_folder(folder, jobs=1, rules=ReadingRules(limits, untrusted=True))
    shown = dict(settings_of(asked))
    assert shown["Limit length_s"] == "900"
    assert shown["Limit files"] == "50"
    assert shown["Processes, at most"] == "1"
    assert shown["Recordings"].startswith("untrusted")
    usual = dict(settings_of(analyze_folder(folder)))
    assert set(shown) - set(usual) == {
        "Limit length_s", "Limit files", "Processes, at most", "Recordings"}  # fmt: skip


def test_verdicts(own, tmp_path) -> None:
    moved = [each for each in own.adjusters if each.move_mm]
    assert verdict_of(own).startswith(f"The saddle is to be moved for {len(moved)} of 6 strings")
    assert re.search(r"string 3, \+12\.50? ± 0\.\d+ cents", verdict_of(own))
    assert verdict_of(own).endswith(" cents, sharp.")
    good = report_with(instrument_of(tmp_path, BRIDGES["own"]), dict.fromkeys(ERRORS, 0.01))
    assert verdict_of(good).startswith("No saddle needs to be moved")
    assert "in tune as far as can be told" in verdict_of(good)
    bare = report_with(assumed_instrument(), {6: -4.0})
    assert "cents, flat; 5 strings without a result." in verdict_of(bare)
    assert "saddle" not in verdict_of(bare)
    nothing = build_report(assumed_instrument(), 440.0, [], [])
    assert verdict_of(nothing).startswith("No string has a result")
    for report in (own, good, bare, nothing):
        assert verdict_of(report).count(". ") == 0  # one sentence


# The page as such


@pytest.mark.parametrize("bridge", [*BRIDGES, *WITHOUT_SCREW])
def test_page_is_well_formed_and_needs_nothing_beside_itself(tmp_path, bridge) -> None:
    if bridge in BRIDGES:
        instrument = instrument_of(tmp_path, BRIDGES[bridge])
    else:
        instrument = instrument_of(tmp_path, WITHOUT_SCREW[bridge], screw="")
    page = as_html(report_with(instrument, ERRORS), DAY)
    checked = Checked(page)
    assert checked.open == []
    assert not {"link", "img", "script", "iframe", "object"} & set(checked.tags)
    assert not re.search(r"https?:|url\(|@import", page)
    assert "default-src 'none'" in page
    assert not any(value in {None, "None", "nan"} for value in checked.values("x"))
    assert not re.search(r"\b(nan|None|inf)\b", checked.text)
    ids = checked.values("id")
    assert len(ids) == len(set(ids))
    for names in checked.values("aria-labelledby"):
        assert set(names.split()) <= set(ids)
    moves_by_hand = bridge in WITHOUT_SCREW
    assert ("clockwise" in checked.text) != moves_by_hand


def test_structure_for_a_screen_reader(own) -> None:
    checked = Checked(as_html(own, DAY))
    assert checked.values("lang") == ["en"]
    for tag in ("main", "header", "h1", "title"):
        assert tag in checked.tags
    assert checked.tags.count("h1") == 1
    drawings = [value for tag, key, value in checked.attributes if (tag, key) == ("svg", "role")]
    assert drawings == ["img"] * len(drawings)
    notes = 2 * 6
    assert checked.tags.count("desc") == len(drawings) == 2 + notes  # the bridge, the errors
    assert checked.tags.count("details") == checked.tags.count("summary") == 6
    assert checked.tags.count("input") == checked.tags.count("label")
    assert "string 4: \u22121.25 mm toward the nut" in checked.text
    assert "2031-02-03" in checked.text
    assert "local rules come first" in checked.text


def _named(name: str) -> str:
    """A page with this name wherever a name can stand."""
    others = (
        Measured(f"{name}.wav", Label(6, "open", 3), None, f"is no sound {name}."),
        Measured(f"practice {name}.wav", None, None, "says neither string nor fret."),
    )
    report = report_with(Instrument(name, SIX_TUNING), ERRORS, *others, warnings=(name,))
    return as_html(report, DAY)


def test_names_are_text_on_the_page() -> None:
    page = _named(HOSTILE)
    checked = Checked(page)
    assert checked.open == []
    assert checked.tags == Checked(_named("x")).tags
    assert not [key for _, key, _ in checked.attributes if key.startswith("on")]
    assert page.count("</style>") == 1
    assert "\u202e" not in page
    assert "\\u202e" in page
    assert checked.text.count("<script>alert(1)</script>") >= 4
    assert "{{ 7*7 }} &amp; " in checked.text


def test_left_out_recordings_stand_with_their_string_and_reason(tmp_path) -> None:
    lost = Measured("s6_open_3.wav", Label(6, "open", 3), None, "is silent. Record it again.")
    page = as_html(report_with(instrument_of(tmp_path, BRIDGES["own"]), ERRORS, lost), DAY)
    part = page[page.index("<h3>String 6") : page.index("<h3>String 5")]
    assert "4 recordings, 1 left out" in part
    assert "<strong>s6_open_3.wav</strong>: is silent. Record it again." in part


def test_a_page_of_36_recordings_is_small(tmp_path) -> None:
    """With a full course and a full track each."""
    instrument = instrument_of(tmp_path, BRIDGES["own"])
    long = Course(tuple(each / 12.3 for each in range(32)), (1.2345,) * 32)
    track = Track(tuple(each / 37.1 for each in range(MOST_POINTS)), (1.2345,) * MOST_POINTS)
    notes = [
        replace(each, pitch=replace(each.pitch, course=long, track=track))
        for each in notes_of(instrument, ERRORS, takes=3)
    ]
    report = build_report(instrument, 440.0, notes, [])
    assert len(report.recordings) == 36
    assert len(as_html(report, DAY).encode()) < LARGEST_BYTES


# Colours


def palettes(page: str) -> dict[str, dict[str, str]]:
    """The custom properties of light, dark and print."""
    blocks = re.findall(r":root \{(.*?)\}", page, re.DOTALL)
    found = [dict(re.findall(r"--(\w+): (#[0-9a-f]+)", block)) for block in blocks]
    return dict(zip(("light", "dark", "print"), found, strict=True))


@pytest.mark.parametrize("scheme", ["light", "dark", "print"])
def test_contrast_is_that_of_wcag(own, scheme) -> None:
    """WCAG 2.2: 1.4.3 asks 4.5 of text, 1.4.11 asks 3 of what is drawn."""
    colours = palettes(as_html(own, DAY))[scheme]
    assert set(colours) == {"ground", "raised", "ink", "faint", "move", "earlier", "rule"}
    for ground in ("ground", "raised"):
        for text in ("ink", "faint"):
            assert contrast(colours[text], colours[ground]) >= 4.5, (text, ground)
        for drawn in ("move", "earlier", "rule"):
            assert contrast(colours[drawn], colours[ground]) >= 3, (drawn, ground)


def test_no_colour_stands_outside_the_palette(own) -> None:
    """So that the test above sees them all; print may say black and white."""
    style = re.search(r"<style>(.*?)</style>", as_html(own, DAY), re.DOTALL)[1]
    outside = re.sub(r":root \{.*?\}", "", style, flags=re.DOTALL)
    assert set(re.findall(r"#[0-9a-f]{3,6}\b", outside)) <= {"#000", "#fff"}
    body = as_html(own, DAY).split("</style>")[1]
    assert not re.search(r'style="|fill="|stroke="', body)


def test_contrast_formula() -> None:
    """WCAG's own ends: black on white is 21, a colour on itself 1; #767676 on white 4.54."""
    assert contrast("#000", "#fff") == pytest.approx(21)
    assert contrast("#123456", "#123456") == 1
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


# The command


def test_command_writes_the_page(called, tmp_path) -> None:
    place = tmp_path / "page.html"
    done = called("analyze", SAMPLE_AUDIO / "paired_saddles", "--html", place, "--quiet")
    assert (done.code, done.out, done.err) == (0, "", "")
    page = place.read_text(encoding="utf-8")
    assert page.startswith("<!DOCTYPE html>")
    assert "Demo Two, a saddle for each pair" in page
    both = called("analyze", SAMPLE_AUDIO / "paired_saddles", "--html", place, "--json", place)
    assert both.code == 2
    assert "goes there too" in both.err
