"""The letter to a customer: what it says, in which words, and that names in it show as text."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from benchmark_adjust import KINDS
from conftest import ROOT, SAMPLE_AUDIO
from made_notes import fretted_notes, note, published_string, report_of
from made_reports import instrument_of, own_saddles, report_with
from markdown_it import MarkdownIt

from analyzer.bridge.response import prior_response
from analyzer.instrument.file import read_instrument
from analyzer.letter.content import letter_of
from analyzer.letter.markdown import as_letter
from analyzer.letter.words import cause_in_plain_words, caution_in_plain_words
from analyzer.measure import Measured
from analyzer.quality.model import Caution
from analyzer.recording.labels import Label
from analyzer.report.adjustment import Done
from analyzer.report.model import Report, StringResult
from analyzer.string_model.fretting import Setbacks

DAY = date(2026, 3, 1)
JARGON = r"\b(Hz|dB\w*|partials?|stiffness|drift|setback|adjusters?|intonation|saddles?|residual)\b"


def constants(package: str, call: str) -> Iterator[str]:
    """The fixed text of what is first given to such calls."""
    for path in (ROOT / "analyzer").rglob(package):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == call:
                yield from texts(node.args[0], path)


def texts(node: ast.expr, path: Path) -> Iterator[str]:
    if isinstance(node, ast.Constant):
        yield str(node.value)
    elif isinstance(node, ast.JoinedStr):
        yield "".join(str(x.value) for x in node.values if isinstance(x, ast.Constant))
    elif isinstance(node, ast.IfExp):
        yield from texts(node.body, path)
        yield from texts(node.orelse, path)
    elif isinstance(node, ast.Name):  # chosen before: all that are assigned to it
        for each in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(each, ast.Assign) and getattr(each.targets[0], "id", "") == node.id:
                yield from texts(each.value, path)


def section(letter: str, heading: str) -> str:
    return letter.partition(f"## {heading}\n")[2].partition("\n## ")[0]


def test_every_cause_has_plain_words() -> None:
    causes = set(constants("findings/*.py", "Finding"))
    assert len(causes) >= 12
    assert [each for each in causes if cause_in_plain_words(each) is None] == []


def test_every_caution_has_plain_words() -> None:
    cautions = [each for each in constants("*.py", "Caution") if each]
    assert len(cautions) >= 11
    assert [each for each in cautions if caution_in_plain_words(each) is None] == []
    said = [caution_in_plain_words(each) for each in cautions]
    assert len(set(said)) == len(said)  # none is taken for another


def test_letter_before_the_work(tmp_path) -> None:
    """A sharp 12th fret asks for a longer string, a flat one for a shorter (DESIGN's signs)."""
    instrument = instrument_of(tmp_path, own_saddles())
    letter = as_letter(report_with(instrument, {6: 8.0, 5: -5.0, 4: 0.0}), DAY)
    assert letter.startswith("# The tuning along the neck of Knot\n\nWritten on 1 March 2026.\n")
    measured = section(letter, "What was measured")
    assert "3 of 6 strings could be measured, from 12 recordings." in measured
    assert len(re.findall(r"cents are the step from a fret to the next", letter)) == 1
    found = section(letter, "What was found")
    assert re.search(
        r"^- String 6 \(E2\): 8\.0 cents sharp, give or take 0\.\d\.$", found, re.MULTILINE
    )
    assert re.search(
        r"^- String 5 \(A2\): 5\.0 cents flat, give or take 0\.\d\.$", found, re.MULTILINE
    )
    assert "- String 4 (D3): in tune as far as we can tell, give or take 0." in found
    # A millimetre is 1731.2 / 647.7 = 2.67 cents at the 12th fret: 3 mm, and 1.875 mm in quarters
    # of an M3's 0.5 mm.
    work = section(letter, "What will be done")
    assert "- String 6: made 3 mm longer. It should then be in tune, give or take" in work
    assert "- String 5: made 1.88 mm shorter. It should then be in tune, give or take" in work
    assert "- String 4: stays as it is, in tune, give or take" in work
    assert "What was done" not in letter
    assert "Strings 3, 2 and 1: we have no usable recording" in letter
    assert "A qualified repairer who has the instrument in hand decides" in letter


@pytest.mark.parametrize(
    ("told", "says"),
    [(True, "By our notes, this has been done"), (False, "advised for the bridge, and we take it")],
)
def test_letter_after_the_work(tmp_path, told, says) -> None:
    instrument = instrument_of(tmp_path, own_saddles())
    adjusters = instrument.bridge.adjusters
    travel = {each.name: each.travel_mm for each in adjusters}
    before = {6: (8.0, 0.4), 5: (-5.0, 0.4)}
    moves = {"saddle 6": 3.0, "saddle 5": -1.75}
    done = Done("before.json", before, moves, travel, {}, prior_response(adjusters), told)
    letter = as_letter(report_with(instrument, {6: 0.0, 5: -0.1, 4: 1.0}, done=done), DAY)
    found = section(letter, "What was found")
    assert "String 6 (E2): before, 8.0 cents sharp, give or take 0.4; now, in tune" in found
    assert "String 5 (A2): before, 5.0 cents flat, give or take 0.4; now, in tune" in found
    assert "String 4 (D3): 1.0 cents sharp" in found
    was_done = section(letter, "What was done")
    assert says in was_done
    assert "- String 6: made 3 mm longer." in was_done
    assert "- String 5: made 1.75 mm shorter." in was_done
    assert "String 4" not in was_done
    assert section(letter, "What is still to be done")
    assert "What will be done" not in letter


def test_nothing_is_said_to_be_done_where_nothing_was(tmp_path) -> None:
    instrument = instrument_of(tmp_path, own_saddles())
    adjusters = instrument.bridge.adjusters
    travel = {each.name: each.travel_mm for each in adjusters}
    done = Done(
        "before.json", {6: (8.0, 0.4)}, {}, travel, {}, prior_response(adjusters), told=True
    )
    was_done = section(
        as_letter(report_with(instrument, {6: 8.0}, done=done), DAY), "What was done"
    )
    assert "made" not in was_done
    assert "By our notes" not in was_done


TWO_POSTS = 'kind = "two posts"\nstring_spread_mm = 52.0\npost_positions_mm = [-11.0, 63.0]'


def test_a_compromise_is_called_one(tmp_path) -> None:
    """One piece cannot serve string 4 alone: those beside it pay, and it is said for whom."""
    report = report_with(
        instrument_of(tmp_path, TWO_POSTS), {6: 0.0, 5: 0.0, 4: 9.0, 3: 0.0, 2: 0.0, 1: 0.0}
    )
    work = section(as_letter(report, DAY), "What will be done")
    assert work.count("Of all strings on the same piece together, that is the best") == 6
    (note,) = [each for each in report.warnings if "further off than now" in each]
    assert note.startswith("Strings 6, 5, 3, 2 and 1 will be")
    assert "so that string 4, the worst, comes nearer" in note


def test_what_is_left_for_want_of_certainty_is_said_to_be(tmp_path) -> None:
    """Between 3.2 sharp and 3.0 flat the best place is 0.1 cents away, of which nobody is sure."""
    bridge = "saddles = [[6, 5], [4, 3], [2, 1]]"
    errors = {6: 3.2, 5: -3.0, 4: 0.0, 3: 0.0, 2: 8.0, 1: 8.0}
    letter = as_letter(report_with(instrument_of(tmp_path, bridge), errors), DAY)
    work = section(letter, "What will be done").splitlines()
    (left,) = [each for each in work if "String 6" in each]
    assert "stays as it is, 3.2 cents sharp" in left
    assert "more recordings would show" in left
    (moved,) = [each for each in work if "String 2" in each]
    assert "more recordings" not in moved


def test_bridge_that_does_not_go_far_enough(tmp_path) -> None:
    screw = 'thread = "M3"\nscrew_head = "tail"\ntravel_mm = [1.0, 1.0]\n'
    instrument = instrument_of(tmp_path, own_saddles(), screw=screw)
    work = section(as_letter(report_with(instrument, {6: 8.0}), DAY), "What will be done")
    line = next(each for each in work.splitlines() if "String 6" in each)
    assert "made 1 mm longer" in line
    # 8.0 less 2.67 cents for the one millimetre that there is.
    assert "It should then be 5.3 cents sharp" in line
    assert line.endswith("That is the best that can be had at this bridge.")


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_of_bridge_in_plain_words(tmp_path, kind) -> None:
    path = tmp_path / "instrument.toml"
    path.write_text(f"[instrument]\n{KINDS[kind]}", encoding="utf-8")
    instrument = read_instrument(path)
    errors = dict(zip(instrument.strings, (8.0, -5.0, 3.0, 0.0, 11.0, -2.0) * 2, strict=False))
    for lacking in (None, instrument.strings[0], instrument.strings[-1]):
        heard = {string: error for string, error in errors.items() if string != lacking}
        letter = as_letter(report_with(instrument, heard), DAY)
        work = section(letter, "What will be done")
        one_piece = kind in {"two posts", "floating"}  # all strings or none
        moves = re.search(r"made \d+(?:\.\d+)? mm (longer|shorter)", work)
        assert bool(moves) != (one_piece and lacking is not None)
        assert bool(moves) != ("all of them have been measured" in work)
        assert not re.search(JARGON, letter), re.search(JARGON, letter)
        assert ("filed away does not come back" in work) == (kind == "filed")
    letter = as_letter(report_with(instrument, {}), DAY)
    assert "What will be done" not in letter


def test_doubts_causes_and_what_was_left_out() -> None:
    hums = (Caution("hums at 50 Hz (-10 dB against the note). Move away.", 0.1),)
    silent = Measured("s2_open_1.wav", Label(2, "open", 1), None, "is silent (-90 dBFS). Look.")
    string = published_string(6, height_nut_mm=2.5)
    high = fretted_notes(6, string, Setbacks(2.46, -0.43), (1, 3, 5, 7, 12, 17, 19))
    often = [replace(x, label=replace(x.label, take=take)) for x in high for take in (1, 2, 3)]
    others = [
        replace(note("5 open"), cautions=hums),
        note("5 f12"),
        note("4 open"),
        note("4 f12", 80),
    ]
    letter = as_letter(report_of(*often, *others, silent), DAY)
    assert "- String 6: perhaps too high at the nut, the slotted piece" in letter
    assert "- `s5_open_1.wav`: a hum in it" in letter
    assert "- `s2_open_1.wav`: is silent." in letter
    assert "- String 4: the two notes do not fit together." in letter
    assert "String 6 first needs work at the nut" not in letter  # no bridge, no work there
    assert not re.search(JARGON, letter)


def test_where_the_nut_comes_first_so_it_does_here(tmp_path) -> None:
    """A nut 1 mm too far from the frets, and a saddle that would be moved for it."""
    instrument = instrument_of(tmp_path, own_saddles())
    notes = fretted_notes(6, published_string(6), Setbacks(2.46, 1.0), (1, 3, 5, 7, 12, 17, 19))
    often = [replace(x, label=replace(x.label, take=take)) for x in notes for take in (1, 2, 3)]
    letter = as_letter(report_with(instrument, {}, *often), DAY)
    assert "String 6 first needs work at the nut" in section(letter, "What will be done")


def test_without_a_bridge_and_without_anything() -> None:
    found = StringResult(1, "E4", error_cents=3.0, error_uncertainty_cents=0.5)
    lengths = replace(found, saddle_move_mm=1.12, saddle_move_uncertainty_mm=0.2)
    for string, said in ((found, "cannot be said without the length"), (lengths, "1.1 mm longer")):
        report = Report("x", ("E4",), 440.0, (string,), (), (), (), name_given=False)
        letter = as_letter(report, DAY)
        assert said in section(letter, "What will be done")
        assert letter.startswith("# The tuning along the neck\n")
    empty = Report("x", ("E4",), 440.0, (StringResult(1, "E4", "r"),), (), (), ())
    headings = [each.heading for each in letter_of(empty, DAY).sections]
    assert headings == ["What was measured", "What could not be measured", "Please note"]


HOSTILE = "<script>alert(1)</script> *b* [x](javascript:y) ![i](z) `c` # | &amp;"


def test_hostile_names_show_as_text(tmp_path) -> None:
    instrument = replace(instrument_of(tmp_path, own_saddles()), name=HOSTILE)
    bad = Measured(HOSTILE, None, None, f"is odd: {HOSTILE}")
    report = report_with(instrument, {6: 1.0}, bad)
    tokens = MarkdownIt("commonmark").parse(as_letter(report, DAY))
    inside = [child for token in tokens for child in token.children or ()]
    assert {each.type for each in inside} <= {"text", "code_inline", "text_special"}
    assert not any(token.type.startswith("html") for token in tokens)
    title = "".join(each.content for each in tokens[1].children)
    assert title == f"The tuning along the neck of {HOSTILE}"
    assert [each.content for each in inside if each.type == "code_inline"] == [HOSTILE]


def test_command_writes_it_beside_the_other_outputs(called, tmp_path) -> None:
    path = tmp_path / "letter.md"
    done = called(
        "analyze", SAMPLE_AUDIO / "own_saddles", "--letter", path, "--json", tmp_path / "j"
    )
    assert (done.code, done.err) == (0, "")
    assert "6 of 6 strings could be measured, from 16 recordings." in path.read_text("utf-8")
