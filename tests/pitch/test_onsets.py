"""Onsets by their definition: each band against the loudest just before it, one by one."""

from __future__ import annotations

import librosa
import numpy as np
import pytest
import soundfile
from scipy import fft

from analyzer.onsets import onset_strength_db, onset_times_s, onsets_between
from analyzer.recording.reading import open_recording

HOP_S = 0.02


def strengths(samples, rate_hz: float, loudest_db: float) -> list[float]:
    """The definition, a frame and a band at a time."""
    together = max(1, int(rate_hz / 20_000))
    fewer = np.array(
        [
            np.mean(samples[at : at + together])
            for at in range(0, samples.size - together + 1, together)
        ]
    )
    rate_hz /= together
    size, hop = fft.next_fast_len(round(0.046 * rate_hz), real=True), round(HOP_S * rate_hz)
    window, top_hz = np.hanning(size), min(8000.0, 0.45 * rate_hz)
    mel = librosa.filters.mel(sr=rate_hz, n_fft=size, n_mels=32, fmin=80, fmax=top_hz, norm=None)
    padded = np.concatenate([np.zeros(size // 2), fewer])
    levels = []
    for first in range(0, padded.size - size + 1, hop):
        lines = np.abs(np.fft.rfft(padded[first : first + size] * window)) * 2 / np.sum(window)
        levels.append(10 * np.log10(np.maximum(mel @ lines**2, 10 ** ((loudest_db - 60) / 10))))
    found = []
    for frame, level in enumerate(levels):
        before = np.max([levels[max(frame - back, 0)] for back in (2, 3, 4, 5)], axis=0)
        found.append(float(np.mean(np.clip(level - before, 0, 20))))
    return found


@pytest.mark.parametrize(
    ("rate_hz", "loudest_db"), [(22_050.0, 0.0), (44_100.0, -6.0), (8000.0, 0.0), (96_000.0, -20.0)]
)
def test_strength_is_what_the_definition_says(rate_hz, loudest_db) -> None:
    """Noise whose level and colour jump; single precision carries some 1e-4 dB."""
    rng = np.random.default_rng(3)
    samples = rng.normal(size=round(0.9 * rate_hz)) * 0.02
    samples[: round(0.1 * rate_hz)] = 0  # below what is heard
    samples[round(0.3 * rate_hz) :] *= 3
    samples[round(0.6 * rate_hz) :] += np.sin(0.3 * np.arange(samples.size - round(0.6 * rate_hz)))
    found = onset_strength_db(samples, rate_hz, loudest_db)
    expected = strengths(samples, rate_hz, loudest_db)
    assert found == pytest.approx(expected, abs=2e-3)
    assert np.max(expected) > 5


def test_a_file_that_begins_with_its_note_has_an_onset_there() -> None:
    samples = np.random.default_rng(1).normal(size=22_050) * 0.1
    assert onset_strength_db(samples, 22_050.0, -10.0)[1] > 2.5


def test_too_short_for_a_frame() -> None:
    assert onset_strength_db(np.ones(300), 22_050.0, 0.0).size == 0


def strength_db(*peaks: tuple[int, float], size: int = 200):
    found = np.zeros(size)
    for place, value in peaks:
        found[place] = value
    return found


def test_times_are_those_of_peaks_that_are_high_and_apart() -> None:
    """From 2.5 dB on, and 0.12 s apart, of which the higher stays."""
    peaks = [(0, 5.0), (20, 2.4), (40, 2.6), (60, 4.0), (65, 6.0), (90, 4.0), (97, 3.0), (199, 8.0)]
    found = onset_times_s(strength_db(*peaks))
    assert found == pytest.approx(HOP_S * np.array([0, 40, 65, 90, 97, 199]))
    assert onset_times_s(np.zeros(50)).size == 0


@pytest.fixture(scope="module")
def long_file(tmp_path_factory):
    """45 s of clicks that ring, some of them about the ends of blocks of 20 s."""
    rate_hz = 16_000
    struck_s = np.array([0.4, 1.3, 7.77, 13.0, 19.97, 20.31, 33.0, 39.99, 44.0])
    rng = np.random.default_rng(6)
    samples = 1e-4 * rng.normal(size=45 * rate_hz)
    ring = rng.normal(size=rate_hz) * np.exp(-np.arange(rate_hz) / 800)
    for each in struck_s:
        first = round(each * rate_hz)
        samples[first : first + rate_hz] += 0.1 * ring[: samples.size - first]
    path = tmp_path_factory.mktemp("onsets") / "long.wav"
    soundfile.write(path, np.stack([np.zeros(samples.size), samples], axis=1), rate_hz, "FLOAT")
    return open_recording(path), struck_s, 20 * np.log10(np.max(np.abs(samples)))


def test_every_click_of_a_long_file_is_found_where_it_is(long_file) -> None:
    recording, struck_s, loudest_db = long_file
    found_s = onsets_between(recording, 1, 0.0, 45.0, loudest_db)
    assert found_s.size == struck_s.size
    # A frame reaches 0.023 s to either side, and they are 0.02 s apart.
    assert np.abs(found_s - struck_s) == pytest.approx(0, abs=0.043)


@pytest.mark.parametrize(("start_s", "end_s"), [(0.0, 45.0), (6.0, 41.0), (12.5, 21.0)])
def test_blocks_do_not_show(long_file, start_s, end_s) -> None:
    """As if the part were in memory at once."""
    recording, _, loudest_db = long_file
    found_s = onsets_between(recording, 1, start_s, end_s, loudest_db)
    whole = recording.excerpt(start_s, end_s + 0.046, 1)
    strength = onset_strength_db(whole, recording.rate_hz, loudest_db)
    frames = round((end_s - start_s) / HOP_S)
    assert found_s == pytest.approx(start_s + onset_times_s(strength[:frames]))
    assert np.all((found_s >= start_s) & (found_s <= end_s))


def test_a_channel_that_is_silent_has_none(long_file) -> None:
    recording, _, loudest_db = long_file
    assert onsets_between(recording, 0, 0.0, 45.0, loudest_db).size == 0
