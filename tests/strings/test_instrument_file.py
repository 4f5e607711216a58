"""instrument.toml: what is read from it, and the one line for each way of getting it wrong."""

from __future__ import annotations

import pytest

from analyzer.errors import UnusableInputError
from analyzer.instrument.file import read_instrument

INSTRUMENT = """
[instrument]
name = "Test six"
scale_length_mm = 647.7
tuning = ["E2", "A2", "D3", "G3", "B3", "E4"]
"""
BRIDGE = """
[bridge]
saddles = [[6, 5], [4, 3], [2, 1]]
thread = "M3"
screw_head = "tail"
smallest_turn = 0.25
travel_mm = [4.0, 6.0]
"""


def read(tmp_path, text: str):
    path = tmp_path / "instrument.toml"
    path.write_text(text, encoding="utf-8")
    return read_instrument(path)


def test_whole_file(tmp_path) -> None:
    found = read(tmp_path, INSTRUMENT + BRIDGE)
    assert found.name == "Test six"
    assert found.strings == (6, 5, 4, 3, 2, 1)
    assert (found.note(6), found.note(1)) == ("E2", "E4")
    assert found.scale_length_mm(3) == 647.7
    assert found.bridge is not None
    assert found.bridge.saddles == ((6, 5), (4, 3), (2, 1))
    assert [each.name for each in found.bridge.adjusters] == [
        "saddle 6-5",
        "saddle 4-3",
        "saddle 2-1",
    ]
    for each in found.bridge.adjusters:
        assert each.travel_mm == (4.0, 6.0)
        assert each.screw is not None
        assert (each.screw.pitch_mm, each.screw.head) == (0.5, "tail")
        assert (each.steps.smallest_mm, each.steps.largest_mm) == (0.125, 0.25)


def test_a_length_for_each_string_longest_number_first(tmp_path) -> None:
    lengths = "[686, 679, 672, 665, 658, 648]"
    found = read(tmp_path, INSTRUMENT.replace("647.7", lengths))
    assert (found.scale_length_mm(6), found.scale_length_mm(1)) == (686, 648)


def test_bridge_may_be_left_out_and_so_may_the_screw(tmp_path) -> None:
    assert read(tmp_path, INSTRUMENT).bridge is None
    bare = read(tmp_path, INSTRUMENT + "[bridge]\nsaddles = [[6,5,4,3,2,1]]\n").bridge
    assert bare is not None
    assert [(each.screw, each.travel_mm) for each in bare.adjusters] == [(None, None)]


WRONG = [
    ("scale_length_mm = 647.7", "scale_length_mm = -3", "scale_length_mm: is -3. Give 200 to 1500"),
    ("scale_length_mm = 647.7", "scale_length_mm = 9e9", "scale_length_mm: is 9000000000.0. Give"),
    ("scale_length_mm = 647.7", "scale_length_mm = nan", "scale_length_mm: is nan. Give"),
    ("scale_length_mm = 647.7", 'scale_length_mm = "long"', "'long', not a number. Give"),
    ("scale_length_mm = 647.7", "scale_length_mm = true", "is True, not a number. Give"),
    ("scale_length_mm = 647.7", "scale_length_mm = [640, 650]", "lists 2 lengths for 6 strings"),
    ("scale_length_mm = 647.7", "", "scale_length_mm: is missing. Add"),
    (
        "scale_length_mm",
        "scale_lenght_mm",
        "is missing. Mend the spelling of 'scale_lenght_mm', or",
    ),
    ("tuning =", "tunning =", "tuning: is missing. Mend the spelling of 'tunning', or add"),
    ('name = "Test six"', 'nickname = "x"', "nickname: is not known here. Mend its spelling"),
    ('"E2", ', '"H2", ', "tuning: has 'H2'. Give a list of note names"),
    ('"E2", ', "7, ", "tuning: has 7. Give a list of note names"),
    ('"E2", ', '"E0", ', "tuning: has 'E0', 21 Hz. Open strings from 25 Hz"),
    ('["E2", "A2", "D3", "G3", "B3", "E4"]', "[]", "tuning: is []. Give a list of note names"),
    ("[[6, 5], [4, 3], [2, 1]]", "[[6, 5], [4, 3], [2]]", "puts string 1 on no saddle"),
    ("[[6, 5], [4, 3], [2, 1]]", "[[6, 5], [4, 3], [2, 1, 6]]", "puts string 6 on a saddle twice"),
    ("[[6, 5], [4, 3], [2, 1]]", "[[7, 6], [5, 4], [3, 2, 1]]", "names string 7. The tuning has"),
    ("[[6, 5], [4, 3], [2, 1]]", "[[6, 5], [4, 3], [2, 1], []]", "saddles: has []. Give lists"),
    ("[[6, 5], [4, 3], [2, 1]]", "6", "saddles: is 6. Give lists"),
    ('thread = "M3"', 'thread = "M33"', "thread: is 'M33'. Give a standard designation"),
    ('thread = "M3"', "", "thread: is missing. Add a standard designation"),
    ('thread = "M3"', 'thread = "M3"\nthread_pitch_mm = 0.5', "given beside thread_pitch_mm"),
    ('thread = "M3"', "thread_pitch_mm = 0", "thread_pitch_mm: is 0. Give a number from 0.1 to 3"),
    ('screw_head = "tail"', 'screw_head = "up"', 'is \'up\'. Give "tail" or "neck"'),
    ('screw_head = "tail"', "", 'screw_head: is missing. Add "tail" or "neck"'),
    ("smallest_turn = 0.25", "smallest_turn = 2", "smallest_turn: is 2. Give a number from 0.01"),
    ("travel_mm = [4.0, 6.0]", "travel_mm = [4.0]", "travel_mm: is [4.0]. Give two numbers"),
    ("travel_mm = [4.0, 6.0]", "travel_mm = [-1, 6]", "travel_mm: is -1. Give two numbers"),
    ("[bridge]", "[brigde]", "[brigde]: is not known here"),
    ("[bridge]", "[bridge", "is not valid TOML"),
    ("[instrument]", "instrument = 4\n[other]", "[instrument]: is 4, not a table"),
]


@pytest.mark.parametrize(("right", "wrong", "line"), WRONG)
@pytest.mark.fault("a wrong key or value in instrument.toml")
def test_one_line_says_what_is_wrong(tmp_path, right, wrong, line) -> None:
    text = INSTRUMENT + BRIDGE
    assert right in text
    with pytest.raises(UnusableInputError) as caught:
        read(tmp_path, text.replace(right, wrong, 1))
    said = str(caught.value)
    assert line in said
    assert said.startswith("instrument.toml")
    assert "\n" not in said


@pytest.mark.fault("a wrong instrument file, as the command tells it")
def test_command_ends_with_the_line_and_code_2(tmp_path, run) -> None:
    (tmp_path / "instrument.toml").write_text(INSTRUMENT.replace("647.7", "-1"), encoding="utf-8")
    (tmp_path / "s6_open_1.wav").write_bytes(b"RIFF")
    done = run("analyze", tmp_path)
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.startswith(
        "pluckcheck: instrument.toml, [instrument] scale_length_mm: is -1"
    )
    assert done.stderr.count("\n") == 1
