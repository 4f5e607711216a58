"""The lines of bars on a terminal, and what a pipe, NO_COLOR and a dumb terminal get instead."""

from __future__ import annotations

import io
import json
import os
import pty
import re
from dataclasses import replace

import pytest
from conftest import ROOT, SAMPLE_AUDIO
from forked import begin, standing_in
from made_reports import TWELVE_TUNING, instrument_of, notes_of, own_saddles
from rich.console import Console

from analyzer.pitch.track import Track
from analyzer.report.build import build_report
from analyzer.report.terminal import TerminalReport

BARS = "▁▂▃▄▅▆▇█"
ERRORS = {6: 9.4, 5: 4.1, 4: -3.2, 3: 12.5, 2: 0.0, 1: -1.1}
TIMES_S = tuple(0.05 * place for place in range(1, 61))
DOWN = Track(TIMES_S, tuple(6.0 - 0.1 * place for place in range(60)))
UP = Track(TIMES_S, tuple(reversed(DOWN.cents)))
DEMO = SAMPLE_AUDIO / "paired_saddles"


def report_of(tmp_path, tracks, tuning=None, errors=ERRORS):
    """The open notes with the first of the tracks, the fretted ones with the second."""
    words = (own_saddles(),) if tuning is None else (own_saddles(tuning), tuning)
    instrument = instrument_of(tmp_path, *words)
    notes = [
        replace(each, pitch=replace(each.pitch, track=tracks[each.label.fret != "open"]))
        for each in notes_of(instrument, errors)
    ]
    return build_report(instrument, 440.0, notes, [])


def printed(report, width, *, terminal=True, encoding="utf-8") -> list[str]:
    stream = io.TextIOWrapper(io.BytesIO(), encoding=encoding, errors="strict")
    console = Console(
        file=stream, width=width, force_terminal=terminal, color_system=None, highlight=False
    )
    console.print(TerminalReport(report))
    stream.flush()
    return stream.buffer.getvalue().decode(encoding).splitlines()


def drawn(lines, marks=BARS) -> list[tuple[str, str]]:
    """The bars of the open and of the fretted note, string by string."""
    pattern = re.compile(rf"^ \d+ \S+ +open ([{marks} ]+?)  12th fret ?([{marks} ]*)$")
    return [match.groups() for match in map(pattern.match, lines) if match]


@pytest.mark.parametrize("width", [80, 60, 44])
def test_a_note_that_falls_goes_down_and_one_that_rises_goes_up(tmp_path, width) -> None:
    rows = drawn(printed(report_of(tmp_path, (DOWN, UP)), width))
    assert len(rows) == 6
    for falling, rising in rows:
        heights = [BARS.index(each) for each in falling]
        assert heights == sorted(heights, reverse=True)
        assert (heights[0], heights[-1]) == (7, 0)
        heights = [BARS.index(each) for each in rising]
        assert heights == sorted(heights)
        assert (heights[0], heights[-1]) == (0, 7)


def test_the_scale_is_said_and_is_one_for_all(tmp_path) -> None:
    small = Track(TIMES_S, tuple(cents / 2 for cents in DOWN.cents))
    lines = printed(report_of(tmp_path, (DOWN, small)), 80)
    (said,) = [line for line in lines if line.startswith("Pitch over ")]
    low, high = map(float, re.findall(r"[▁█] ([+-]?[\d.]+)", said))
    assert low == 0.0  # the settled pitch
    assert 5.5 < high <= 6.0
    assert "Pitch over 3.0 s" in said
    tall, half = drawn(lines)[0]
    assert max(map(BARS.index, half)) == pytest.approx(max(map(BARS.index, tall)) / 2, abs=1)


def test_gaps_stay_gaps(tmp_path) -> None:
    gapped = Track(TIMES_S, (*DOWN.cents[:20], *(None,) * 20, *DOWN.cents[40:]))
    row = drawn(printed(report_of(tmp_path, (gapped, DOWN)), 80))[0][0]
    third = len(row) // 3
    assert row[third + 1 : 2 * third].isspace()
    assert " " not in row[: third - 1] + row[2 * third + 1 :]


