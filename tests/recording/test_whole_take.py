"""One take of a whole instrument: every pluck found, named and measured as in a file of its own.

The takes are synthetic (``whole_takes``), or joined from real notes (``fetch_recordings``) with a
made room's noise under them; ``benchmark_whole.py`` does the same at length.
"""

from __future__ import annotations

import json
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import soundfile
from made_folders import TUNINGS, analyzed, made_instrument
from pluck_model import PluckModel, pluck
from real_notes import ACOUSTIC, ELECTRIC
from whole_takes import (
    RATE_HZ,
    alone,
    joined,
    plan_of,
    spoken_word,
    spoken_words,
    whole_take,
    written,
)

from analyzer.measure import _whole_warnings, measure_recording, measure_whole
from analyzer.music import cents_between, note_hz
from analyzer.plucks import find_pluck
from analyzer.recording.labels import holds_many
from analyzer.recording.reading import open_recording
from analyzer.whole_take.naming import name_plucks
from analyzer.whole_take.segments import find_plucks


def labels(measured) -> list[tuple[int, str, int]]:
    return [(m.label.string, m.label.fret, m.label.take) for m in measured if m.label]


@pytest.mark.parametrize("seed", [11, 12])
def test_plucks_of_a_take_agree_with_files_of_their_own(tmp_path, seed) -> None:
    rng = np.random.default_rng(seed)
    made = made_instrument(rng, TUNINGS[0])
    take = whole_take(plan_of(made, 1), rng)
    assert take.words_s
    measured = measure_whole(written(tmp_path / "whole.wav", take.samples), made.instrument)
    assert labels(measured) == [(each.string, each.fret, 1) for each in take.played]
    nexts_s = [*(each.start_s for each in take.played[1:]), len(take.samples) / RATE_HZ]
    for each, found, next_s in zip(take.played, measured, nexts_s, strict=True):
        assert found.part_s[0] == pytest.approx(each.start_s, abs=0.05)
        assert each.start_s + each.rings_s - 0.15 < found.part_s[1] < next_s
        own = measure_recording(
            written(tmp_path / f"s{each.string}_{each.fret}_1.wav", alone(each, rng)),
            made.instrument,
        )
        assert abs(cents_between(own.pitch.settled_hz, found.pitch.settled_hz)) < 0.1


def test_note_ends_where_its_string_is_damped(tmp_path) -> None:
    rng = np.random.default_rng(14)
    made = made_instrument(rng, TUNINGS[5])
    take = whole_take(plan_of(made, 1), rng, ringing_db=None)
    found = find_plucks(open_recording(written(tmp_path / "whole.wav", take.samples)))
    ends_s = [each.start_s + each.rings_s for each in take.played]
    assert [each.end_s for each in found.plucks] == pytest.approx(ends_s, abs=0.15)


def test_report_of_a_take_gives_the_true_errors(tmp_path) -> None:
    rng = np.random.default_rng(13)
    made = made_instrument(rng, TUNINGS[4], tuned_cents=-80.0)
    written(tmp_path / "Whole take 1.wav", whole_take(plan_of(made, 2), rng).samples)
    report = analyzed(tmp_path, made.instrument)
    assert report.complete
    for string in report.strings:
        assert string.error_cents == pytest.approx(made.errors_cents[string.string], abs=0.5)
    assert {each.file for each in report.recordings} == {"Whole take 1.wav"}
    assert all(each.end_s > each.start_s + 1 for each in report.recordings)
    assert "16 plucks were found and named by their pitch" in " ".join(report.warnings)


@pytest.mark.parametrize("order", ["string by string", "open strings first", "rounds"])
def test_order_names_what_the_pitch_cannot(order) -> None:
    """In D A D G A D the 12th frets of three strings are the open notes of three others."""
    from analyzer.instrument.model import Instrument

    instrument = Instrument("made", ("D2", "A2", "D3", "G3", "A3", "D4"))
    by_string = [(s, f) for s in instrument.strings for f in ("open", "f12")]
    played = {
        "string by string": [place for place in by_string for _ in range(3)],
        "open strings first": sorted(by_string, key=lambda p: (p[1] != "open", -p[0])),
        "rounds": by_string * 3,
    }[order]
    hz = [note_hz(instrument.note(s)) * (1 if f == "open" else 2) for s, f in played]
    named = name_plucks(hz, instrument, 440.0)
    assert [(each.label.string, each.label.fret) for each in named] == played
    assert sum(each.shared is not None for each in named) == len(played) // 2
    assert named[0].shared is None
    assert all(each.clear for each in named)


