"""Bridges of every kind: what is read from [bridge], and the one line for what contradicts itself.

What a move of one end does to a string between the ends is the law of a line (similar triangles);
the numbers here are worked out by hand from it.
"""

from __future__ import annotations

import pytest

from analyzer.errors import UnusableInputError
from analyzer.instrument.file import read_instrument
from analyzer.instrument.threads import thread_pitch_mm

SIX = '[instrument]\nname = "x"\nscale_length_mm = 647.7\n'
SIX += 'tuning = ["E2", "A2", "D3", "G3", "B3", "E4"]\n[bridge]\n'
SCREW = 'thread = "M3"\nscrew_head = "tail"\n'
PAIRS = "saddles = [[6, 5], [4, 3], [2, 1]]\n"
POSTS = 'kind = "two posts"\nstring_spread_mm = 50.0\npost_positions_mm = [-10.0, 65.0]\n' + SCREW
TWO = '[instrument]\nname = "x"\nscale_length_mm = 650\ntuning = ["E2", "A2"]\n[bridge]\n'
GENERAL = TWO + (
    'kind = "general"\n[[bridge.adjusters]]\nname = "left"\nshares = [1.0, 0.25]\n'
    '[[bridge.adjusters]]\nname = "right"\nshares = [0.0, 0.75]\nthread = "M4"\n'
    'screw_head = "neck"\ntravel_mm = [1.0, 2.0]\n'
)


def bridge(tmp_path, text: str):
    path = tmp_path / "instrument.toml"
    path.write_text(text, encoding="utf-8")
    found = read_instrument(path).bridge
    assert found is not None
    return found


def test_two_posts_move_the_strings_between_them(tmp_path) -> None:
    """Posts 75 mm apart, string 6 10 mm from the bass post, the strings 10 mm apart."""
    found = bridge(tmp_path, SIX + POSTS)
    bass, treble = found.adjusters
    assert (bass.name, treble.name) == ("bass post", "treble post")
    assert found.saddles == ((6, 5, 4, 3, 2, 1),)
    assert treble.share[6] == pytest.approx(10 / 75)
    assert treble.share[1] == pytest.approx(60 / 75)
    assert bass.share[6] == pytest.approx(65 / 75)
    for string in (6, 5, 4, 3, 2, 1):  # both ends together move every string as far
        assert bass.share[string] + treble.share[string] == pytest.approx(1)


def test_a_string_over_a_post_follows_it_alone(tmp_path) -> None:
    text = POSTS.replace("string_spread_mm = 50.0", "string_positions_mm = [0, 9, 18, 27, 36, 45]")
    found = bridge(tmp_path, SIX + text.replace("[-10.0, 65.0]", "[0, 45]"))
    bass, treble = found.adjusters
    assert (bass.share[6], bass.share[1]) == (1, 0)
    assert treble.share[4] == pytest.approx(0.4)


def test_floating_bridge_is_measured_at_its_outer_strings(tmp_path) -> None:
    bass, treble = bridge(tmp_path, SIX + 'kind = "floating"\n').adjusters
    assert (bass.share[6], bass.share[1], treble.share[1]) == (1, 0, 1)
    assert treble.share[5] == pytest.approx(0.2)
    assert (bass.screw, bass.action, bass.steps.smallest_mm) == (None, "slide", 0.1)


def test_two_screws_a_saddle(tmp_path) -> None:
    travels = "travel_mm = [[1, 2], [3, 4], [1, 2], [1, 2], [1, 2], [1, 2]]\n"
    found = bridge(tmp_path, SIX + 'kind = "two-screw saddles"\n' + PAIRS + SCREW + travels)
    first, second = found.adjusters[:2]
    assert (first.name, second.name) == ("bass screw of saddle 6-5", "treble screw of saddle 6-5")
    assert (first.share, second.share) == ({6: 1, 5: 0}, {6: 0, 5: 1})
    assert (first.travel_mm, second.travel_mm) == ((1, 2), (3, 4))


