"""The note's transform and what is cut from it, by numpy's and scipy's own and closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage, signal

from analyzer.pitch.spectrum import (
    BAND_COLOUR,
    LineSpectrum,
    LowNote,
    band_response,
    line_spectrum,
    low_note,
    note_spectrum,
    turned_sums,
)

RATE_HZ = 8000.0
SINGLE = 2e-6  # of full scale: some roundings of 2^-24 in a transform of 10^4 samples
ONSET_S = 0.25


def tone(frequency_hz: float, count: int, rate_hz: float = RATE_HZ, phase: float = 0.4):
    return np.cos(2 * np.pi * frequency_hz * np.arange(count) / rate_hz + phase)


@pytest.mark.parametrize(
    ("first", "step", "count"), [(0.3, 0.011, 40), (-2.0, 0.9, 7), (0.0, 0.2, 90)]
)
def test_turned_sums_are_the_sums(first, step, count) -> None:
    """Against the sums term by term, and scipy's chirp transform of the same points."""
    rng = np.random.default_rng(5)
    values = rng.normal(size=(3, 61)) + 1j * rng.normal(size=(3, 61))
    found = turned_sums(values, first, step, count)
    angles = first + step * np.arange(count)
    summed = values @ np.exp(1j * np.outer(np.arange(61), angles))
    assert found == pytest.approx(summed, abs=1e-10)
    chirp = signal.czt(values, count, w=np.exp(1j * step), a=np.exp(-1j * first), axis=1)
    assert found == pytest.approx(chirp, abs=1e-10)


@pytest.mark.parametrize(
    ("offset", "passed"),
    [(0.0, 1.0), (0.5, 0.5), (-0.5, 0.5), (1 / 3, 0.75), (-2 / 3, 0.25),
     (1.0, 0.0), (-1.0, 0.0), (1.7, 0.0), (-3.0, 0.0)],
)  # fmt: skip
def test_a_band_passes_a_raised_cosine(offset, passed) -> None:
    """(1 + cos(pi x)) / 2, at angles whose cosine everybody knows; nothing beyond its edges."""
    assert band_response(np.array([offset])) == pytest.approx([passed], abs=1e-15)


def test_a_note_is_its_samples_without_their_mean_and_with_a_faded_end() -> None:
    count = 4001
    samples = 0.3 + tone(220.0, count)
    found = note_spectrum(samples, RATE_HZ, ONSET_S)
    back = np.fft.irfft(found.bins, found.size)
    fade = 160  # 0.02 s
    window = np.ones(count)
    window[-fade:] = np.cos(0.5 * np.pi * np.arange(fade) / fade) ** 2
    assert back[:count] == pytest.approx((samples - np.mean(samples)) * window, abs=SINGLE)
    assert back[count:] == pytest.approx(np.zeros(found.size - count), abs=SINGLE)
    assert found.size >= count + 800  # nothing wraps round within 0.1 s
    assert found.size < 1.1 * (count + 800)
    assert found.size % 2 == 0
    assert (found.rate_hz, found.onset_s, found.duration_s) == (RATE_HZ, ONSET_S, count / RATE_HZ)
    assert found.bin_hz == RATE_HZ / found.size


def test_of_a_short_note_a_quarter_is_faded() -> None:
    samples = tone(1000.0, 80)
    found = note_spectrum(samples, RATE_HZ, 0.0)
    back = np.fft.irfft(found.bins, found.size)[:80] / (samples - np.mean(samples))
    assert back[:60] == pytest.approx(np.ones(60), abs=1e-4)
    assert back[60:] == pytest.approx(0.5 + 0.5 * np.cos(np.pi * np.arange(20) / 20), abs=1e-4)


@pytest.mark.parametrize("asked_hz", [2000.0, 3333.0, 7990.0, 20_000.0])
def test_a_lowered_note_is_the_same_wave_at_other_moments(asked_hz) -> None:
    """Of a tone below the edge; away from the ends, where a cut tone has no one value."""
    frequency_hz, count = 300.0, 9000
    samples, rate_hz = note_spectrum(tone(frequency_hz, count), RATE_HZ, 0.1).lowered(asked_hz)
    assert 0.999 * min(asked_hz, RATE_HZ) <= rate_hz <= min(1.08 * asked_hz, RATE_HZ)
    assert samples.size == round(count / RATE_HZ * rate_hz)
    moments_s = np.arange(samples.size) / rate_hz
    inside = (moments_s > 0.1) & (moments_s < count / RATE_HZ - 0.12)
    expected = np.cos(2 * np.pi * frequency_hz * moments_s + 0.4) - np.mean(
        tone(frequency_hz, count)
    )
    assert samples[inside] == pytest.approx(expected[inside], abs=2e-3)