def test_shuffled_plucks_are_hardly_named_without_a_word() -> None:
    """Where the order tells nothing, names that hung on it are doubted; a chance order may pass."""
    from analyzer.instrument.model import Instrument

    instrument = Instrument("made", ("D2", "A2", "D3", "G3", "A3", "D4"))
    places = [(s, f) for s in instrument.strings for f in ("open", "f12")]
    rng = np.random.default_rng(1)
    wrong = unsaid = 0
    for _ in range(100):
        played = [places[index] for index in rng.permutation(len(places))]
        hz = [note_hz(instrument.note(s)) * (1 if f == "open" else 2) for s, f in played]
        for place, each in zip(played, name_plucks(hz, instrument, 440.0), strict=True):
            if (each.label.string, each.label.fret) != place:
                assert each.shared is not None
                wrong += 1
                unsaid += each.clear
    assert wrong > 200
    assert unsaid < 0.1 * wrong


def test_note_that_only_the_order_could_name_but_does_not_is_cautioned(tmp_path) -> None:
    """D3 alone is string 4 open or string 6 at the 12th fret."""
    from analyzer.instrument.model import Instrument

    instrument = Instrument("made", ("D2", "A2", "D3", "G3", "A3", "D4"))
    rng = np.random.default_rng(1)
    take = whole_take([(4, "open", PluckModel(note_hz("D3")))], rng)
    (found,) = measure_whole(written(tmp_path / "whole.wav", take.samples), instrument)
    (caution,) = found.cautions
    assert "string 6 fret 12 and string 4 open are one note" in caution.text
    assert "List it in takes.csv" in caution.text


def test_tuned_down_as_a_whole() -> None:
    from analyzer.instrument.model import assumed_instrument

    six = assumed_instrument()
    hz = [six.open_hz(s) * 2 ** (-100 / 1200) for s in six.strings]
    assert [each.label.string for each in name_plucks(hz, six, 440.0)] == [6, 5, 4, 3, 2, 1]


def test_note_of_no_string_is_left_out_with_what_was_heard(tmp_path) -> None:
    rng = np.random.default_rng(2)
    made = made_instrument(rng, TUNINGS[0])
    plan = [*plan_of(made, 1)[:4], (9, "x", PluckModel(note_hz("C#3")))]
    *good, odd = measure_whole(
        written(tmp_path / "whole.wav", whole_take(plan, rng, words_every=0).samples),
        made.instrument,
    )
    assert labels(good) == [(6, "open", 1), (6, "f12", 1), (5, "open", 1), (5, "f12", 1)]
    assert odd.pitch is None
    assert "Hz (C#3), which is neither an open string nor a 12th fret of E2 A2" in odd.reason


@pytest.mark.parametrize("source", ["made", "Praat"])
def test_speech_and_knocks_are_no_plucks(tmp_path, source) -> None:
    made = made_instrument(np.random.default_rng(1), TUNINGS[0])
    for seed in range(6):
        rng = np.random.default_rng(seed)
        sound = rng.normal(0, 1e-3, 8 * RATE_HZ)
        for number, start_s in enumerate((0.5, 2.0, 3.5, 5.0)):
            word = spoken_word(rng, rng.uniform(0.5, 1.2))
            if source == "Praat":
                word = spoken_words()[4 * seed + number]
            sound[round(start_s * RATE_HZ) :][: word.size] += 0.3 * word
        knock = 0.5 * rng.normal(0, 1, RATE_HZ) * np.exp(-np.arange(RATE_HZ) / 0.03 / RATE_HZ)
        sound[round(6.7 * RATE_HZ) :][:RATE_HZ] += knock
        (found,) = measure_whole(written(tmp_path / "whole.wav", sound), made.instrument)
        assert found.pitch is None
        assert found.reason.startswith("holds no plucked note that lasts half a second")


@pytest.mark.parametrize("seed", range(4))
def test_words_while_strings_ring_on_are_no_plucks(tmp_path, seed) -> None:
    """A word in every gap, over strings that ring on loudly: what is left then was not struck."""
    rng = np.random.default_rng(seed)
    made = made_instrument(rng, TUNINGS[seed])
    words = spoken_words() if seed % 2 else ()
    take = whole_take(plan_of(made, 1), rng, words=words, words_every=1, ringing_db=-20)
    measured = measure_whole(written(tmp_path / "whole.wav", take.samples), made.instrument)
    assert labels(measured) == [(each.string, each.fret, 1) for each in take.played]


