"""Recordings held against each other: copies, devices, wrong names, strings out of tune."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile
from made_folders import TUNINGS, analyzed, made_instrument, mislabelled, write_notes
from pluck_model import PluckModel, recording
from whole_takes import plan_of, whole_take

from analyzer.instrument.model import Instrument
from analyzer.music import note_hz
from analyzer.report.model import Report

RATE_HZ = 44_100
E2_ONLY = Instrument("made", ("E2",))


def written(path: Path, samples: np.ndarray, **settings: object) -> None:
    path.parent.mkdir(exist_ok=True)
    kinds = {"samplerate": RATE_HZ, "subtype": "PCM_24"}
    soundfile.write(path, samples, **{**kinds, **settings})


def take(f_hz: float, seed: int, **settings: float) -> np.ndarray:
    stiffness = 5e-5 * (f_hz / 82.407) ** 2
    return recording(PluckModel(f_hz, stiffness), np.random.default_rng(seed), **settings)


def of_two_notes(folder: Path) -> Path:
    """String 6 once open and once at the 12th fret."""
    written(folder / "s1_open_1.wav", take(82.407, 1))
    written(folder / "s1_f12_1.wav", take(164.9, 2))
    return folder


def reasons(report: Report) -> dict[str, str]:
    return {each.file: str(each.reason) for each in report.rejected}


def cautions(report: Report) -> dict[str, tuple[str, ...]]:
    return {each.file: each.cautions for each in report.recordings if each.cautions}


@pytest.mark.parametrize("kind", ["identical", "louder", "trimmed", "16 bits", "inverted"])
def test_one_sound_counts_once(tmp_path, kind) -> None:
    samples = take(82.407, 1)
    copy = {
        "louder": 1.7 * samples,
        "trimmed": samples[1000:],
        "inverted": -samples,
    }.get(kind, samples)
    folder = of_two_notes(tmp_path / "f")
    subtype = "PCM_16" if kind == "16 bits" else "PCM_24"
    written(folder / "s1_open_2.wav", copy, subtype=subtype)
    report = analyzed(folder, E2_ONLY)
    assert list(reasons(report)) == ["s1_open_2.wav"]
    reason = reasons(report)["s1_open_2.wav"]
    assert reason.startswith("is the same sound as s1_open_1.wav. Delete one of the two")
    assert report.strings[0].error_cents is not None


def test_two_takes_of_one_note_are_not_copies(tmp_path) -> None:
    """Eight plucks of one string, alike but for their phases and noise, at equal pitch."""
    folder = of_two_notes(tmp_path / "f")
    for number in range(2, 9):
        written(folder / f"s1_open_{number}.wav", take(82.407, 10 + number, snr_db=60))
    assert analyzed(folder, E2_ONLY).complete


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ({"samplerate": 48_000}, "44100 Hz and 48000 Hz"),
        ({"format": "FLAC"}, ".flac and .wav"),
        ({"stereo": True}, "1 and 2 channels"),
        ({"noise": True}, "noise at -"),
    ],
)
def test_two_devices(tmp_path, settings, words) -> None:
    folder = of_two_notes(tmp_path / "f")
    (folder / "s1_f12_1.wav").unlink()
    rate_hz = settings.get("samplerate", RATE_HZ)
    samples = recording(
        PluckModel(164.9, 2e-4),
        np.random.default_rng(2),
        rate_hz=rate_hz,
        snr_db=20 if "noise" in settings else 55,
    )
    if "stereo" in settings:
        samples = np.column_stack([samples, 0.5 * samples])
    name = "s1_f12_1.flac" if "format" in settings else "s1_f12_1.wav"
    written(folder / name, samples, samplerate=rate_hz)
    report = analyzed(folder, E2_ONLY)
    assert set(cautions(report)) == {"s1_open_1.wav", name}
    for texts in cautions(report).values():
        assert any("two devices" in text and words in text for text in texts)
        assert not any("other recordings" in text for text in texts)  # all are named before it
        assert any("Record both notes with one" in text for text in texts)
    statuses = {each.status for each in report.recordings}
    assert statuses == {"used with a caution"}
    alone = analyzed(of_two_notes(tmp_path / "g"), E2_ONLY)
    wider = report.strings[0].error_uncertainty_cents
    assert wider > alone.strings[0].error_uncertainty_cents


def test_strings_that_ring_on_in_a_quiet_take_are_no_second_device(tmp_path) -> None:
    """Between its plucks the level of one take runs from its noise, here -98 dBFS, to ringing."""
    rng = np.random.default_rng(4)
    made = made_instrument(rng, TUNINGS[0])
    take = whole_take(plan_of(made, 1), rng, noise_db=-90, ringing_db=-22)
    (tmp_path / "f").mkdir()
    written(tmp_path / "f" / "whole.wav", take.samples)
    report = analyzed(tmp_path / "f", made.instrument)
    assert report.complete
    assert not any("two devices" in text for each in cautions(report).values() for text in each)


@pytest.mark.parametrize("seed", range(12))
def test_wrong_names_are_caught(tmp_path, seed) -> None:
    """Two of each tuning at least; ``benchmark_whole.py`` makes 200."""
    rng = np.random.default_rng([7, seed])
    made = made_instrument(rng, TUNINGS[seed % len(TUNINGS)], rng.uniform(-40, 40))
    kind = ("wrong string", "swapped notes", "octave")[seed % 3]
    names, octaves, wrong = mislabelled(rng, made, kind)
    folder = write_notes(tmp_path / "f", made, rng, names, octaves)
    left_out = reasons(analyzed(folder, made.instrument))
    assert set(left_out) == wrong
    assert all("but sounds" in reason for reason in left_out.values())


def test_neighbours_a_semitone_apart_are_told_apart_by_the_others(tmp_path) -> None:
    """No label alone excludes a semitone; where another string's note is nearer, that is it."""
    rng = np.random.default_rng(1)
    made = made_instrument(rng, ("E2", "A2", "D3", "G3", "G#3", "D4"), tuned_cents=-35)
    names = {(3, "open"): (2, "open"), (2, "open"): (3, "open")}
    report = analyzed(write_notes(tmp_path / "f", made, rng, names), made.instrument)
    assert set(reasons(report)) == {"s3_open_1.wav", "s2_open_1.wav"}
    assert "as string 2 open" in reasons(report)["s3_open_1.wav"]


