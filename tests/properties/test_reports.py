"""What does not matter to a report, and what only turns it round.

Notes are made by hand, so that their pitches are exact and no tolerance stands for noise.
"""

from __future__ import annotations

import os
import shutil
from dataclasses import replace
from random import Random

import pytest
from conftest import SAMPLE_AUDIO
from forked import forked
from hypothesis import given
from hypothesis import strategies as st
from made_reports import instrument_of, notes_of, own_saddles
from steady import steady

from analyzer import analysis
from analyzer.analysis import analyze_folder
from analyzer.music import note_hz
from analyzer.report.build import build_report

TUNING = ("E2", "A2", "D3")
ERRORS = st.fixed_dictionaries({n: st.floats(-15, 15) for n in (3, 2, 1)})
TURNED = {"clockwise": "counterclockwise", "counterclockwise": "clockwise", "none": "none"}
SCREW = 'thread = "{thread}"\nscrew_head = "{head}"\nsmallest_turn = 0.25\ntravel_mm = [8.0, 8.0]\n'
POSTS = 'kind = "two posts"\nstring_positions_mm = {strings}\npost_positions_mm = {posts}'


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    return tmp_path_factory.mktemp("made")


def report(instrument, measured, a4_hz=440.0):
    return build_report(instrument, a4_hz, measured, ())


def advice(found):
    return [(each.name, each.move_mm, each.turns, each.direction) for each in found.adjusters]


@steady(30)
@given(ERRORS, st.randoms(use_true_random=False))
def test_the_order_of_recordings_changes_nothing(place, errors, random: Random) -> None:
    instrument = instrument_of(place, own_saddles(TUNING), TUNING)
    notes = notes_of(instrument, errors, takes=3)
    shuffled = random.sample(notes, len(notes))
    one, other = report(instrument, notes), report(instrument, shuffled)
    for each, again in zip(one.strings, other.strings, strict=True):
        assert again.error_cents == pytest.approx(each.error_cents, abs=1e-9)
        wide = each.error_uncertainty_cents
        assert again.error_uncertainty_cents == pytest.approx(wide, rel=1e-9)
    assert [each[2:] for each in advice(one)] == [each[2:] for each in advice(other)]


def test_the_order_of_files_and_their_times_change_nothing(tmp_path) -> None:
    """Written last to first, so that a folder lists them, and dates them, the other way round."""
    source = SAMPLE_AUDIO / "paired_saddles"
    for path in sorted(source.iterdir(), reverse=True):
        shutil.copyfile(path, tmp_path / path.name)
    one, other = analyze_folder(source, jobs=1), analyze_folder(tmp_path, jobs=1)
    assert replace(other, instrument=one.instrument) == one


def test_number_of_jobs_changes_nothing(tmp_path) -> None:
    """So few recordings go to one process as a rule; here half of them are enough for another."""
    demo = SAMPLE_AUDIO / "own_saddles"
    real = analysis.measure_file

    def measure_file(*of: object, **more: object) -> object:
        (tmp_path / str(os.getpid())).touch()
        return real(*of, **more)

    def halve() -> None:
        analysis._FILES_A_WORKER = 8
        analysis.measure_file = measure_file

    printed = []
    for jobs in (1, 2):
        done = forked("analyze", demo, "--json", "-", "--jobs", jobs, prepare=halve)
        assert (done.code, done.err) == (0, "")
        printed.append(done.out)
        at_work = {int(each.name) for each in tmp_path.iterdir()}
        assert (done.pid in at_work) == (jobs == 1)
        assert len(at_work) in ([1] if jobs == 1 else [2, 3])  # that of the first, and others
    assert printed[0] == printed[1]
    assert printed[0].startswith("{")


def error_of(found, string: int) -> float:
    return next(each.error_cents for each in found.strings if each.string == string)