@pytest.mark.parametrize("notes", [ACOUSTIC, ELECTRIC], ids=["acoustic", "electric"])
def test_real_notes_joined_agree_with_files_of_their_own(tmp_path, real_recordings, notes) -> None:
    """Within the intervals of both, 12 notes of each guitar; D4 is two of the acoustic one's."""
    from analyzer.instrument.model import Instrument

    folder = real_recordings / ("acoustic" if notes is ACOUSTIC else "electric")
    strings = sorted(notes, reverse=True)
    instrument = Instrument("joined", tuple(notes[each][0].replace("s", "#") for each in strings))
    places = [(each, fret) for each in strings for fret in ("open", "f12")]
    sounds = []
    for string, fret in places:
        samples, rate_hz = soundfile.read(folder / f"{notes[string][fret != 'open']}.wav")
        assert rate_hz == RATE_HZ
        mono = samples if samples.ndim == 1 else samples[:, 0]
        sounds.append(
            mono[max(0, int(np.argmax(np.abs(mono) > 0.05 * np.max(np.abs(mono)))) - 200) :]
        )
    take, singly, starts_s = joined(sounds, np.random.default_rng(1))
    measured = measure_whole(written(tmp_path / "whole.wav", take), instrument)
    assert labels(measured) == [(string, fret, 1) for string, fret in places]
    assert [each.part_s[0] for each in measured] == pytest.approx(starts_s, abs=0.05)
    for (string, fret), samples, found in zip(places, singly, measured, strict=True):
        own = measure_recording(
            written(tmp_path / f"s{string}_{fret}_1.wav", samples), instrument
        ).pitch
        off_cents = abs(cents_between(own.settled_hz, found.pitch.settled_hz))
        assert off_cents < np.hypot(
            own.settled_uncertainty_cents, found.pitch.settled_uncertainty_cents
        )


@pytest.mark.parametrize("apart_s", [0.6, 1.0, 1.5])
@pytest.mark.parametrize("note", ["E2", "G3", "E5"])
def test_string_plucked_again_at_equal_loudness_ends_the_note(tmp_path, note, apart_s) -> None:
    rng = np.random.default_rng(3)
    sound = rng.normal(0, 5e-4, 5 * RATE_HZ)
    first, again = round(0.25 * RATE_HZ), round((0.25 + apart_s) * RATE_HZ)
    model = PluckModel(note_hz(note))
    sound[first:again] += 0.4 * pluck(model, 4, RATE_HZ, rng)[: again - first]
    sound[again:] += 0.4 * pluck(model, 5, RATE_HZ, rng)[: sound.size - again]
    found = find_pluck(open_recording(written(tmp_path / "two.wav", sound)))
    assert found.others == 1
    assert found.onset_s == pytest.approx(0.25 + apart_s, abs=0.05)
    whole = find_plucks(open_recording(tmp_path / "two.wav"))
    assert [each.onset_s for each in whole.plucks] == pytest.approx(
        [0.25, 0.25 + apart_s], abs=0.05
    )


def test_names_of_whole_takes() -> None:
    for name in ("whole.wav", "WHOLE_2.flac", "whole take, bench.m4a", "whole2.ogg"):
        assert holds_many(name)
    for name in ("wholesale.wav", "s6_open_1.wav", "a whole.wav", ".wav"):
        assert not holds_many(name)


def test_json_tells_the_places(tmp_path, run) -> None:
    rng = np.random.default_rng(4)
    made = made_instrument(rng, TUNINGS[4])
    written(tmp_path / "whole.wav", whole_take(plan_of(made, 1), rng).samples)
    (tmp_path / "instrument.toml").write_text(
        '[instrument]\nscale_length_mm = 860\ntuning = ["E1", "A1", "D2", "G2"]\n'
    )
    done = run("analyze", tmp_path, "--json", "-")
    assert (done.returncode, done.stderr) == (0, "")
    recordings = json.loads(done.stdout)["recordings"]
    assert [each["string"] for each in recordings] == [4, 4, 3, 3, 2, 2, 1, 1]
    assert all(each["start_s"] < each["end_s"] and each["cautions"] == [] for each in recordings)


@pytest.mark.parametrize(("others", "words"), [(1, "1 other sound ("), (2, "2 other sounds (")])
def test_what_was_passed_over_is_counted(others, words) -> None:
    recording = SimpleNamespace(path=Path("whole.wav"), cut_short=False)
    _, passed = _whole_warnings(recording, others, ())
    assert passed.startswith(f"whole.wav: passed over {words}")
