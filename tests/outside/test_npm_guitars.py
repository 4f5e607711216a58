"""The main job on real guitars, held against an independent pitch reference.

The recordings are single notes of two packages of the npm registry (``fetch_recordings``), copied
under this project's labels: a note as the open string, its octave as the same string at the 12th
fret. They were not played so, and what the report says of them is not known beforehand. The
reference is Praat's autocorrelation method (P. Boersma, IFA Proceedings 17, 97, 1993) through the
package praat-parselmouth.

How accurate the reference is, each note shows itself: the partials of a real string do not agree
to a cent, a tracker weighs them by their power, and the stretch of the upper ones pulls it up. So
Praat is asked six times, of the lower partials, the upper ones and the whole sound, early and late.
The lower partials' answer is the reference; half the spread of all answers is taken as its accuracy
for the note, and what it was found to err on known synthetic plucks is added.
"""

from __future__ import annotations

import json
import math
import shutil
from dataclasses import dataclass

import numpy as np
import parselmouth
import pytest
from conftest import Run
from pluck_model import PluckModel
from real_notes import ACOUSTIC, ELECTRIC

from analyzer.plucks import find_pluck
from analyzer.recording.reading import open_recording

GUITARS = "Recordings of guitars in two packages of the npm registry"
PRAAT = "Praat's pitch (praat-parselmouth) on recordings of two npm packages"
pytestmark = pytest.mark.source(PRAAT, "reference library", "error of six strings, real guitars")

PRAAT_ERROR_CENTS = 1.0  # held to known plucks below


@dataclass(frozen=True)
class Reference:
    hz: float
    accuracy_cents: float


def praat(path, near_hz: float) -> Reference:
    """Pitch of the lower partials by Praat, and half the spread of its answers."""
    recording = open_recording(path)
    pluck = find_pluck(recording)
    sound = parselmouth.Sound(str(path))
    top_hz = 0.49 * sound.sampling_frequency
    answers: list[list[float]] = []
    for low_hz, high_hz in ((0, 4.5 * near_hz), (2.5 * near_hz, top_hz), (0, top_hz)):
        answers.append([])
        band = parselmouth.praat.call(
            sound, "Filter (pass Hann band)", low_hz, min(high_hz, top_hz), 0.2 * near_hz
        )
        pitch = band.to_pitch_ac(
            0.01, 0.75 * near_hz, 15, very_accurate=True, pitch_ceiling=1.5 * near_hz
        )
        times, hz = pitch.xs(), pitch.selected_array["frequency"]
        for begin_s, end_s in ((0.6, 1.2), (1.2, 1.8)):
            inside = (times > pluck.onset_s + begin_s) & (times < pluck.onset_s + end_s)
            inside &= (times < pluck.end_s - 0.1) & (hz > 0)
            if np.sum(inside) > 10:
                answers[-1].append(float(np.median(hz[inside])))
    everything = [*answers[0], *answers[1], *answers[2]]
    spread_cents = 1200 * math.log2(max(everything) / min(everything))
    return Reference(float(np.mean(answers[0])), spread_cents / 2 + PRAAT_ERROR_CENTS)


@pytest.mark.source(PRAAT, "reference library", "the reference itself, on known plucks")
@pytest.mark.parametrize("f_hz", [82.407, 110.0, 196.0, 329.628, 659.255])
def test_the_reference_is_as_good_as_it_is_taken_for(write_pluck, f_hz) -> None:
    path = write_pluck("known.wav", PluckModel(f_hz, 5e-5, glide_cents=2))
    found = praat(path, f_hz)
    assert abs(1200 * math.log2(found.hz / f_hz)) <= PRAAT_ERROR_CENTS


@pytest.fixture(scope="module", params=[("acoustic", ACOUSTIC), ("electric", ELECTRIC)])
def real_report(request, real_recordings, run: Run, tmp_path_factory):
    """Report, and the reference for both notes of each string, of an instrument of real notes."""
    kind, strings = request.param
    folder = tmp_path_factory.mktemp(kind)
    tuning = []
    references = {}
    for string, notes in strings.items():
        tuning.append(notes[0])
        for note, fret in zip(notes, ("open", "f12"), strict=True):
            path = folder / f"s{string}_{fret}_1.wav"
            shutil.copy(real_recordings / kind / f"{note}.wav", path)
    (folder / "instrument.toml").write_text(
        f"[instrument]\nscale_length_mm = 647.7\ntuning = {json.dumps(tuning)}\n", encoding="utf-8"
    )
    done = run("analyze", folder, "--jobs", 1, "--json", "-")
    assert done.returncode == 0, done.stderr
    report = json.loads(done.stdout)
    for each in report["recordings"]:
        key = each["string"], each["fret"]
        references[key] = praat(folder / each["file"], each["settled_hz"])
    return report, references


@pytest.mark.source(GUITARS, "open data", "every string of a real guitar has a result")
def test_every_string_has_a_result(real_report) -> None:
    report, _ = real_report
    assert len(report["strings"]) == 6
    assert all(abs(each["error_cents"]) < 50 for each in report["strings"])


def test_errors_agree_with_the_reference(real_report) -> None:
    report, references = real_report
    rows, differences = [], []
    for each in report["strings"]:
        open_note, fretted = references[each["string"], "open"], references[each["string"], "f12"]
        reference_cents = 1200 * math.log2(fretted.hz / (2 * open_note.hz))
        accuracy = open_note.accuracy_cents + fretted.accuracy_cents
        difference = each["error_cents"] - reference_cents
        differences.append(difference)
        rows.append(
            f"string {each['string']}: {each['error_cents']:+7.2f} ± "
            f"{each['error_uncertainty_cents']:.2f}, reference {reference_cents:+7.2f} ± "
            f"{accuracy:.2f}, difference {difference:+.2f}"
        )
        assert abs(difference) <= accuracy + each["error_uncertainty_cents"], rows[-1]
    print(f"\n{report['instrument']['name']}", *rows, sep="\n")
    assert np.median(np.abs(differences)) < 3.0