@pytest.mark.parametrize("seed", range(4))
def test_good_folders_raise_no_alarm(tmp_path, seed) -> None:
    rng = np.random.default_rng([8, seed])
    made = made_instrument(rng, TUNINGS[2 * seed], rng.uniform(-120, 60))
    report = analyzed(write_notes(tmp_path / "f", made, rng), made.instrument)
    assert report.complete
    assert cautions(report) == {}


def test_string_out_of_tune_with_the_others_is_cautioned(tmp_path) -> None:
    rng = np.random.default_rng(3)
    made = made_instrument(rng, TUNINGS[0])
    for fret in ("open", "f12"):
        model = made.models[4, fret]
        made.models[4, fret] = replace(model, f1_hz=model.f1_hz * 2 ** (80 / 1200))
    report = analyzed(write_notes(tmp_path / "f", made, rng), made.instrument)
    assert report.complete  # in tune to itself is what counts
    assert set(cautions(report)) == {"s4_open_1.wav", "s4_f12_1.wav"}
    (text,) = cautions(report)["s4_open_1.wav"]
    off = {
        key: 1200 * np.log2(model.f1_hz / note_hz(made.instrument.note(key[0])))
        - (1200 if key[1] == "f12" else 0)
        for key, model in made.models.items()
    }
    true_cents = off[4, "open"] - np.median(list(off.values()))
    assert float(text.split()[1]) == pytest.approx(true_cents, abs=1)
    assert "Tune it and record both its notes again" in text


def with_remains(f_hz: float, odd_db: float) -> np.ndarray:
    """The harmonic over the 12th fret: the even partials, and of the odd ones so much."""
    t_s = np.arange(3 * RATE_HZ) / RATE_HZ
    k = np.arange(1, 25)[:, None]
    partials_hz = k * f_hz * np.sqrt((1 + 5e-5 * k**2) / (1 + 5e-5))
    amplitude = np.where(k % 2, 10 ** (odd_db / 20), 1.0) / k
    note = np.sum(amplitude * np.exp(-t_s * k**0.5) * np.sin(2 * np.pi * partials_hz * t_s), axis=0)
    noise = np.random.default_rng(5).normal(0, 1e-4, note.size + RATE_HZ // 4)
    return noise + np.pad(0.2 * note / np.max(np.abs(note)), (RATE_HZ // 4, 0))


def test_harmonic_in_place_of_the_fretted_note(tmp_path) -> None:
    folder = of_two_notes(tmp_path / "f")
    written(folder / "s1_f12_1.wav", with_remains(82.407, -35))
    report = analyzed(folder, E2_ONLY)
    (text,) = cautions(report)["s1_f12_1.wav"]
    assert text.startswith("sounds like the harmonic of string 1")
    assert "name it s1_h12" in text
    assert report.strings[0].error_uncertainty_cents > 5


def test_fretted_note_beside_the_harmonic_is_none(tmp_path) -> None:
    """Remains of the whole string are no harmonic where the pitch is another."""
    folder = of_two_notes(tmp_path / "f")
    written(folder / "s1_f12_1.wav", with_remains(82.407 * 2 ** (4 / 1200), -35))
    assert not any(
        "harmonic" in text for each in cautions(analyzed(folder, E2_ONLY)).values() for text in each
    )


def test_twelfth_fret_far_from_the_octave_has_no_figure(tmp_path) -> None:
    folder = of_two_notes(tmp_path / "f")
    written(folder / "s1_f12_1.wav", take(note_hz("F3"), 2))
    (string,) = analyzed(folder, E2_ONLY).strings
    assert string.error_cents is None
    assert "+100 cents from the octave" in string.reason
    assert "Record both notes again" in string.reason


@pytest.mark.parametrize(
    ("name", "sounding", "heard"),
    [
        ("f13", 12, "as string 1 fret 12"),
        ("f5", 6, "as string 1 fret 6"),
        ("f1", 0, "string 1 open"),
    ],
)
def test_a_fret_beside_the_12th_that_is_another(tmp_path, name, sounding, heard) -> None:
    """Equal temperament, 100 cents a fret; the whole instrument is 30 cents flat."""
    flat = 2 ** (-30 / 1200)
    folder = tmp_path / "f"
    for fret, seed in ((0, 1), (12, 2)):
        label = "f12" if fret else "open"
        written(folder / f"s1_{label}_1.wav", take(82.407 * flat * 2 ** (fret / 12), seed))
    written(folder / "s1_f7_1.wav", take(82.407 * flat * 2 ** (7.1 / 12), 3))  # 10 cents sharp
    written(folder / f"s1_{name}_1.wav", take(82.407 * flat * 2 ** (sounding / 12), 4, snr_db=60))
    report = analyzed(folder, E2_ONLY)
    assert list(reasons(report)) == [f"s1_{name}_1.wav"]
    assert heard in reasons(report)[f"s1_{name}_1.wav"]
    assert report.strings[0].error_cents is not None