@pytest.mark.parametrize(("share", "passed"), [(0.85, 1.0), (0.95, 0.5), (0.975, 0.1464466)])
def test_the_highest_tenth_of_a_lowered_note_falls_away(share, passed) -> None:
    """As (1 + cos(pi x)) / 2 over the last tenth of the band: x is 1/2 and 3/4 of the way there."""
    count, asked_hz = 32_000, 4000.0
    _, rate_hz = note_spectrum(np.zeros(count), RATE_HZ, 0.1).lowered(asked_hz)
    samples, _ = note_spectrum(tone(share * rate_hz / 2, count), RATE_HZ, 0.1).lowered(asked_hz)
    middle = samples[samples.size // 4 : -samples.size // 4].astype(np.float64)
    assert np.sqrt(2 * np.mean(middle**2)) == pytest.approx(passed, abs=0.003)


def test_on_a_faster_clock_all_is_slower_and_lasts_longer() -> None:
    there = note_spectrum(tone(300.0, 4000), RATE_HZ, ONSET_S)
    here = there.at_pace(1.25)
    assert (here.rate_hz, here.duration_s, here.onset_s) == (6400.0, 0.625, 0.3125)
    assert here.bins is there.bins
    assert here.size == there.size


@pytest.mark.parametrize(("centre_hz", "half_hz"), [(441.0, 30.0), (435.5, 24.0), (452.0, 40.0)])
def test_an_envelope_is_the_partials_own(centre_hz, half_hz) -> None:
    """A decaying partial: its size, its decay and its phase, by what the band passes of it.

    A band of half-width h sees the onset for some 1/h about it; the end is faded.
    """
    frequency_hz, tau_s, size, phase = 440.0, 1.5, 0.8, 1.1
    moments_s = np.arange(24_000) / RATE_HZ - ONSET_S
    sounding = moments_s >= 0
    samples = np.where(
        sounding,
        size * np.exp(-moments_s / tau_s) * np.cos(2 * np.pi * frequency_hz * moments_s + phase),
        0.0,
    )
    spectrum = note_spectrum(samples, RATE_HZ, ONSET_S)
    values, at_hz, times_s = spectrum.envelopes(np.array([centre_hz]), half_hz)
    assert at_hz == pytest.approx([centre_hz], abs=spectrum.bin_hz / 2)
    assert np.diff(times_s) == pytest.approx(0.5 / half_hz)
    assert 0.0 in times_s
    assert -ONSET_S <= times_s[0] < -ONSET_S + 0.5 / half_hz + 1e-9
    assert 2.75 - 1.0 / half_hz - 1e-9 <= times_s[-1] < 2.75
    clear = (times_s > 4 / half_hz) & (times_s < 2.75 - 4 / half_hz)
    passed = float(band_response(np.array([(frequency_hz - centre_hz) / half_hz]))[0])
    # Turned back by the frequency it is taken against, since the recording's first sample.
    turned = 2 * np.pi * ((frequency_hz - at_hz[0]) * times_s - at_hz[0] * ONSET_S) + phase
    expected = passed * size * np.exp(-times_s / tau_s + 1j * turned)
    # A decay is a line with a width, over which the band's own slope turns it a little.
    assert np.abs(values[0] / expected - 1)[clear] == pytest.approx(0, abs=0.012)


def test_an_envelope_before_the_onset_is_empty() -> None:
    spectrum = note_spectrum(np.r_[np.zeros(4000), tone(440.0, 12_000)], RATE_HZ, 0.5)
    values, _, times_s = spectrum.envelopes(np.array([440.0]), 40.0)
    assert np.max(np.abs(values[0][times_s < -0.1])) < 0.01
    sounding = np.abs(values[0][(times_s > 0.2) & (times_s < 1.4)])
    assert np.min(sounding) > 0.99


def test_bands_beyond_the_spectrum_are_empty_and_bands_at_its_ends_are_cut() -> None:
    spectrum = note_spectrum(tone(440.0, 8000), RATE_HZ, 0.1)
    values, _, _ = spectrum.envelopes(np.array([440.0, 5000.0]), 20.0)
    assert np.max(np.abs(values[1])) == 0
    low, _, _ = spectrum.envelopes(np.array([0.0]), 20.0)
    assert np.max(np.abs(low)) < 0.05  # the mean is gone, and a tone far off


def test_the_strongest_bands_come_first() -> None:
    """By their energy, whatever its phase: of noise, from the bins themselves."""
    spectrum = note_spectrum(np.random.default_rng(8).normal(size=8000), RATE_HZ, 0.1)
    centres_hz, half_hz = np.arange(200.0, 3000.0, 70.0), 12.0
    at_hz = np.arange(spectrum.bins.size) * spectrum.bin_hz
    passed = band_response((at_hz - centres_hz[:, None]) / half_hz)
    energy = np.sum(np.abs(passed * spectrum.bins) ** 2, axis=1)
    by_energy = np.argsort(-energy)
    assert spectrum.strongest(centres_hz, half_hz, 99).tolist() == by_energy.tolist()
    assert spectrum.strongest(centres_hz, half_hz, 3).tolist() == by_energy[:3].tolist()


def test_noise_in_the_middle_of_a_band_is_denser_than_over_it() -> None:
    """Over the band's whole width the square of a raised cosine has the mean 3/8."""
    across = np.linspace(-1, 1, 100_001)
    assert pytest.approx(1 / np.mean(band_response(across) ** 2), rel=1e-4) == BAND_COLOUR


@pytest.mark.parametrize(("spacing_hz", "half"), [(100.0, 33), (41.0, 14), (2.0, 4)])
def test_the_floor_is_the_median_about_a_frequency(spacing_hz, half) -> None:
    """As scipy's median filter has it, whose ends repeat; at least nine bins."""
    level_db = np.random.default_rng(2).normal(size=700)
    lines = LineSpectrum(level_db, 1.5)
    at_hz = np.array([0.0, 3.0, 300.0, 517.6, 1040.0])
    filtered = ndimage.median_filter(level_db, 2 * half + 1, mode="nearest")
    bins = np.array([0, 2, 200, 345, 693])
    assert lines.floor_db(at_hz, spacing_hz) == pytest.approx(filtered[bins], abs=0)


@pytest.mark.parametrize(("rate_hz", "low_hz"), [(44_100.0, 24_860.0), (16_000.0, 16_000.0)])
def test_lines_are_looked_for_up_to_11_khz_on_any_clock(rate_hz, low_hz) -> None:
    note = low_note(note_spectrum(tone(440.0, 44_100, rate_hz), rate_hz, 0.2))
    assert low_hz <= note.rate_hz <= 1.02 * low_hz
    assert note.onset_s == 0.2
    assert note.samples.size == round(44_100 / rate_hz * note.rate_hz)


@pytest.mark.parametrize(
    ("not_before_s", "pace", "start_s"),
    [
        (0.0, 1.0, 0.28),  # 0.08 s after the onset
        (0.9, 1.0, 0.9),
        (9.0, 1.0, 2.4),  # no later than 0.6 s before the end, so that half is left
        (0.9, 1.2, 1.08),  # on the other clock
        (9.0, 0.8, 1.8),
    ],
)
def test_lines_are_those_of_a_hann_window(not_before_s, pace, start_s) -> None:
    """numpy's transform of the windowed part, twice as long, in dB; up to 11 kHz.

    The tones decay, so that it matters where the part begins.
    """
    rate_hz = 24_000.0
    decay = np.exp(-np.arange(72_000) / rate_hz / 0.7)
    tones = tone(440.0, 72_000, rate_hz) + 0.01 * tone(3000.0, 72_000, rate_hz)
    note = LowNote((decay * tones).astype(np.float32), rate_hz, 0.2)
    found = line_spectrum(note, not_before_s, pace)
    slow_hz = rate_hz / pace
    start = round(start_s * slow_hz)
    part = note.samples[start : start + round(1.2 * slow_hz)].astype(np.float64)
    size = round(slow_hz / found.bin_hz)
    assert 2 * part.size <= size <= 2.1 * part.size
    magnitude = np.abs(np.fft.rfft(part * np.hanning(part.size), size))
    assert found.bin_hz == pytest.approx(slow_hz / size)
    assert found.level_db.size == min(round(11_000 / found.bin_hz), magnitude.size)
    clear = magnitude[: found.level_db.size] > 1e-4 * np.max(magnitude)
    expected_db = 20 * np.log10(magnitude[: found.level_db.size][clear])
    assert found.level_db[clear] == pytest.approx(expected_db, abs=0.02)
    top_hz = found.bin_hz * int(np.argmax(found.level_db))
    assert top_hz == pytest.approx(440.0 / pace, abs=found.bin_hz)


def test_lines_are_by_default_those_after_the_onset() -> None:
    note = LowNote(tone(440.0, 72_000, 24_000.0).astype(np.float32), 24_000.0, 0.2)
    assert line_spectrum(note).level_db.tolist() == line_spectrum(note, 0.0, 1.0).level_db.tolist()


def test_silence_has_lines_of_a_finite_level() -> None:
    found = line_spectrum(LowNote(np.zeros(30_000, np.float32), 24_000.0, 0.0))
    assert found.level_db == pytest.approx(np.full(found.level_db.size, -240.0), abs=1e-3)
