"""Recorded guitars whose frequency is stated: Debian's package of patches for synthesis.

A patch says of each sample its frequency in thousandths of a hertz (``stated_notes``; GPL 2 or
later, ``fetch_recordings``). Most were put down as the nominal ones, though the strings were up to
8 cents off, so that only the names can be held to them; those of the jazz guitar follow the sound.
The names of the samples, as far as they have any, are the notes as a guitarist writes them or where
they were played: the high E string at frets 0, 5, 8, 12 and 17.
"""

from __future__ import annotations

import numpy as np
import pytest
from measured_notes import measured
from open_recordings import fetched
from stated_notes import StatedNote, key_hz, patch_notes

from analyzer.music import cents_between, nearest_note
from analyzer.pitch.settle import SettledPitch

pytestmark = pytest.mark.source(
    "Debian package freepats 20060219 (samples with stated frequencies)",
    "open data",
    "names of real guitars' notes, and frequencies as far as they follow the sound",
)

TUNED_CENTS = 10.0  # a string is nearer to its note than this, or it is not in tune


@pytest.fixture(scope="module")
def notes_of(tmp_path_factory):
    """The notes of a patch, each with what is measured of it."""
    folder = fetched("patches")
    scratch = tmp_path_factory.mktemp("patches") / "note.wav"

    def of(patch: str) -> list[tuple[StatedNote, SettledPitch]]:
        notes = patch_notes(folder / f"{patch}.pat")
        return [(note, measured(note.write(scratch))) for note in notes]

    return of


@pytest.mark.parametrize(
    ("patch", "count"),
    [("024_Nylon_Guitar", 8), ("025_Steel_Guitar", 10), ("027_Clean_Electric_Guitar", 9)],
)
def test_every_note_is_the_one_stated(notes_of, patch, count) -> None:
    notes = notes_of(patch)
    assert len(notes) == count
    for note, pitch in notes:
        assert nearest_note(pitch.settled_hz)[0] == nearest_note(key_hz(note.key))[0], note.name
        assert abs(cents_between(note.stated_hz, pitch.settled_hz)) < TUNED_CENTS, note.name


def test_stated_frequencies_that_follow_the_sound_are_followed(notes_of) -> None:
    """The jazz guitar's lie 0 to 20 cents above their notes, and so does what is measured."""
    stated, found = [], []
    for note, pitch in notes_of("026_Jazz_Guitar"):
        stated.append(cents_between(key_hz(note.key), note.stated_hz))
        found.append(cents_between(key_hz(note.key), pitch.settled_hz))
    assert len(stated) == 13
    assert np.ptp(stated) > 15
    assert np.polyfit(stated, found, 1)[0] == pytest.approx(1, abs=0.25)
    assert np.corrcoef(stated, found)[0, 1] > 0.95
    assert np.max(np.abs(np.subtract(found, stated))) < TUNED_CENTS


def test_high_string_played_up_its_frets(notes_of) -> None:
    """Frets 5, 8, 12 and 17 of one string: 5, 8, 12 and 17 semitones, to a few cents."""
    found = {note.name: pitch.settled_hz for note, pitch in notes_of("025_Steel_Guitar")}
    steps = {"c_e8": 3, "e_e12": 7, "a_e17": 12}
    for name, semitones in steps.items():
        assert abs(cents_between(found["a_e5"], found[name]) - 100 * semitones) < 3, name
