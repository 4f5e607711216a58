"""lot.toml: what is read from it, and the one line for each way of getting it wrong."""

from __future__ import annotations

import pytest

from analyzer.errors import UnusableInputError
from analyzer.lot.judgement.specification import CLOCK_CENTS, DecisionRule, Limits, Subgroups
from analyzer.lot.judgement.specification_file import read_specification

SHORT = "[error]\nplus_minus_cents = 3.0\n"
# The example of the manual.
WHOLE = """
[lot]
name = "Week 12, six-strings"
stations = ["line 1", "line 2"]

[error]
plus_minus_cents = 3.0
reproducibility_cents = 0.2

[[error.strings]]
string = 3
lower_cents = -2.0
upper_cents = 5.0
target_cents = 1.0

[open_pitch]
plus_minus_cents = 10.0

[sustain_drift]
lower_cents = -12.0
upper_cents = 2.0
take_scatter_cents = 0.5

[decision]
rule = "guarded"
confidence = 0.95
most_more_takes = 6

[subgroups]
by = "count"
size = 4
"""


def read(tmp_path, text: str, strings: int = 6):
    path = tmp_path / "lot.toml"
    path.write_text(text, encoding="utf-8")
    return read_specification(path, strings)


def test_whole_file(tmp_path) -> None:
    found = read(tmp_path, WHOLE)
    assert found.name == "Week 12, six-strings"
    assert found.stations == ("line 1", "line 2")
    assert found.error is not None
    assert found.error.of_string(6) == Limits(-3.0, 3.0, 0.0)
    assert found.error.of_string(3) == Limits(-2.0, 5.0, 1.0)
    assert found.error.reproducibility_cents == 0.2
    assert found.open_pitch is not None
    assert found.open_pitch.of_string(1) == Limits(-10.0, 10.0, 0.0)
    assert found.open_pitch.reproducibility_cents == CLOCK_CENTS
    assert found.sustain_drift is not None
    assert found.sustain_drift.of_string(1) == Limits(-12.0, 2.0, 0.0)
    assert found.sustain_drift.take_scatter_cents == 0.5
    assert found.rule == DecisionRule("guarded", 0.95, 6)
    assert found.subgroups == Subgroups("count", 4)


def test_two_lines_are_enough(tmp_path) -> None:
    found = read(tmp_path, SHORT)
    assert found.name == tmp_path.name
    assert found.error is not None
    assert found.error.of_string(4) == Limits(-3.0, 3.0, 0.0)
    assert (found.open_pitch, found.sustain_drift, found.stations) == (None, None, ())
    assert found.rule == DecisionRule("guarded", 0.95, 10)
    assert found.subgroups == Subgroups("count", 5)
    judged = [(what, string) for what, string, _ in found.judged((2, 1))]
    assert judged == [("error_cents", 2), ("error_cents", 1)]


def test_a_limit_may_stand_on_one_side_and_either_way_is_about_the_target(tmp_path) -> None:
    one = read(tmp_path, "[sustain_drift]\nlower_cents = -9\n").sustain_drift
    assert one is not None
    assert one.of_string(1) == Limits(-9.0, None, 0.0)
    about = read(tmp_path, "[error]\nplus_minus_cents = 2\ntarget_cents = 1.5\n").error
    assert about is not None
    assert about.of_string(1) == Limits(-0.5, 3.5, 1.5)


def test_only_the_strings_that_are_named_are_judged_without_common_limits(tmp_path) -> None:
    found = read(tmp_path, "[[error.strings]]\nstring = 2\nplus_minus_cents = 1\n")
    assert list(found.judged((3, 2, 1))) == [("error_cents", 2, Limits(-1.0, 1.0, 0.0))]


def test_both_notes_are_held_to_the_drift(tmp_path) -> None:
    found = read(tmp_path, "[sustain_drift]\nplus_minus_cents = 9\n")
    assert [what for what, _, _ in found.judged((1,))] == [
        "open_drift_cents",
        "fretted_drift_cents",
    ]


def test_station_that_is_not_listed_is_named(tmp_path) -> None:
    found = read(tmp_path, WHOLE)
    assert found.warnings(["line 1", "line 2"], (6, 5, 4, 3, 2, 1)) == ()
    said = found.warnings(["line 1", "line 7", "line 7"], (6, 5, 4, 3, 2, 1))
    assert len(said) == 1
    assert said[0].startswith("Station line 7 is not in lot.toml, which knows line 1, line 2.")
    assert read(tmp_path, SHORT).warnings(["anything"], (1,)) == ()


def test_limits_for_a_string_that_the_instrument_lacks_are_named(tmp_path) -> None:
    said = read(tmp_path, WHOLE).warnings([], (2, 1))
    assert said == (
        "lot.toml has limits for string 3, and the instrument has strings 2 to 1. Mend the number.",
    )