def test_swivelling_saddle_of_three(tmp_path) -> None:
    text = 'kind = "swivelling saddles"\nsaddles = [[6, 5, 4], [3, 2, 1]]\n' + SCREW
    shift, slant = bridge(tmp_path, SIX + text).adjusters[:2]
    assert shift.share == {6: 1, 5: 1, 4: 1}
    assert slant.share == pytest.approx({6: 1, 5: 0, 4: -1})
    assert (slant.name, slant.action) == ("slant of saddle 6-5-4", "slide")


def test_fixed_saddle_is_filed_within_its_width(tmp_path) -> None:
    text = 'kind = "fixed"\nsaddle_width_mm = 3.0\nbreak_point_mm = [1, 1, 1.5, 1.5, 2, 2]\n'
    found = bridge(tmp_path, SIX + text)
    # half a millimetre stays beside either edge
    assert [each.travel_mm for each in found.adjusters][::2] == [(0.5, 1.5), (1, 1), (1.5, 0.5)]
    assert {each.action for each in found.adjusters} == {"file"}
    assert found.adjusters[0].steps.largest_mm == 0.2


def test_margin_beside_the_edges_of_a_fixed_saddle(tmp_path) -> None:
    text = 'kind = "fixed"\nsaddle_width_mm = 3.0\nbreak_point_mm = 0.3\n'
    (first, *_) = bridge(tmp_path, SIX + text).adjusters
    assert first.travel_mm == pytest.approx((0, 2.2))  # in the margin already: no further
    (first, *_) = bridge(tmp_path, SIX + text + "edge_margin_mm = 0.2\n").adjusters
    assert first.travel_mm == pytest.approx((0.1, 2.5))
    narrow = 'kind = "fixed"\nsaddle_width_mm = 1.0\nbreak_point_mm = 0.5\n'
    (first, *_) = bridge(tmp_path, SIX + narrow).adjusters
    assert first.travel_mm == pytest.approx((0.25, 0.25))
    with pytest.raises(UnusableInputError, match=r"edge_margin_mm.* 1\.5"):
        bridge(tmp_path, SIX + text + "edge_margin_mm = 1.5\n")


def test_a_piece_by_hand_under_all_strings_is_taken_to_be_loose(tmp_path) -> None:
    assert all(each.loose for each in bridge(tmp_path, SIX + 'kind = "floating"\n').adjusters)
    left, right = bridge(tmp_path, GENERAL).adjusters
    assert (left.loose, right.loose) == (True, False)
    posts = bridge(tmp_path, SIX + POSTS.replace(SCREW, "")).adjusters
    assert not any(each.loose for each in posts)


def test_general_bridge(tmp_path) -> None:
    left, right = bridge(tmp_path, GENERAL).adjusters
    assert (left.share, left.screw, left.action) == ({2: 1.0, 1: 0.25}, None, "slide")
    assert right.share == {1: 0.75}
    assert right.screw is not None
    assert right.screw.pitch_mm == 0.7


def test_who_gives_the_largest_step_skips_no_check(tmp_path) -> None:
    usual = bridge(tmp_path, SIX + PAIRS + SCREW)
    given = bridge(tmp_path, SIX + PAIRS + SCREW + "max_step_turns = 0.5\n")
    assert not any(each.steps.always_checked for each in usual.adjusters)
    assert all(each.steps.always_checked for each in given.adjusters)


def test_steps_and_setback_of_screws(tmp_path) -> None:
    text = "saddles = [[2], [1]]\nsmallest_turn = 0.125\nmax_step_turns = 1\n"
    found = bridge(tmp_path, TWO + text + "setback_mm = [2.5, 1.5]\n" + SCREW)
    steps = found.adjusters[0].steps
    assert (steps.smallest_mm, steps.largest_mm) == (0.0625, 0.5)
    assert found.setback_mm == {2: 2.5, 1: 1.5}


