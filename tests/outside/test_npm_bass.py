"""Single notes of a real electric bass, down to C#1, held to what is known of them from outside.

The recordings are a package of the npm registry (``fetch_recordings``; MIT licence), each under the
name of its note. Nobody knows their pitch to a cent; known are the names, and by how much they are
moved here.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import soundfile
from measured_notes import as_instrument, measured, moved, own_octaves
from open_recordings import fetched
from praat_reference import PRAAT_ERROR_CENTS, praat_readings

from analyzer.music import nearest_note, note_hz

PRAAT = "Praat's pitch (praat-parselmouth) on recordings of an electric bass"
pytestmark = pytest.mark.source(
    "npm package tonejs-instrument-bass-electric-wav 1.1.2",
    "open data",
    "known shifts, repeats, octaves of themselves and note names of a real bass down to C#1",
)

# Four low strings, and three thinner ones as far as a bass has them.
OPEN = ("Cs1", "E1", "G1", "As1", "Cs2", "E2", "G2")
GOAL_CENTS = 1.0  # of the measurement: a fraction of the 3 to 10 cents that are heard


@pytest.fixture(scope="module")
def bass():
    return fetched("bass")


def path_of(folder, note: str):
    return folder / f"{note}.wav"


@pytest.mark.parametrize("note", OPEN)
def test_known_shift_is_reported_as_such(bass, tmp_path, note) -> None:
    start_hz = measured(moved(path_of(bass, note), tmp_path / "as_it_is.wav", 0.0)).settled_hz
    for cents in (-6.3, 3.7):
        found = measured(moved(path_of(bass, note), tmp_path / "moved.wav", cents))
        assert 1200 * math.log2(found.settled_hz / start_hz) == pytest.approx(cents, abs=0.1)


def test_octave_of_itself_misses_by_what_it_was_moved(bass, tmp_path) -> None:
    """Twice as fast is a fretted note in tune; the rest of the move is its error."""
    moves = dict(zip(OPEN, (-12.0, -4.0, 3.0, 9.0, 0.0, 6.0, -7.0), strict=True))
    notes = {note.replace("s", "#"): (path_of(bass, note), moves[note]) for note in OPEN}
    report = own_octaves(tmp_path, notes)
    for string, cents in zip(report.strings, moves.values(), strict=True):
        assert string.error_cents == pytest.approx(cents, abs=GOAL_CENTS), string.note
        assert abs(string.error_cents - cents) <= string.error_uncertainty_cents


def test_repeats_agree_within_their_intervals(bass, tmp_path) -> None:
    """The same note more quietly, later in its file, under noise of its own each time."""
    rng = np.random.default_rng(8)
    for note in OPEN[::2]:
        samples, rate_hz = soundfile.read(path_of(bass, note), dtype="float64")
        found = [measured(path_of(bass, note))]
        for gain, silence_s in ((0.3, 0.5), (0.1, 1.5)):
            again = gain * np.concatenate([np.zeros(round(silence_s * rate_hz)), samples])
            again += rng.normal(0, 0.003 * np.std(again), again.size)  # some 50 dB below
            soundfile.write(tmp_path / "again.wav", again, rate_hz, subtype="PCM_24")
            found.append(measured(tmp_path / "again.wav"))
        for one, other in ((0, 1), (0, 2), (1, 2)):
            apart = 1200 * math.log2(found[one].settled_hz / found[other].settled_hz)
            widths = (found[one].settled_uncertainty_cents, found[other].settled_uncertainty_cents)
            assert abs(apart) <= min(math.hypot(*widths), GOAL_CENTS), note


def test_every_note_is_called_by_its_name(bass) -> None:
    """The names are the package's; the program hears only the sound."""
    paths = sorted(bass.glob("*.wav"))
    assert len(paths) == 17
    found = {path.stem: nearest_note(measured(path).settled_hz)[0] for path in paths}
    assert found == {path.stem: path.stem.replace("s", "#") for path in paths}


def readings(path, *spans_s: tuple[float, float]):
    samples, rate_hz = soundfile.read(path)
    used = samples[: round((spans_s[-1][1] + 0.2) * rate_hz)]
    return praat_readings(used, rate_hz, note_hz(path.stem), spans_s)


@pytest.mark.source(PRAAT, "reference library", "errors of four strings of a real bass")
def test_errors_of_real_octaves_agree_with_praat(bass, tmp_path) -> None:
    """Each note and the one an octave higher as one string; they were not tuned to each other."""
    pairs = {note: f"{note[:-1]}{int(note[-1]) + 1}" for note in ("E1", "G1", "As1", "G2")}
    paths = [(path_of(bass, low), path_of(bass, high)) for low, high in pairs.items()]
    named = zip((low.replace("s", "#") for low in pairs), paths, strict=True)
    report = as_instrument(tmp_path, [(low, *both) for low, both in named])
    differences = []
    for string, both in zip(report.strings, paths, strict=True):
        opened, fretted = (readings(path, (1.0, 2.0), (2.0, 3.0)) for path in both)
        praat_cents = 1200 * math.log2(np.mean(fretted.lower) / (2 * np.mean(opened.lower)))
        accuracy = (opened.spread_cents + fretted.spread_cents) / 2 + 2 * PRAAT_ERROR_CENTS
        differences.append(abs(string.error_cents - praat_cents))
        assert differences[-1] <= accuracy + string.error_uncertainty_cents, string.note
    assert np.median(differences) < 3.0


@pytest.mark.source(PRAAT, "reference library", "a low note that falls is cautioned")
def test_lowest_note_falls_as_praat_hears_it_and_that_is_said(bass, tmp_path) -> None:
    """C#1 falls by some 20 cents after three seconds: no settled pitch, however it is measured."""
    heard = readings(path_of(bass, "Cs1"), (1.0, 2.0), (3.0, 5.0))
    assert 1200 * math.log2(heard.lower[0] / heard.lower[-1]) > 15
    report = as_instrument(tmp_path, [("C#1", path_of(bass, "Cs1"), path_of(bass, "Cs2"))])
    lowest, fretted = sorted(report.recordings, key=lambda each: each.settled_hz)
    assert any("still falls" in each for each in lowest.cautions)
    assert fretted.cautions == ()
    assert lowest.settled_uncertainty_cents > 5 * fretted.settled_uncertainty_cents