WRONG = [
    ("[error]", "[eror]", "[eror]: is not known here. Mend its"),
    ("plus_minus_cents = 3.0", "plus_minus = 3.0", "[error] plus_minus: is not known here. Mend"),
    ("reproducibility_cents = 0.2", "reproducibility = 0.2", "reproducibility: is not known here"),
    ("plus_minus_cents = 3.0", "plus_minus_cents = -3.0", "plus_minus_cents: is -3.0. Give a num"),
    ("plus_minus_cents = 3.0", "plus_minus_cents = 0", "plus_minus_cents: is 0. Give a number"),
    ("plus_minus_cents = 3.0", "plus_minus_cents = nan", "plus_minus_cents: is nan. Give"),
    ("plus_minus_cents = 3.0", "plus_minus_cents = 101", "is 101. Give a number from 0.01 to 100"),
    ("plus_minus_cents = 3.0", 'plus_minus_cents = "3"', "is '3', not a number. Give"),
    ("plus_minus_cents = 3.0", "plus_minus_cents = true", "is True, not a number. Give"),
    (
        "plus_minus_cents = 3.0",
        "plus_minus_cents = 3.0\nupper_cents = 3.0",
        "plus_minus_cents: is given beside lower_cents or upper_cents. Give",
    ),
    ("lower_cents = -12.0", "lower_cents = 2.5", "lower_cents: is 2.5, not below upper_cents, 2."),
    ("lower_cents = -12.0", "lower_cents = 2.0", "lower_cents: is 2, not below upper_cents, 2."),
    ("upper_cents = 2.0", "upper_cents = -1.0", "target_cents: is 0 (0 unless it is given), outs"),
    ("target_cents = 1.0", "target_cents = 5.5", "string 3] target_cents: is 5.5 (0 unless it"),
    ("target_cents = 1.0", "target = 1.0", "[error.strings, string 3] target: is not known here"),
    ("string = 3", "string = 7", "strings: names string 7. There are strings 6 to 1"),
    ("string = 3", "string = 0", "strings: names string 0. There are strings 6 to 1"),
    ("string = 3", "string = 3.0", "strings: names string 3.0. There are strings"),
    ("string = 3", "string = true", "strings: names string True. There are strings"),
    ("string = 3\n", "", "[error.strings] string: is missing. Add its number"),
    (
        "[open_pitch]",
        "[[error.strings]]\nstring = 3\nplus_minus_cents = 1\n[open_pitch]",
        "[error] strings: gives string 3 twice. Keep one of the two",
    ),
    (
        "lower_cents = -2.0\nupper_cents = 5.0\n",
        "",
        "[error.strings, string 3] plus_minus_cents: is missing",
    ),
    ("take_scatter_cents = 0.5", "take_scatter_cents = -1", "take_scatter_cents: is -1. Give a"),
    ("reproducibility_cents", "take_scatter_cents", "take_scatter_cents: is not known here"),
    ("confidence = 0.95", "confidence = 95", "is 95. Give a number from 0.5 to 0.9999, such as 0"),
    (
        "confidence = 0.95",
        "confidence = 0.05",
        "[decision] confidence: is 0.05. Give a number from",
    ),
    ("confidence = 0.95", "confidence = 1.0", "[decision] confidence: is 1.0. Give a number from"),
    ('rule = "guarded"', 'rule = "strict"', 'is \'strict\'. Give "guarded" or "shared risk"'),
    ("most_more_takes = 6", "most_more_takes = 0", "most_more_takes: is 0. Give a whole number"),
    ("most_more_takes = 6", "most_more_takes = 2.5", "most_more_takes: is 2.5. Give a whole"),
    ('by = "count"', 'by = "moon"', '[subgroups] by: is \'moon\'. Give "count" or "station" or'),
    ('by = "count"', 'by = "day"', 'size: is given with by = "day". Leave it out'),
    ("size = 4", "size = 26", "size: is 26. Give a whole number from 1 to 25, such as 5"),
    ('"line 2"]', "2]", "[lot] stations: has 2. Give a list of names"),
    ('"line 2"]', '" "]', "[lot] stations: has ' '. Give a list of names"),
    ('"line 2"]', '"line 1"]', "[lot] stations: names 'line 1' twice. Keep one"),
    ('["line 1", "line 2"]', "[]", "[lot] stations: is []. Give a list of names"),
    ('name = "Week 12, six-strings"', "name = 4", '[lot] name: is 4. Give a text such as "Week'),
    ("[subgroups]", "[subgroups", "is not valid TOML"),
    ("[error]\n", "[lot]\n", "gives a key or table a second time"),
    ("[open_pitch]", "open_pitch = 4\n[sub]", "is not known here"),
]


@pytest.mark.parametrize(("right", "wrong", "line"), WRONG)
@pytest.mark.fault("a wrong key or value in lot.toml")
def test_one_line_says_what_is_wrong(tmp_path, right, wrong, line) -> None:
    assert right in WHOLE
    with pytest.raises(UnusableInputError) as caught:
        read(tmp_path, WHOLE.replace(right, wrong, 1))
    said = str(caught.value)
    assert line in said
    assert said.startswith("lot.toml")
    assert "\n" not in said


def test_without_any_limit_there_is_nothing_to_decide(tmp_path) -> None:
    with pytest.raises(UnusableInputError, match="is missing, and so is any other limit"):
        read(tmp_path, '[lot]\nname = "Nothing"\n')
    with pytest.raises(UnusableInputError, match=r"\[error\]: is 3, not a table"):
        read(tmp_path, "error = 3\n")


@pytest.mark.fault("a lot.toml that is none")
def test_what_is_no_specification_says_so(tmp_path) -> None:
    with pytest.raises(UnusableInputError, match="Give the specification of the lot"):
        read_specification(tmp_path)
    with pytest.raises(UnusableInputError, match="cannot be read"):
        read_specification(tmp_path / "missing.toml")
