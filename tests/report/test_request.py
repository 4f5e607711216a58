"""The message that asks a customer for what is missing or unusable, and nothing else."""

from __future__ import annotations

import ast
import re
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile
from conftest import ROOT, SAMPLE_AUDIO
from markdown_it import MarkdownIt

from analyzer.errors import UnusableInputError
from analyzer.findings.model import Finding
from analyzer.report.markdown import code, escaped
from analyzer.report.model import RecordingResult, Report, StringResult
from analyzer.report.plain_words import in_plain_words
from analyzer.report.request import request_of
from analyzer.report.request_text import as_request, place

RATE_HZ = 44100
UNNAMED = "has a name that says neither string nor fret. Name it like s6_open_1.wav."


def reasons() -> list[str]:
    """What every RecordingError of the library says was found, its values left out.

    But for those of a station's own tone, which no customer records.
    """
    found = []
    for path in (ROOT / "analyzer").rglob("*.py"):
        if path.parent.name == "station_check":
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            raises = isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
            if raises and node.func.id in ("RecordingError", "DrownedError", "_beyond"):
                found.append(f"{path.name}:{node.lineno} {literal(node.args[1])}")
    return found


def literal(node: ast.expr) -> str:
    """The fixed text of a string, a formatted string, or the names they are put together from."""
    if isinstance(node, ast.Constant):
        return str(node.value)
    if isinstance(node, ast.JoinedStr):
        return "".join(literal(each) for each in node.values if isinstance(each, ast.Constant))
    return ""


def test_every_reason_has_plain_words() -> None:
    said = [each for each in reasons() if each.partition(" ")[2].strip()]
    assert len(said) > 30
    assert [each for each in said if in_plain_words(each.partition(" ")[2]) is None] == []


def test_plain_words_have_no_words_of_the_trade() -> None:
    from analyzer.report import plain_words

    jargon = r"\b(cents?|Hz|dB\w*|partials?|sample|header|decod\w*|clipp\w*|octave|intonation)\b"
    for _, plain in plain_words._ROWS:
        assert not re.search(jargon, f"{plain.fault} {plain.remedy}"), plain


def report(strings, recordings) -> Report:
    return Report("A <b>*bold*</b> one", ("E2",), 440.0, strings, (), recordings, ())


def taken(file: str, fret: str, take: int, reason: str | None = None) -> RecordingResult:
    return RecordingResult(file, 6, fret, take, "rejected" if reason else "used", reason)


def test_only_what_is_missing_or_unusable_is_asked_for() -> None:
    strings = (
        StringResult(6, "E2", "No usable 12th-fret recording."),
        StringResult(5, "A2", error_cents=1.0),
        StringResult(4, "D3", "No usable open and no usable 12th-fret recording."),
    )
    recordings = (
        taken("s6_open_1.wav", "open", 1),
        taken("s6_open_2.wav", "open", 2, "is silent (loudest -99 dBFS). Check the cable."),
        taken("s6_f12_3.wav", "f12", 3, "holds only 0.200 s of a note. At least 0.5 s is needed."),
        RecordingResult("song.wav", None, None, None, "rejected", UNNAMED),
    )
    request = request_of(report(strings, recordings))
    assert [each.file for each in request.asked] == [
        "s6_f12_4.wav",
        "s4_open_1.wav",
        "s4_f12_1.wav",
    ]
    assert [fault.named for fault in request.asked[0].faults] == ["s6_f12_3.wav"]
    assert [fault.named for fault in request.spare] == ["s6_open_2.wav"]
    assert [fault.named for fault in request.unknown] == ["song.wav"]
    text = as_request(report(strings, recordings))
    assert "1 of 3 strings could be measured so far" in text
    assert "`s6_f12_3.wav` is too short. Let the note ring for three seconds" in text
    assert text.count("we have no recording of it") == 2


def test_notes_that_do_not_fit_are_both_asked_for() -> None:
    strings = (StringResult(6, "E2", "The fretted note is +80 cents from the octave."),)
    recordings = (taken("s6_open_1.wav", "open", 1), taken("s6_f12_1.wav", "f12", 1))
    request = request_of(report(strings, recordings))
    assert [each.file for each in request.asked] == ["s6_open_2.wav", "s6_f12_2.wav"]
    assert "do not fit together" in as_request(report(strings, recordings))


def test_notes_that_are_in_doubt_are_asked_for_though_there_is_a_figure() -> None:
    """What the letter says should be recorded again, the message asks for."""
    strings = (StringResult(6, "E2", error_cents=1.0), StringResult(5, "A2", error_cents=1.0))
    recordings = (taken("s6_open_1.wav", "open", 1), taken("s6_f12_1.wav", "f12", 1))
    cause = "open and fretted notes of two strings"
    doubted = replace(
        report(strings, recordings), findings=(Finding(cause, (6,), "its stiffness", "Look"),)
    )
    asked = request_of(doubted).asked
    assert [each.file for each in asked] == ["s6_open_2.wav", "s6_f12_2.wav"]
    text = as_request(doubted)
    assert text.count("do not seem to be of one string. Check which string") == 2
    assert "2 of 2 strings could be measured so far" in text
    assert "all that we need" not in text


