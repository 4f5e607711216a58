"""The settled pitch of synthetic plucks whose truth is known (stiff-string law: Fletcher 1964)."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pluck_model import PluckModel, early_drift_cents

from analyzer.errors import RecordingError
from analyzer.pitch.note import cut_note
from analyzer.pitch.settle import settle
from analyzer.plucks import find_pluck
from analyzer.recording.reading import open_recording


def measure(path):
    recording = open_recording(path)
    return settle(cut_note(recording, find_pluck(recording)))


def off_cents(path, truth_hz: float) -> float:
    return 1200 * math.log2(measure(path).settled_hz / truth_hz)


# E1 of a bass to E6, from CHECKS-like handbook values: A4 = 440 Hz, equal temperament (ISO 16).
@pytest.mark.parametrize("f_hz", [30.868, 41.203, 82.407, 110.0, 196.0, 329.628, 659.255, 1318.51])
@pytest.mark.parametrize("stiffness", [1e-5, 1e-4, 5e-4])
def test_clean_pluck_is_within_a_tenth_of_a_cent(write_pluck, f_hz, stiffness) -> None:
    path = write_pluck("p.wav", PluckModel(f_hz, stiffness, glide_cents=6, glide_time_s=0.25))
    assert abs(off_cents(path, f_hz)) < 0.1


@pytest.mark.parametrize("glide_time_s", [0.06, 0.2, 0.6, None])
def test_glide_is_fitted_and_not_averaged_over(write_pluck, glide_time_s) -> None:
    model = PluckModel(110.0, glide_cents=10, glide_time_s=glide_time_s)
    path = write_pluck("p.wav", model)
    assert abs(off_cents(path, 110.0)) < 0.1
    assert measure(path).sustain_drift_cents == pytest.approx(early_drift_cents(model), abs=0.3)


@pytest.mark.parametrize("f_hz", [650.0, 1060.0, 1200.0])
def test_energy_that_is_not_heard_is_in_the_glide(write_pluck, f_hz) -> None:
    """The model's glide goes with 24 partials, of which 13 to 8 lie below 10 kHz."""
    model = PluckModel(f_hz, 1e-4, 9.0, None, 1.8, first_partial_db=-25, pluck_position=0.26)
    path = write_pluck("p.wav", model)
    assert abs(off_cents(path, f_hz)) < 0.015


@pytest.mark.parametrize("rate_hz", [8000, 22050, 48000, 96000])
def test_sample_rate_does_not_matter(write_pluck, rate_hz) -> None:
    path = write_pluck("p.wav", PluckModel(146.832), rate_hz=rate_hz)
    assert abs(off_cents(path, 146.832)) < 0.1


@pytest.mark.parametrize("hum_hz", [50.0, 60.0])
def test_hum_does_not_matter(write_pluck, hum_hz) -> None:
    path = write_pluck("p.wav", PluckModel(82.407), hum_hz=hum_hz)
    assert abs(off_cents(path, 82.407)) < 0.1


def test_known_shift_is_reported_as_such(write_pluck) -> None:
    """Sign and size: a pluck 7 cents higher is reported 7 cents higher."""
    low = measure(write_pluck("a.wav", PluckModel(196.0)))
    high = measure(write_pluck("b.wav", PluckModel(196.0 * 2 ** (7 / 1200)), seed=2))
    assert 1200 * math.log2(high.settled_hz / low.settled_hz) == pytest.approx(7, abs=0.1)


def test_interval_covers_a_noisy_pluck(write_pluck) -> None:
    path = write_pluck("p.wav", PluckModel(110.0), snr_db=22)
    found = measure(path)
    off = 1200 * math.log2(found.settled_hz / 110.0)
    assert abs(off) < 0.15
    assert 0 < found.settled_uncertainty_cents < 0.3


def test_noise_alone_is_no_note(tmp_path) -> None:
    import soundfile

    path = tmp_path / "s6_open_1.wav"
    noise = np.random.default_rng(3).normal(0, 0.1, 3 * 44100)
    soundfile.write(path, noise, 44100)
    with pytest.raises(RecordingError, match=r"s6_open_1\.wav: holds no"):
        measure(path)


def test_two_plucks_in_a_file_are_counted(write_pluck, tmp_path) -> None:
    import soundfile

    one, rate = soundfile.read(write_pluck("p.wav", PluckModel(110.0)))
    soundfile.write(tmp_path / "two.wav", np.concatenate([one, 0.7 * one]), rate, subtype="PCM_24")
    pluck = find_pluck(open_recording(tmp_path / "two.wav"))
    assert pluck.others == 1
    assert pluck.onset_s == pytest.approx(0.25, abs=0.02)
    assert pluck.end_s < 3.26
    assert abs(off_cents(tmp_path / "two.wav", 110.0)) < 0.1


def test_best_channel_is_used(tmp_path, write_pluck) -> None:
    """(n, 2) samples are two channels and not n signals; opposite phases do not cancel."""
    import soundfile

    one, rate = soundfile.read(write_pluck("p.wav", PluckModel(110.0)))
    soundfile.write(tmp_path / "st.wav", np.stack([-0.8 * one, one], axis=1), rate, "PCM_24")
    assert abs(off_cents(tmp_path / "st.wav", 110.0)) < 0.1


@pytest.mark.parametrize("duration_s", [0.3, 0.55])
def test_note_too_short_is_said_in_plain_words(write_pluck, duration_s) -> None:
    """0.3 s is too little for any note, 0.55 s for a bass string whose period is 32 ms."""
    path = write_pluck("s6_open_1.wav", PluckModel(30.868), duration_s=duration_s)
    with pytest.raises(RecordingError, match=r"s of a note.*ring for three seconds"):
        measure(path)


def test_half_a_second_is_enough_for_a_high_string(write_pluck) -> None:
    path = write_pluck("p.wav", PluckModel(329.628), duration_s=0.6)
    assert abs(off_cents(path, 329.628)) < 0.1