@pytest.mark.parametrize(
    ("tuning", "lengths", "saddles", "strings"),
    [
        ('["E1", "A1", "D2", "G2"]', "863.6", "[[4], [3], [2], [1]]", 4),
        ('["B0", "E1", "A1", "D2", "G2"]', "863.6", "[[5], [4], [3], [2], [1]]", 5),
        ('["G4", "C4", "E4", "A4"]', "381", "[[4, 3], [2, 1]]", 4),  # re-entrant
        (
            '["F#1", "B1", "E2", "A2", "D3", "G3", "B3", "E4"]',
            "[711, 702, 693, 684, 675, 666, 657, 648]",
            "[[8], [7], [6], [5], [4], [3], [2], [1]]",
            8,
        ),
        (
            '["E3", "E2", "A3", "A2", "D4", "D3", "G4", "G3", "B3", "B3", "E4", "E4"]',
            "647.7",
            "[[12, 11], [10, 9], [8, 7], [6, 5], [4, 3], [2, 1]]",
            12,
        ),
    ],
)
def test_other_instruments(tmp_path, tuning, lengths, saddles, strings) -> None:
    text = f"[instrument]\ntuning = {tuning}\nscale_length_mm = {lengths}\n"
    found = bridge(tmp_path, text + f"[bridge]\nsaddles = {saddles}\n" + SCREW)
    assert sum(len(each.strings) for each in found.adjusters) == strings


WRONG = [
    (SIX + 'kind = "door"\n', 'kind: is \'door\'. Give "saddles" or "two-screw saddles" or'),
    (SIX + POSTS + PAIRS, "saddles: is not known here. Mend its spelling; known are: kind,"),
    (SIX + 'kind = "floating"\n' + SCREW, "thread: is not known here"),
    (
        SIX + POSTS.replace("-10.0", "3.0"),
        "post_positions_mm: is [3.0, 65.0], and string 6 at 0 is outside. The strings lie between",
    ),
    (SIX + POSTS.replace("[-10.0, 65.0]", "[65, -10]"), "post_positions_mm: is [65, -10], and"),
    (SIX + POSTS.replace("[-10.0, 65.0]", "[1]"), "post_positions_mm: is [1]. Give two numbers"),
    (SIX + POSTS.replace("string_spread_mm = 50.0\n", ""), "string_spread_mm: is missing. Add"),
    (
        SIX + POSTS + "string_positions_mm = [0, 9, 18, 27, 36, 45]\n",
        "string_positions_mm: is given beside string_spread_mm. Keep one of the two",
    ),
    (
        SIX + 'kind = "floating"\nstring_positions_mm = [0, 9, 9, 27, 36, 45]\n',
        "string_positions_mm: puts string 4 at 9, not beyond string 5. Measure from string 6",
    ),
    (
        SIX + 'kind = "floating"\nstring_positions_mm = [0, 9]\n',
        "string_positions_mm: lists 2 lengths for 6 strings",
    ),
    (
        SIX + 'kind = "two-screw saddles"\nsaddles = [[6], [5, 4], [3, 2, 1]]\n',
        'saddles: has [6]. One string needs no slant; kind = "saddles"',
    ),
    (
        SIX + PAIRS + SCREW + "travel_mm = [0, 0]\n",
        "travel_mm: is [0, 0], no room either way. Measure again how far it can still be moved",
    ),
    (
        SIX + PAIRS + SCREW + "travel_mm = [[1, 1], [0.0, 0.0], [1, 1]]\n",
        "travel_mm: is [0.0, 0.0], no room either way",
    ),
    (
        SIX + PAIRS + SCREW + "travel_mm = [[1, 1], [1, 1]]\n",
        "travel_mm: lists 2 pairs. This bridge has 3 of them (saddles): give one pair for all, or",
    ),
    (
        SIX + PAIRS + SCREW + "smallest_turn = 0.5\nmax_step_turns = 0.25\n",
        "max_step_turns: is 0.25, less than smallest_turn = 0.5. Give at least the smallest turn",
    ),
    (
        SIX + 'kind = "floating"\nsmallest_move_mm = 1\nmax_step_mm = 0.5\n',
        "max_step_mm: is 0.5, less than smallest_move_mm = 1",
    ),
    (
        SIX + 'kind = "fixed"\nsaddle_width_mm = 3.0\nbreak_point_mm = 4.0\n',
        "break_point_mm: is 4.0. Give 0 to 3 millimetres",
    ),
    (SIX + 'kind = "fixed"\n', "saddle_width_mm: is missing. Add a number from 0.5 to 30"),
    (
        SIX + PAIRS + 'thread = "M33"\nscrew_head = "tail"\n',
        "known are M1.6, M2, M2.5, M3, M4, M5, M6, each also with a finer pitch, and 0-80, 1-64,",
    ),
    (
        SIX + PAIRS + SCREW.replace("M3", "M3-LH") + 'thread_hand = "right"\n',
        "thread_hand: is 'right', and thread says LH. Keep one of the two",
    ),
    (SIX + PAIRS + SCREW + 'thread_hand = "both"\n', "thread_hand: is 'both'. Give \"right\" or"),
    (SIX + PAIRS + 'thread_hand = "left"\n', "thread: is missing. Add a standard designation"),
    (
        SIX + PAIRS + 'thread = "LH"\nscrew_head = "tail"\n',
        "thread: is 'LH'. Give a standard designation such as \"M3\"",
    ),
    (SIX + PAIRS + "setback_mm = 99\n", "setback_mm: is 99. Give -10 to 20 millimetres"),
    (
        GENERAL.replace("[0.0, 0.75]", "[0, 0.0]"),
        "[bridge.adjusters] shares: are 0 for every string. Give the strings that it moves",
    ),
    (
        GENERAL.replace("[1.0, 0.25]", "[0, 1]"),
        "adjusters: leave string 2 where it is. Give it a share in one of them",
    ),
    (GENERAL.replace('"right"', '"left"'), "name: is 'left' twice. Name each one apart"),
    (
        GENERAL.replace("[1.0, 0.25]", "[1.0]"),
        "shares: lists 1 lengths for 2 strings",
    ),
    (TWO + 'kind = "general"\nadjusters = 4\n', "adjusters: is 4. Give tables headed [[bridge."),
    (
        TWO.replace('["E2", "A2"]', '["E2"]') + 'kind = "floating"\n',
        'kind: has two ends for one string. Give kind = "saddles"',
    ),
]