def test_a_pluck_of_no_string_is_named_where_a_note_is_lacking() -> None:
    """A string tuned to another note would be recorded so again if nobody said what is wrong."""
    odd = "sounds 277.2 Hz (C#4), which is neither an open string nor a 12th fret of B3."
    recordings = (RecordingResult("whole.wav", None, None, None, "rejected", odd, start_s=27.4),)
    lacking = (StringResult(2, "B3", "No usable open and no usable 12th-fret recording."),)
    request = request_of(report(lacking, recordings))
    assert [fault.named for fault in request.unknown] == ["whole.wav at 27.4 s"]
    text = as_request(report(lacking, recordings))
    assert "`whole.wav at 27.4 s` holds a note that belongs to none of the strings. Tune" in text
    complete = (StringResult(2, "B3", error_cents=1.0),)
    assert request_of(report(complete, recordings)).unknown == ()


def test_only_a_given_name_stands_in_the_message() -> None:
    named = report((StringResult(6, "E2", error_cents=1.0),), ())
    assert as_request(named).startswith("# Your recordings of A \\<b\\>\\*bold\\*\\</b\\> one\n")
    assert as_request(replace(named, name_given=False)).startswith("# Your recordings\n")


def test_nothing_lacking_is_said() -> None:
    strings = (StringResult(6, "E2", error_cents=1.0),)
    text = as_request(report(strings, (taken("s6_open_1.wav", "open", 1),)))
    assert "every string could be measured" in text
    assert "Please record" not in text


@pytest.mark.parametrize(
    "name",
    [
        "<script>alert(1)</script>.wav",
        "a`b``c.wav",
        "[click](javascript:x).wav",
        "=1+1.wav",
        "\u202egpj.wav",
        "x" * 255,
        "# head\n- list.wav",
        "&lt;i&gt;.wav",
    ],
)
def test_names_are_shown_and_not_obeyed(name) -> None:
    """markdown-it-py, which follows CommonMark, makes text and code of it and nothing else."""
    for shown in (escaped(name), code(name)):
        tokens = MarkdownIt().parseInline(f"x {shown} y")[0].children
        assert {token.type for token in tokens} <= {"text", "text_special", "code_inline"}
        assert "\u202e" not in shown
        assert "\n" not in shown
    inner = MarkdownIt().parseInline(code(name))[0].children
    assert [token.type for token in inner] == ["code_inline"]


def test_places_in_words() -> None:
    assert place("f12") == "pressed down at the 12th fret"
    assert [place(f"f{n}").split()[-2] for n in (1, 2, 3, 11, 21)] == [
        "1st", "2nd", "3rd", "11th", "21st",
    ]  # fmt: skip


def test_the_command_writes_it(tmp_path: Path, called) -> None:
    for name in ("s6_open_1.wav", "s6_f12_1.wav", "s5_open_1.wav"):
        shutil.copy(SAMPLE_AUDIO / "own_saddles" / name, tmp_path)
    soundfile.write(tmp_path / "s5_f12_1.wav", np.zeros(RATE_HZ), RATE_HZ)
    done = called("analyze", tmp_path, "--request", "-", "--jobs", 1)
    assert (done.code, done.err) == (1, "")
    asked = re.findall(r"named `(.*?)`", done.out)
    assert asked == ["s5_f12_2.wav"] + [
        f"s{n}_{fret}_1.wav" for n in (4, 3, 2, 1) for fret in ("open", "f12")
    ]
    assert "`s5_f12_1.wav` is silent" in done.out
    done = called("analyze", tmp_path, "--jobs", 1)  # which needs a name as well
    assert "No usable 12th-fret recording. Record s5_f12_2.wav." in done.out


@pytest.mark.parametrize(
    ("reason", "remedy"),
    [
        (
            "is in a format of phones and video, and its reader is not installed. Install it.",
            r"pluckcheck\[phone\]",
        ),
        ("has no temporary file to be decoded into (No space left on device). Free some.", "Free"),
    ],
)
def test_what_cannot_be_read_here_is_not_asked_for_again(reason, remedy) -> None:
    """The fault is on this side: the customer's file may be good."""
    unread = RecordingResult("s6_open_1.m4a", 6, "open", 1, "rejected", reason)
    report = Report("made", ("E2",), 440.0, (StringResult(6, "E2"),), (), (unread,), ())
    with pytest.raises(UnusableInputError, match=rf"s6_open_1\.m4a may be good.*{remedy}"):
        request_of(report)
