"""Recorded guitars and basses whose pitch is stated to a cent: Debian's package of a sound font.

The font says of every sample its key and the correction that puts it in tune (``stated_notes``;
MIT licence, ``fetch_recordings``). The correction is a whole number of cents, found by whoever made
the font with whatever tuner they had: 0.5 cents of rounding, and 2 for a tuner's reading (common
practice, from memory). And of a note whose partials do not agree, or that glides, it may say any of
several pitches: how far apart these lie, Praat shows (``praat_reference``).

What pluckcheck calls the pitch is at the lower end of them: the first partial of a stiff string,
once the note has settled. So it lies below what is stated, by about a cent on average and by
several on thick strings, whose partials are stretched most.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from measured_notes import as_instrument, measured, own_octaves
from open_recordings import fetched
from praat_reference import praat_readings
from stated_notes import StatedNote, font_notes, key_hz

from analyzer.music import cents_between, nearest_note
from analyzer.pitch.settle import SettledPitch

pytestmark = pytest.mark.source(
    "Debian package fluid-soundfont-gm 3.1 (samples with stated keys and corrections)",
    "open data",
    "names and stated corrections of real guitars and basses, and the errors that follow from them",
)

ROUNDING_CENTS, TUNER_CENTS = 0.5, 2.0
GOAL_CENTS = 1.0  # of the measurement: a fraction of the 3 to 10 cents that are heard
SHORTEST_S = 0.6
GUITARS = ("Steel String Guitar", "Nylon Guitar", "Clean Guitar", "Jazz Guitar")
BASSES = ("Fingered Bass", "Acoustic Bass")
DISTORTED = ("Overdrive Guitar", "Distortion Guitar")
STRUCK = ("Picked Bass", "Slap Bass")


@pytest.fixture(scope="module")
def notes_of(tmp_path_factory):
    """An instrument's notes that are long enough, each as a file and as measured; once."""
    (font,) = fetched("soundfont").glob("*.sf2")
    folder = tmp_path_factory.mktemp("font")

    @cache
    def of(instrument: str) -> list[tuple[StatedNote, SettledPitch]]:
        notes = [each for each in font_notes(font, instrument) if each.duration_s > SHORTEST_S]
        paths = [folder / f"{instrument}_{each.key}.wav" for each in notes]
        return [(note, measured(note.write(path))) for note, path in zip(notes, paths, strict=True)]

    of.folder = folder
    return of


@pytest.mark.parametrize("instrument", [*GUITARS, *BASSES, "Slap Bass"])
def test_every_note_is_called_by_its_key(notes_of, instrument) -> None:
    notes = notes_of(instrument)
    assert len(notes) >= 8
    for note, pitch in notes:
        name, _ = nearest_note(key_hz(note.key))
        assert nearest_note(pitch.settled_hz)[0] == name, note.name


def spread_cents(note: StatedNote) -> float:
    used = note.samples[: round(2.2 * note.rate_hz)] / 2**15
    return praat_readings(used, note.rate_hz, note.stated_hz).spread_cents


@pytest.mark.parametrize("instrument", [*GUITARS, *BASSES])
def test_stated_correction_is_what_is_measured(notes_of, instrument) -> None:
    for note, pitch in notes_of(instrument):
        off_cents = cents_between(note.stated_hz, pitch.settled_hz)
        known_cents = ROUNDING_CENTS + TUNER_CENTS + pitch.settled_uncertainty_cents
        assert abs(off_cents) <= known_cents + spread_cents(note), note.name


def test_stated_corrections_are_followed_in_sign_and_size(notes_of) -> None:
    """Over some sixty notes, which the font corrects by -11 to +45 cents."""
    stated, found = [], []
    for instrument in (*GUITARS, *BASSES):
        for note, pitch in notes_of(instrument):
            stated.append(cents_between(key_hz(note.key), note.stated_hz))
            found.append(cents_between(key_hz(note.key), pitch.settled_hz))
    off = np.subtract(found, stated)
    print(
        f"\n{off.size} notes: median {np.median(off):+.2f}, median of sizes "
        f"{np.median(np.abs(off)):.2f}, rms {np.sqrt(np.mean(off**2)):.2f} cents"
    )
    assert off.size > 50
    assert np.ptp(stated) > 40
    assert np.polyfit(stated, found, 1)[0] == pytest.approx(1, abs=0.05)
    assert np.median(np.abs(off)) < TUNER_CENTS
    assert -TUNER_CENTS < np.median(off) < 0


def test_errors_of_real_octaves_are_those_stated(notes_of, tmp_path) -> None:
    """Samples an octave apart as a string; on the electric ones many are one string's 12th fret."""
    strings, stated = [], []
    for instrument in (*GUITARS[:3], *DISTORTED):
        notes = {note.key: note for note, _ in notes_of(instrument)}
        for key in (64, 59):
            low, high = notes[key], notes[key + 12]
            stated.append(cents_between(2 * low.stated_hz, high.stated_hz))
            paths = [notes_of.folder / f"{instrument}_{each.key}.wav" for each in (low, high)]
            strings.append((nearest_note(low.stated_hz)[0], *paths))
    found = as_instrument(tmp_path, strings).strings
    off = [each.error_cents - cents for each, cents in zip(found, stated, strict=True)]
    for each, cents, apart in zip(found, stated, off, strict=True):
        print(f"{each.note}, string {each.string}: stated {cents:+.0f}, {each.error_cents:+.2f}")
        known_cents = 2 * ROUNDING_CENTS + np.sqrt(2) * TUNER_CENTS
        assert abs(apart) <= known_cents + each.error_uncertainty_cents
    assert np.ptp(stated) > 20
    assert np.median(np.abs(off)) < 1.5


@pytest.mark.parametrize("instrument", GUITARS[:3])
def test_octave_of_itself_misses_by_what_it_was_moved(notes_of, tmp_path, instrument) -> None:
    """A recording twice as fast is its own fretted note; the rest of the move is its error."""
    keys = {note.key for note, _ in notes_of(instrument)}
    moves = dict(zip((40, 45, 50, 55, 59), (-12.0, -4.0, 3.0, 9.0, 0.0), strict=True))
    assert moves.keys() <= keys
    strings = {
        nearest_note(key_hz(key))[0]: (notes_of.folder / f"{instrument}_{key}.wav", cents)
        for key, cents in moves.items()
    }
    report = own_octaves(tmp_path, strings)
    for string, cents in zip(report.strings, moves.values(), strict=True):
        assert string.error_cents == pytest.approx(cents, abs=GOAL_CENTS), string.note


@pytest.mark.parametrize("instrument", [*BASSES, *STRUCK])
def test_the_lowest_string_of_a_bass_is_heard(notes_of, instrument) -> None:
    """E1, 41.2 Hz: as stated, or as far below as the pitches of so thick a string lie apart."""
    note, pitch = notes_of(instrument)[0]
    assert note.key == 28
    off_cents = cents_between(note.stated_hz, pitch.settled_hz)
    assert -spread_cents(note) - TUNER_CENTS - ROUNDING_CENTS <= off_cents <= TUNER_CENTS