@steady(30)
@given(ERRORS)
def test_open_and_fretted_exchanged_turn_the_error_round(place, errors) -> None:
    """The open note an octave up as the fretted one, the fretted one an octave down as the open."""
    instrument = instrument_of(place, own_saddles(TUNING), TUNING)
    found = {}
    for way in (1, -1):
        notes = notes_of(instrument, errors)
        pitches = {(n.label.string, n.label.fret): n.pitch.settled_hz for n in notes}
        if way < 0:
            exchange = {"open": ("f12", 0.5), "f12": ("open", 2.0)}
            notes = [
                replace(note, pitch=replace(note.pitch, settled_hz=octave * pitches[
                    note.label.string, fret]))
                for note in notes for fret, octave in [exchange[note.label.fret]]
            ]  # fmt: skip
        found[way] = report(instrument, notes)
    for string, error in errors.items():
        assert error_of(found[1], string) == pytest.approx(error, abs=1e-9)
        assert error_of(found[-1], string) == pytest.approx(-error, abs=1e-9)


@steady(30)
@given(ERRORS, st.integers(-8, 8))
def test_transposing_changes_neither_error_nor_advice(place, errors, semitones) -> None:
    """All strings and the A4 they are named by, so many semitones of equal temperament."""
    instrument = instrument_of(place, own_saddles(TUNING), TUNING)
    notes, ratio = notes_of(instrument, errors), 2 ** (semitones / 12)
    moved = [
        replace(note, pitch=replace(note.pitch, settled_hz=ratio * note.pitch.settled_hz))
        for note in notes
    ]
    one, other = report(instrument, notes), report(instrument, moved, 440.0 * ratio)
    for string in errors:
        assert error_of(other, string) == pytest.approx(error_of(one, string), abs=1e-9)
    assert [each[2:] for each in advice(one)] == [each[2:] for each in advice(other)]
    assert note_hz("A4", 440.0 * ratio) == pytest.approx(440.0 * ratio)


@steady(20)
@given(ERRORS)
def test_head_and_hand_of_a_screw_turn_its_direction_round_and_nothing_else(place, errors) -> None:
    found = {}
    for thread in ("M3", "M3-LH"):
        for head in ("tail", "neck"):
            screw = SCREW.format(thread=thread, head=head)
            instrument = instrument_of(place, own_saddles(TUNING), TUNING, screw=screw)
            found[thread, head] = advice(report(instrument, notes_of(instrument, errors)))
    plain = found["M3", "tail"]
    turned = [(name, move, turns, TURNED[way]) for name, move, turns, way in plain]
    assert found["M3-LH", "neck"] == plain
    assert found["M3", "neck"] == found["M3-LH", "tail"] == turned
    for string, (_, move, turns, way) in zip((3, 2, 1), plain, strict=True):
        if turns:  # a sharp string is lengthened: with the head at the tail, clockwise
            assert (way == "clockwise") == (errors[string] > 0)
            assert (move > 0) == (errors[string] > 0)


@steady(20)
@given(
    ERRORS,
    st.tuples(st.floats(5, 20), st.floats(5, 20)),
    st.tuples(st.floats(2, 30), st.floats(2, 30)),
)
def test_a_mirrored_bridge_has_its_posts_exchanged(place, errors, gaps, beyond) -> None:
    """Bass on the right: the strings count the other way, and so do the posts."""
    across = [0.0, gaps[0], gaps[0] + gaps[1]]
    posts = [-beyond[0], across[-1] + beyond[1]]
    mirrored = [across[-1] - each for each in reversed(across)]
    other_posts = [across[-1] - each for each in reversed(posts)]
    same = ("A2", "A2", "A2")  # so that a string is told from another by its error alone
    found = []
    for strings, ends, given_errors in (
        (across, posts, errors),
        (mirrored, other_posts, {4 - string: error for string, error in errors.items()}),
    ):
        instrument = instrument_of(place, POSTS.format(strings=strings, posts=ends), same)
        found.append(report(instrument, notes_of(instrument, given_errors)))
    (bass, treble), (other_bass, other_treble) = (each.adjusters for each in found)
    for one, other in ((bass, other_treble), (treble, other_bass)):
        assert (one.turns, one.direction) == (other.turns, other.direction)
    residuals = [each.saddles[0].residual_cents for each in found]
    for string in (3, 2, 1):
        assert residuals[0][string] == pytest.approx(residuals[1][4 - string], abs=1e-6)
