"""The page of a lot: that it says what the frames hold, and that no name can break it."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from dataclasses import replace
from datetime import date
from html import unescape

import numpy as np
import pytest
from large_lots import BOTH, LIMIT_CENTS, SPECIFICATION, STRINGS, Process, lot_of
from page_checks import Checked

from analyzer.lot.judgement.specification import Limits, Requirement
from analyzer.lot.page.chart_drawing import chart_drawing
from analyzer.lot.page.charts import charts_of
from analyzer.lot.page.distribution_drawing import distribution_drawing
from analyzer.lot.page.render import as_html
from analyzer.lot.page.tables import Cell, share
from analyzer.lot.records import Fault
from analyzer.lot.statistics.charts import individuals_charts
from analyzer.lot.statistics.figure import Figure
from analyzer.lot.statistics.run_rules import violations
from analyzer.lot.summing.summary_model import MoreTakesOf

DAY = date(2031, 2, 20)
LARGEST_BYTES = 4_000_000  # of 5,000 six-strings: the aim that this project sets itself
MOST_LISTED = 250  # rows without a script
HOSTILE = "<script>alert(1)</script>\" onload='x' {{ 7*7 }} &amp; \u202e\t\n</pre></style></svg>"


def page_of(made, pages=None) -> str:
    return as_html(made.summary, made.sessions, made.values, pages, DAY)


def lines_of(html: str) -> list[dict[str, str]]:
    """The text of all instruments, read as anyone would: tabs, and a first line of names."""
    text = unescape(re.search(r"<pre[^>]*>(.*?)</pre>", html, re.DOTALL)[1])
    head, *rows = (line.split("\t") for line in text.split("\n"))
    assert all(len(row) == len(head) for row in rows)
    numbered = [f"{place} {name}" for place, name in enumerate(head)]
    return [dict(zip(numbered, row, strict=True)) for row in rows]


def field(row: dict[str, str], name: str) -> str:
    return next(value for key, value in row.items() if key.partition(" ")[2] == name)


@pytest.fixture(scope="module")
def made():
    """A lot that drifts through its upper limit, with values that are missing."""
    process = Process(lambda place: 0.3 + 4 * place / 300, 1.3, missing={5: 4, 9: 1})
    return lot_of(300, process, BOTH, repeats=2)


@pytest.fixture(scope="module")
def html(made):
    return page_of(made)


# What it says, against the frames


def test_counts_and_means_are_those_of_the_frames(made, html) -> None:
    page = Checked(html)
    latest = made.values[made.values["latest"]]
    shown = [float(value) for value, _ in page.data]
    for _, of in latest.groupby(["characteristic", "string"]):
        verdicts = of["verdict"].value_counts()
        conform, failed = verdicts.get("conform", 0), verdicts.get("not conform", 0)
        expected = [conform, failed, verdicts.get("not decided", 0), conform / (conform + failed)]
        assert contains(shown, expected)
        mean, sd = of["value_cents"].mean(), of["value_cents"].std()
        assert contains(shown, [mean, sd])
    instruments = made.sessions[made.sessions["latest"]]["verdict"].value_counts()
    assert f"Conform {instruments['conform']} " in page.text
    assert f"Do not conform {instruments['not conform']} " in page.text


def contains(numbers: list[float], run: list[float]) -> bool:
    """Whether ``run`` stands among ``numbers``, one after the other."""
    return any(
        np.allclose(numbers[at : at + len(run)], run, rtol=1e-9, atol=1e-12)
        for at in range(len(numbers) - len(run) + 1)
    )


def test_shown_figures_are_their_values_rounded(html) -> None:
    """To one in the last place shown; a share is shown in per cent."""
    checked = 0
    for value, text in Checked(html).data:
        plain = text.replace("\u2212", "-").replace(",", "")
        if plain.startswith(("less than", "more than")):
            continue
        number, unit = re.match(r"([-+]?\d+(?:\.\d+)?(?:e[-+]\d+)?)( %)?", plain).groups()
        of = float(value) * (100 if unit else 1)
        digits, _, power = number.partition("e")
        last = 10.0 ** (int(power or 0) - len(digits.partition(".")[2]))
        assert abs(float(number) - of) <= last * (1 + 1e-6)
        checked += 1
    assert checked > 300


def test_every_instrument_stands_in_the_text_once(made, html) -> None:
    rows = lines_of(html)
    latest = made.sessions[made.sessions["latest"]].set_index("serial")
    assert sorted(field(row, "serial number") for row in rows) == sorted(latest.index)
    sessions = made.sessions["serial"].value_counts()
    for row in rows:
        serial = field(row, "serial number")
        of = latest.loc[serial]
        assert field(row, "verdict") == of["verdict"]
        assert field(row, "station") == of["station"]
        assert field(row, "recorded at") == str(of["recorded_at"])
        assert field(row, "reason") == of["reason"]
        assert int(field(row, "sessions")) == sessions[serial]
    # The first ten were measured again, twice by each of three operators.
    assert max(sessions) == 7


def test_values_in_the_text_are_those_of_the_frame(made, html) -> None:
    rows = {field(row, "serial number"): row for row in lines_of(html)}
    names = {
        "error_cents": "12th-fret error",
        "open_drift_cents": "drift of the open note",
        "fretted_drift_cents": "drift of the 12th-fret note",
    }
    for each in made.values[made.values["latest"]].itertuples():
        row = rows[each.serial]
        head = f"string {each.string}, {names[each.characteristic]}, cents"
        place = next(at for at, key in enumerate(row) if key.partition(" ")[2] == head)
        cents, uncertainty, verdict = list(row.values())[place : place + 3]
        assert (verdict or "conform") == each.verdict
        if np.isnan(each.value_cents):
            assert cents == uncertainty == ""
        else:
            assert float(cents) == pytest.approx(each.value_cents, abs=0.05)
            assert float(uncertainty) == 0.4


def test_what_needs_a_look_comes_first_and_the_worst_is_named(made, html) -> None:
    rows = lines_of(html)
    rank = {"not conform": 0, "not decided": 1, "conform": 2}
    ranks = [rank[field(row, "verdict")] for row in rows]
    assert ranks == sorted(ranks)
    assert set(ranks) == {0, 1, 2}
    for each in set(ranks):  # and within a verdict the furthest off
        ways = [
            float(field(row, "% of the way from target to limit"))
            for row, of in zip(rows, ranks, strict=True)
            if of == each
        ]
        assert ways == sorted(ways, reverse=True)
        assert len(set(ways)) > 1
    values = made.values[made.values["latest"]].dropna(subset="value_cents")
    for row in rows[::7]:
        own = values[values["serial"] == field(row, "serial number")]
        ways = {}
        for each in own.itertuples():
            off = each.value_cents - each.target_cents
            limit = each.upper_cents if off > 0 else each.lower_cents
            ways[each.characteristic, each.string] = off / (limit - each.target_cents)
        (_, string), way = max(ways.items(), key=lambda pair: pair[1])
        assert field(row, "worst value").startswith(f"string {string}, ")
        share_text = field(row, "% of the way from target to limit")
        assert float(share_text) == pytest.approx(100 * way, abs=0.5)


def test_one_limit_leaves_the_other_side_free() -> None:
    """A value far below is no way to a limit that is above."""
    above = replace(SPECIFICATION, error=Requirement(Limits(-99.0, 5.0)))
    made = lot_of(3, Process(lambda place: -20.0 + 0 * place, 0.1), above)
    values = made.values.assign(lower_cents=np.nan)
    html = as_html(replace(made, values=values).summary, made.sessions, values, None, DAY)
    assert [field(row, "% of the way from target to limit") for row in lines_of(html)] == ["0"] * 3


def test_signals_faults_warnings_and_takes_are_said(made) -> None:
    faults = tuple(Fault(f"lot/{n}", "holds no recording.") for n in range(230))
    html = page_of(replace(made, faults=faults, warnings=("A clock runs backwards.",)))
    text = Checked(html).text
    assert "lot/0: holds no recording." in text
    assert "lot/199: holds no recording." in text
    assert "And 30 more, which the JSON lists." in text
    assert "A clock runs backwards." in text
    assert "A trend is sure at Line 1, Line 2." in text
    summary = made.summary
    for of in summary.control.charts[0].signals[:6]:
        assert of.in_words() in text
    more = summary.more_takes
    assert f"{more.recordings:,} more recordings would settle" in text
    assert isinstance(more.of[0], MoreTakesOf)
    assert f"{more.of[0].serial} {more.of[0].station} {more.of[0].recordings}" in text


def test_methods_are_named(html) -> None:
    text = Checked(html).text
    for name in (
        "Cpk, within subgroups, R-bar/d2",
        "Ppk, overall s (n - 1)",
        "quantile form (ISO 22514-2)",
        "exact binomial (Clopper and Pearson)",
        "crossed ANOVA",
        "average and range",
        "X-bar chart",
        "8 points in a row on one side of the centre",
        "Student's t",
    ):
        assert name in text


@pytest.mark.parametrize(
    ("value", "lower", "upper", "text"),
    [
        (0.949, 0.918, 0.971, "94.9 % (91.8 to 97.1)"),
        (0.9999, 0.96, 1.0, "99.9 % (96.0 to 100)"),  # not all
        (0.0001, 0.0, 0.04, "0.1 % (0 to 4.0)"),  # not nothing
        (1.0, 0.9963, 1.0, "100 % (99.63 to 100)"),
    ],
)
def test_shares_are_as_fine_as_known_and_never_all_or_nothing(value, lower, upper, text) -> None:
    assert share(Figure("m", value, lower, upper)) == Cell(text, value)


# What is drawn


def test_the_distribution_is_drawn_to_scale() -> None:
    made = lot_of(400, Process(lambda place: 1.0 + 0 * place, 1.0))
    judged = made.summary.judged
    values = {string: of["value_cents"].to_numpy() for string, of in made.values.groupby("string")}
    drawing = distribution_drawing(judged, values)
    first, second = drawing.ticks[:2]
    per_cent = (second.at - first.at) / (second.value - first.value)

    def x_of(cents: float) -> float:
        return first.at + (cents - first.value) * per_cent

    bar = drawing.bar_cents
    counts = [np.unique(np.floor(each / bar), return_counts=True)[1] for each in values.values()]
    most = max(each.max() for each in counts)
    for strip, string in zip(drawing.strips, STRINGS, strict=True):
        assert strip.string == string
        assert strip.limits == pytest.approx([x_of(-LIMIT_CENTS), x_of(LIMIT_CENTS)], abs=0.03)
        assert strip.limits[0] < strip.acceptance[0] < strip.acceptance[1] < strip.limits[1]
        assert strip.target == pytest.approx(x_of(0.0), abs=0.03)
        assert strip.mean == pytest.approx(x_of(values[string].mean()), abs=0.03)
        bars = [
            list(map(float, re.findall(r"[\d.]+", each))) for each in strip.bars.split("z")[:-1]
        ]
        for left, y, top, right, _ in bars:
            # An end is on the grid of bars unless the drawing ends there.
            cut = left == drawing.left
            end = round(((right if cut else left) - first.at) / per_cent / bar + first.value / bar)
            place = end - 1 if cut else end
            count = np.sum(np.floor(values[string] / bar) == place)
            assert count > 0
            assert y - top == pytest.approx(max(1.0, 32.0 * count / most), abs=0.06)


def test_values_beyond_the_drawing_are_counted() -> None:
    made = lot_of(600)
    values = {string: of["value_cents"].to_numpy() for string, of in made.values.groupby("string")}
    values[6] = np.append(values[6], [60.0])
    strip = distribution_drawing(made.summary.judged, values).strips[0]
    assert (strip.below, strip.above) == (0, 1)


def individuals(values):
    pair = individuals_charts(values, range(len(values)))
    found = (violations(pair.location), violations(pair.scatter))
    labels = {str(number): number + 1 for number in range(len(values))}
    return pair, chart_drawing(pair, found, labels)


def test_signals_are_marked_by_form_at_their_points() -> None:
    values = np.tile([-1.0, 1.0, 0.5, -0.5], 6)
    values[10] = 9.0  # one point beyond, and its two moving ranges
    pair, drawing = individuals(values)
    location, scatter = drawing.panels
    points = list(map(tuple, np.array(re.findall(r"([\d.]+) ([\d.]+)", location.line), float)))
    assert len(points) == len(values)
    tick, other = location.ticks[0], location.ticks[-1]
    per_cent = (other.at - tick.at) / (other.value - tick.value)
    for (x, y), value in zip(points, values, strict=True):
        assert y == pytest.approx(tick.at + (value - tick.value) * per_cent, abs=0.03)
        assert drawing.left < x < drawing.right
    # A mark stands on its point to half a unit.
    assert np.allclose(marks(location.beyond), [points[10]], atol=0.51)
    assert location.patterns == ""
    assert len(marks(scatter.beyond)) == 2
    assert [each.number for each in (*location.numbers, *scatter.numbers)] == [1, 2, 3]
    assert pair.scatter.labels[0] == "1"  # the first moving range stands at the second value


def test_a_run_is_marked_with_another_form() -> None:
    values = np.concatenate([np.tile([-1.0, 1.0], 10), np.full(9, 0.7)])
    _, drawing = individuals(values)
    location = drawing.panels[0]
    assert len(marks(location.patterns)) >= 8
    assert location.beyond == ""


def marks(path: str) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in re.findall(r"M([\d.]+) ([\d.]+)m", path)]


def test_of_many_points_none_is_left_out() -> None:
    rng = np.random.default_rng(3)
    values = rng.normal(0, 1, 5000)
    values[1234] = 12.0
    _, drawing = individuals(values)
    location = drawing.panels[0]
    assert location.line == location.dots == ""
    strokes = np.array(re.findall(r"M(\d+) ([\d.]+)V([\d.]+)", location.strokes), float)
    tick, other = location.ticks[0], location.ticks[-1]
    per_cent = (other.at - tick.at) / (other.value - tick.value)
    xs = drawing.left + (np.arange(5000) + 0.5) / 5000 * (drawing.right - drawing.left)
    ys = tick.at + (values - tick.value) * per_cent
    for x, y in zip(xs, ys, strict=True):
        near = strokes[np.abs(strokes[:, 0] - x) <= 0.52]
        assert np.any((near[:, 1] <= y + 0.05) & (near[:, 2] >= y - 0.05))


def test_quiet_strings_are_told_from_alarming_ones(made) -> None:
    for part in charts_of(made.summary.control).parts:
        assert {each.named for each in part.together} == {"Mean of strings", "Farthest string"}
        assert all(each.signals for each in part.alarming)
        assert not any(each.signals for each in part.quiet)
        assert len(part.alarming) + len(part.quiet) == len(STRINGS)


# Names, links, policy


def test_names_cannot_break_it() -> None:
    serials = [f"{HOSTILE}{n}" for n in range(30)]
    process = Process(sd_cents=2.5, stations=(HOSTILE, "B"), operators=(HOSTILE,))
    made = lot_of(30, process, replace(SPECIFICATION, name=HOSTILE), serials)
    made = replace(made, faults=(Fault(HOSTILE, HOSTILE),), warnings=(HOSTILE,))
    html = page_of(made, {serials[0]: "javascript:alert(1)", serials[1]: "//elsewhere/x.html"})
    page = Checked(html)
    assert page.tags.count("script") == 1
    assert "{{ 7*7 }}" in page.text
    assert "\u202e" not in html
    assert not [key for _, key, _ in page.attributes if key.startswith("on")]
    links = [each for each in page.values("href") if not each.startswith("#")]
    assert sorted(links) == ["./elsewhere/x.html", "./javascript%3Aalert%281%29"]
    rows = lines_of(html)
    assert len(rows) == 30
    assert sum(field(row, "page") != "" for row in rows) == 2
    assert {field(row, "page") for row in rows} == {"", *links}


def test_the_policy_lets_this_script_run_and_nothing_else(html) -> None:
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', html)[1]
    script = re.search(r"<script>(.*?)</script>", html, re.DOTALL)[1]
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    assert policy.split("; ") == [
        "default-src 'none'",
        "style-src 'unsafe-inline'",
        f"script-src 'sha256-{digest}'",
    ]
    assert not re.search(r"innerHTML|document\.write|\beval\b|https?://(?!www\.w3\.org/)", script)
    page = Checked(html)
    assert not {"img", "link", "iframe", "object"} & set(page.tags)
    assert page.values("src") == []


def test_ids_are_unique_and_every_heading_is_found(html) -> None:
    page = Checked(html)
    ids = page.values("id")
    assert len(ids) == len(set(ids))
    for each in page.values("aria-labelledby"):
        assert set(each.split()) <= set(ids)
    assert {each[1:] for each in page.values("href") if each.startswith("#")} <= set(ids)


# Large and small


def test_a_large_lot_stays_small_enough() -> None:
    made = lot_of(5000, Process(sd_cents=1.7))
    html = page_of(made)
    assert len(html.encode()) < LARGEST_BYTES
    assert len(lines_of(html)) == 5000
    listed = re.findall(r'<div class="listed">.*?</div>\n<div class="live"', html, re.DOTALL)[0]
    assert listed.count("<tr") - 1 == min(
        MOST_LISTED, int((made.sessions["verdict"] != "conform").sum())
    )
    more = (made.sessions["verdict"] != "conform").sum() - MOST_LISTED
    assert f"the first {MOST_LISTED}; {more} more are in the text below" in Checked(html).text


def test_a_small_lot_is_listed_whole() -> None:
    made = lot_of(20)
    listed = re.findall(r'<div class="listed">.*?<div class="live"', page_of(made), re.DOTALL)[0]
    assert all(serial in listed for serial in made.sessions["serial"])


@pytest.mark.parametrize("count", [0, 1, 2])
def test_next_to_nothing_is_said_as_such(count) -> None:
    made = lot_of(max(count, 1))
    if not count:
        made = replace(made, sessions=made.sessions.iloc[:0], values=made.values.iloc[:0])
    made = replace(made, faults=(Fault("lot/X", "holds no recording."),))
    page = Checked(page_of(made))
    assert "lot/X: holds no recording." in page.text
    assert ("No instrument was judged" in page.text) == (count == 0)
    if count:
        reason = f"{count} values; 10 are the least for a capability"
        assert reason in page.text


def test_an_instrument_without_any_value_is_not_decided() -> None:
    made = lot_of(2)
    gone = made.sessions.loc[0, "analysis"]
    sessions = made.sessions.copy()
    sessions.loc[0, ["verdict", "reason"]] = ["not decided", "No recording is usable."]
    sessions["more_takes"] = sessions["more_takes"].astype(float)
    sessions.loc[0, ["conformity_probability", "more_takes"]] = np.nan
    sessions["recorded_at"] = sessions["recorded_at"].where(sessions["analysis"] != gone)
    values = made.values[made.values["analysis"] != gone]
    row = lines_of(page_of(replace(made, sessions=sessions, values=values)))[0]
    assert field(row, "verdict") == "not decided"
    assert field(row, "recorded at") == field(row, "worst value") == field(row, "its cents") == ""
    assert field(row, "reason") == "No recording is usable."


def test_the_script_is_told_what_the_fields_are(html) -> None:
    meaning = json.loads(unescape(re.search(r'data-meaning="([^"]*)"', html)[1]))
    row = lines_of(html)[0]
    assert len(row) == len(meaning["fields"]) + 3 * len(meaning["columns"])
    assert list(row)[meaning["fields"].index("reason")].endswith(" reason")
    first = meaning["columns"][0]
    assert (first["string"], first["lower"], first["upper"]) == (6, -5, 5)
    assert first["from"] < -5 < 5 < first["to"]