@pytest.mark.parametrize(("text", "line"), WRONG)
def test_one_line_says_what_contradicts_itself(tmp_path, called, text, line) -> None:
    with pytest.raises(UnusableInputError) as caught:
        bridge(tmp_path, text)
    said = str(caught.value)
    assert line in said
    (tmp_path / "s2_open_1.wav").write_bytes(b"RIFF")
    done = called("analyze", tmp_path)
    assert (done.code, done.out, done.err) == (2, "", f"pluckcheck: {said}\n")


@pytest.mark.parametrize(
    ("keys", "hand"),
    [
        ('thread = "M3"', "right"),
        ('thread = "M3"\nthread_hand = "left"', "left"),
        ('thread = "M3-LH"', "left"),
        ('thread = "m3 lh"\nthread_hand = "left"', "left"),
        ('thread = "M3x0.5 - LH"', "left"),
        ('thread_pitch_mm = 0.5\nthread_hand = "left"', "left"),
    ],
)
def test_thread_winds_to_the_right_unless_the_file_says_otherwise(tmp_path, keys, hand) -> None:
    found = bridge(tmp_path, SIX + PAIRS + f'{keys}\nscrew_head = "tail"\n')
    for each in found.adjusters:
        assert each.screw is not None
        assert (each.screw.pitch_mm, each.screw.hand) == (0.5, hand)


def test_known_threads_are_known() -> None:
    """What the message lists can be given."""
    from analyzer.instrument.threads import KNOWN_THREADS

    listed = KNOWN_THREADS.replace(", each also with a finer pitch, and", ",").split(", ")
    assert len(listed) == 24
    assert all(thread_pitch_mm(each) > 0 for each in listed)