def test_digits_where_the_terminal_has_no_bars(tmp_path) -> None:
    lines = printed(report_of(tmp_path, (DOWN, UP)), 80, encoding="ascii")
    for falling, rising in drawn(lines, "0123456789"):
        assert (falling[0], falling[-1]) == ("9", "0")
        assert (rising[0], rising[-1]) == ("0", "9")


def test_no_drawing_in_a_pipe_nor_where_there_is_no_room(tmp_path) -> None:
    report = report_of(tmp_path, (DOWN, UP))
    for lines in (printed(report, 120, terminal=False), printed(report, 30)):
        assert not any(line.startswith("Pitch over ") for line in lines)
        assert not set(BARS) & set("".join(lines))


@pytest.mark.parametrize("tuning", [None, TWELVE_TUNING])
@pytest.mark.parametrize("encoding", ["utf-8", "ascii"])
@pytest.mark.parametrize("width", [80, 60])
def test_tables_fit_80_and_60_columns(tmp_path, width, encoding, tuning) -> None:
    """A row a string; at 60 without its pitches, which are the least of it."""
    errors = ERRORS if tuning is None else {n: 8.0 - 1.5 * n for n in range(12, 0, -1)}
    lines = printed(report_of(tmp_path, (DOWN, UP), tuning, errors), width, encoding=encoding)
    assert max(map(len, lines)) <= width
    sign = r"±|\+/-"
    rows = [line for line in lines if re.match(rf"^[ |]\d+ \S+ .*(?:{sign}).*(?:{sign})", line)]
    assert len(rows) == len(errors)
    for row, error in zip(rows, errors.values(), strict=True):
        assert ("0.0 " if error == 0 else f"{error:+.1f} ") in row
        assert (len(re.findall(r"\d\.\d{3}\b", row)) == 2) == (width == 80)


def on_a_terminal(*words: object, **variables: str) -> str:
    """What the command writes to a terminal of 80 columns; progress, on stderr, is not seen."""
    ours, theirs = pty.openpty()
    plain = {name: text for name, text in os.environ.items() if name not in {"NO_COLOR", "COLUMNS"}}
    settings = {**plain, "TERM": "xterm-256color", "COLUMNS": "80", **variables}
    running = begin(*words, prepare=standing_in(ROOT, settings), stdout=theirs)
    os.close(theirs)
    parts = []
    while True:
        try:
            part = os.read(ours, 65536)
        except OSError:  # Linux says so that the other end is closed
            break
        if not part:
            break
        parts.append(part)
    os.close(ours)
    assert running.wait().code == 0
    return b"".join(parts).decode().replace("\r\n", "\n")


def test_a_real_terminal_shows_the_drawing() -> None:
    text = on_a_terminal("analyze", DEMO)
    rows = drawn(text.splitlines())
    assert len(rows) == 6
    for row in rows:
        for bars in row:
            heights = [BARS.index(each) for each in bars.rstrip()]
            assert heights[0] > heights[-1]  # the demo's notes all start sharp
    assert "\x1b[1m" in text


@pytest.mark.parametrize("variables", [{"NO_COLOR": "1"}, {"TERM": "dumb"}])
def test_no_colour_where_none_is_wanted(variables) -> None:
    """SGR 30 to 49 and 90 to 107 are colours (ECMA-48, 8.3.117, and common practice)."""
    text = on_a_terminal("analyze", DEMO, **variables)
    codes = [int(each or 0) for found in re.findall(r"\x1b\[([\d;]*)m", text)
             for each in found.split(";")]  # fmt: skip
    assert not [each for each in codes if 30 <= each <= 49 or 90 <= each <= 107]
    assert "TERM" not in variables or "\x1b" not in text
    assert "+6.4" in text


def test_json_on_a_terminal_is_json_alone() -> None:
    report = json.loads(on_a_terminal("analyze", DEMO, "--json", "-"))
    first = report["recordings"][0]
    assert len(first["track"]["times_s"]) == len(first["track"]["cents"])
