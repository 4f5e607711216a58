"""Instrument files that are none, have no end, or hold what no person would write."""

from __future__ import annotations

import os

import pytest

from analyzer.errors import LONGEST_SHOWN, UnusableInputError, printable
from analyzer.instrument.file import read_instrument
from analyzer.instrument.threads import thread_pitch_mm

GOOD = '[instrument]\nscale_length_mm = 647.7\ntuning = ["E2", "A2"]\n'
BRIDGE = '[bridge]\nsaddles = [[2], [1]]\nthread = "M3"\nscrew_head = "tail"\n'


def complaint(path) -> str:
    """The one line that is said of an instrument file."""
    with pytest.raises(UnusableInputError) as caught:
        read_instrument(path)
    line = str(caught.value)
    assert line.isprintable()
    assert len(line) < 3 * LONGEST_SHOWN
    return line


@pytest.fixture
def file(tmp_path):
    return tmp_path / "instrument.toml"


@pytest.mark.parametrize("digits", [300, 5000, 100_000])
@pytest.mark.parametrize("number", ["9", "-9", "0x9"])
@pytest.mark.parametrize("value", ["647.7", '["E2", "A2"]', "[[2], [1]]", '"M3"', '"tail"'])
def test_numbers_of_many_digits(file, digits, number, value) -> None:
    text = (GOOD + BRIDGE).replace(value, number + "9" * digits)
    file.write_text(text, encoding="utf-8")
    line = complaint(file)
    assert line.startswith("instrument.toml")
    assert ". Give" in line or "thousands of digits" in line


def test_number_of_many_digits_in_a_list(file) -> None:
    huge = "0x" + "f" * 20_000
    file.write_text(GOOD + f"[bridge]\nsaddles = [[2], [{huge}]]\n", encoding="utf-8")
    assert "names string a number of thousands of digits" in complaint(file)


@pytest.mark.parametrize("thread", ["M3x0.0", "M3x0.0001", "M3x.09", "M3x0.٣", "٣-٤٨", "M3x0.51"])
def test_thread_that_no_screw_has(file, thread) -> None:
    with pytest.raises(ValueError, match="not a known thread"):
        thread_pitch_mm(thread)
    file.write_text(GOOD + BRIDGE.replace("M3", thread), encoding="utf-8")
    assert f"thread: is '{thread}'. Give a standard designation" in complaint(file)


def test_finest_thread() -> None:
    assert thread_pitch_mm("M3x0.1") == 0.1


# A long s folds to s, a Kelvin sign to k; the digits are Arabic-Indic and full width.
@pytest.mark.parametrize("note", ["E\u017f2", "\u212a2", "E\u0662", "\uff252", "E\uff12"])
def test_notes_are_ascii_but_for_the_signs(file, note) -> None:
    file.write_text(GOOD.replace("E2", note), encoding="utf-8")
    assert f"tuning: has '{note}'. Give a list of note names" in complaint(file)


def test_signs_of_sharp_and_flat_are_kept(file) -> None:
    file.write_text(GOOD.replace("E2", "F♯2").replace("A2", "B♭2"), encoding="utf-8")
    assert read_instrument(file).tuning == ("F♯2", "B♭2")


def test_key_given_twice_is_named_by_its_line(file) -> None:
    file.write_text(GOOD + "scale_length_mm = 650\n", encoding="utf-8")
    line = complaint(file)
    assert "a second time" in line
    assert "line 4" in line
    assert "Keep one of the two" in line


def test_control_characters_in_a_key(file) -> None:
    file.write_text(GOOD + '"a\\u001b[31m\\nb" = 1\n', encoding="utf-8")
    assert r"[instrument] a\x1b[31m\nb: is not known here" in complaint(file)


def test_long_key_is_cut(file) -> None:
    file.write_text(GOOD + f"{'k' * 100_000} = 1\n", encoding="utf-8")
    assert "kkk ... kkk" in complaint(file)


def test_what_is_no_regular_file(tmp_path) -> None:
    folder, pipe, endless = tmp_path / "folder.toml", tmp_path / "pipe.toml", tmp_path / "zero.toml"
    folder.mkdir()
    os.mkfifo(pipe)
    endless.symlink_to("/dev/zero")
    for path in (folder, pipe, endless):
        assert "is not a regular file. Give the instrument file" in complaint(path)


def test_too_large(file) -> None:
    with file.open("wb") as sparse:
        sparse.truncate(10**12)
    assert "is larger than 1 MB" in complaint(file)


def test_printable_keeps_text_and_escapes_the_rest() -> None:
    assert printable("Größe 6♯ s6.wav") == "Größe 6♯ s6.wav"
    assert printable("a\x1b[2Jb\r\n\u202ec\udcff") == r"a\x1b[2Jb\r\n\u202ec\udcff"
    assert len(printable("x" * 5000)) == LONGEST_SHOWN


@pytest.mark.parametrize("kind", ["dangling", "loop", "pipe"])
def test_broken_instrument_file_is_not_passed_over(tmp_path, run, kind) -> None:
    (tmp_path / "s6_open_1.wav").write_bytes(b"RIFF")
    path = tmp_path / "instrument.toml"
    if kind == "pipe":
        os.mkfifo(path)
    else:
        path.symlink_to("gone.toml" if kind == "dangling" else path.name)
    done = run("analyze", tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith(f"pluckcheck: {path}: ")
    assert done.stderr.count("\n") == 1


def test_name_of_the_folder_stands_in_safely(tmp_path) -> None:
    folder = tmp_path / "a\x1b[31m\nb"
    folder.mkdir()
    (folder / "instrument.toml").write_text(GOOD, encoding="utf-8")
    assert read_instrument(folder / "instrument.toml").name == r"a\x1b[31m\nb"
