"""How the work at a bridge is told: its manner, its checks and its cautions."""

from __future__ import annotations

from datetime import date

import pytest
from made_reports import SCREW, instrument_of, own_saddles, report_with
from rich.console import Console

from analyzer.letter.content import letter_of
from analyzer.page.render import as_html
from analyzer.report.model import Report
from analyzer.report.terminal import TerminalReport

ON = date(2031, 2, 3)
POSTS = 'kind = "two posts"\nstring_spread_mm = 52.0\npost_positions_mm = [-11.0, 63.0]\n'
FIXED = 'kind = "fixed"\nsaddle_width_mm = 3.0\nbreak_point_mm = 1.5\n'
FLOATING = 'kind = "floating"\nstring_spread_mm = 52.0\n'
UNEQUAL = {6: 8.0, 5: 7.0, 4: 6.0, 3: 5.0, 2: 4.0, 1: 3.0}
AT_ONE_END = {6: 8.0, 5: 6.4, 4: 4.8, 3: 3.2, 2: 1.6, 1: 0.0}


def printed(report: Report, width: int = 80) -> str:
    """What a terminal of so many columns shows, in one line."""
    console = Console(width=width)
    with console.capture() as captured:
        console.print(TerminalReport(report))
    return " ".join(captured.get().split())


def letter_text(report: Report) -> str:
    return " ".join(
        text
        for section in letter_of(report, ON).sections
        for text in (*section.paragraphs, *(point.text for point in section.points))
    )


@pytest.mark.parametrize("errors", [UNEQUAL, AT_ONE_END])
def test_a_bridge_that_only_strings_hold_is_never_without_them(tmp_path, errors) -> None:
    """Common practice of the trade: it stands by their pressure, so they are eased, not let go."""
    report = report_with(instrument_of(tmp_path, FLOATING, screw=""), errors)
    assert all(each.loose for each in report.adjusters)
    for text in (printed(report), printed(report, 60), as_html(report, ON)):
        words = " ".join(text.split())
        assert "never slacken all of them entirely" in words
        assert "ease them a little, one after another" in words
        assert "slacken and retune them together" not in words
        assert "slacken the string, adjust" not in words
    letter = letter_text(report)
    assert "Never slacken all of them at once" in letter
    assert "cracked or lifting, slacken the strings" not in letter
    assert "string is slackened first" not in letter


def test_other_bridges_are_not_said_to_fall(tmp_path) -> None:
    for bridge in (own_saddles(), POSTS, "saddles = [[6, 5], [4, 3], [2, 1]]"):
        report = report_with(instrument_of(tmp_path, bridge), UNEQUAL)
        assert not any(each.loose for each in report.adjusters)
        assert "bridge that only its strings hold" not in printed(report)
        assert "Only its strings" not in letter_text(report)


def test_one_piece_of_which_one_end_stays_is_still_one_piece(tmp_path) -> None:
    """Its strings all lie on it: slackened a little, and not together to the end."""
    posts = POSTS.replace("[-11.0, 63.0]", "[0.0, 52.0]")
    report = report_with(instrument_of(tmp_path, posts), AT_ONE_END)
    assert [each.order for each in report.adjusters] == [1, None]
    assert "slacken all its strings a little" in printed(report)
    assert "slacken and retune them together" not in printed(report)


@pytest.mark.parametrize("width", [60, 80, 120])
@pytest.mark.parametrize("bridge", [own_saddles(), POSTS, "saddles = [[6, 5, 4, 3, 2, 1]]"])
def test_the_side_that_clockwise_is_seen_from_is_said_at_every_width(
    tmp_path, bridge, width
) -> None:
    report = report_with(instrument_of(tmp_path, bridge), UNEQUAL)
    words = printed(report, width)
    assert "clockwise" in words
    assert "facing its head" in words or "facing the head of the screw" in words


@pytest.mark.parametrize("bridge", [FLOATING, FIXED])
def test_without_a_screw_nothing_is_said_of_screws_that_turn(tmp_path, bridge) -> None:
    report = report_with(instrument_of(tmp_path, bridge, screw=""), UNEQUAL)
    for width in (60, 120):
        words = printed(report, width)
        assert "facing" not in words
        assert "clockwise" not in words


def test_a_fixed_saddle_keeps_its_edges_and_its_height(tmp_path) -> None:
    """3 mm wide with the break point in the middle: 1 mm may go, half a millimetre stays."""
    report = report_with(instrument_of(tmp_path, FIXED, screw=""), {6: -9.0, 1: 9.0})
    assert report.adjusters[0].move_mm == pytest.approx(-1.0)
    assert report.adjusters[-1].move_mm == pytest.approx(1.0)
    assert "keep the height of the crown" in printed(report)


def test_a_long_move_shows_the_readings_at_which_it_is_checked(tmp_path) -> None:
    report = report_with(instrument_of(tmp_path, own_saddles()), {3: 11.2, 1: 0.1})
    steps = [step for step in report.steps if step.adjuster == "saddle 3"]
    checks = sum(not step.check_may_be_skipped for step in steps)
    assert (len(steps), checks) == (17, 6)
    words = printed(report)
    assert "those in between may be skipped" in words
    assert "turns clockwise so far: 0.5: +10.5, 6.5: " in words
    assert words.count("8.5: 0.0") == 1
    given = SCREW + "max_step_turns = 0.5\n"
    every = report_with(instrument_of(tmp_path, own_saddles(), screw=given), {3: 11.2, 1: 0.1})
    assert len(every.steps) == len(report.steps)
    assert "may be skipped" not in printed(every)


NO_TRAVEL = 'thread = "M3"\nscrew_head = "tail"\n'


@pytest.mark.parametrize("cents", [45.0, -49.0])
def test_what_no_bridge_can_travel_is_not_advised_but_named(tmp_path, cents) -> None:
    """45 cents of 647.7 mm are some 17 mm, and bridges travel 10 mm at most (common practice)."""
    report = report_with(
        instrument_of(tmp_path, own_saddles(), screw=NO_TRAVEL), {6: cents, 3: 4.0}
    )
    assert report.strings[0].error_cents == pytest.approx(cents, abs=0.01)
    (far, *_, near, _, _) = report.adjusters
    assert (far.move_mm, far.turns, far.order, far.direction) == (None, None, None, None)
    assert report.saddles[0].turns is None
    assert "travel_mm" in far.reason
    assert "scale length" in far.reason
    assert near.turns == pytest.approx(3.0)
    assert {step.adjuster for step in report.steps} == {"saddle 3"}
    found = {each.cause: each.strings for each in report.findings}
    assert found["more than a saddle can be out of place"] == (6,)
    assert "asks for 1" in printed(report)
    letter = letter_text(report)
    assert "String 6: nothing is moved before it is known why" in letter
    assert "String 3: made 1.5 mm longer" in letter


def test_a_travel_that_is_given_is_the_limit(tmp_path) -> None:
    report = report_with(instrument_of(tmp_path, own_saddles()), {6: 45.0})
    assert report.adjusters[0].move_mm == pytest.approx(8.0)
    assert "The travel ends" in report.adjusters[0].reason
    assert "more than a saddle can be out of place" in {each.cause for each in report.findings}


@pytest.mark.parametrize("cents", [26.0, -26.0])
def test_a_large_error_within_what_bridges_travel_is_advised(tmp_path, cents) -> None:
    """26 cents are 9.95 mm at 647.7 mm: S (w - 1) / (1 - 2 w), w = 2^(-26/1200); flat 9.51 mm."""
    report = report_with(instrument_of(tmp_path, own_saddles(), screw=NO_TRAVEL), {6: cents})
    assert report.adjusters[0].turns is not None
    assert not {"more than a saddle can be out of place"} & {e.cause for e in report.findings}


def test_nothing_is_said_to_be_right_where_the_advice_is_withheld(tmp_path) -> None:
    report = report_with(instrument_of(tmp_path, own_saddles(), screw=NO_TRAVEL), {6: 45.0})
    assert "Nothing need be moved" not in letter_text(report)
    as_html(report, ON)  # the page is drawn without the moves
