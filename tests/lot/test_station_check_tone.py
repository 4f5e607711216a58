"""A recorded tone against truths put in.

What a clock does to a pitch follows from the definition of the hertz.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from made_checks import cents_of_ppm, tone, written

from analyzer.errors import RecordingError
from analyzer.lot.station_check.thresholds import STEADY_DB
from analyzer.lot.station_check.tone import Tone, measure_tone, tone_of_recording

RATE_HZ = 44100
SMALL_CENTS = 0.001  # what is claimed: well below 0.1 cents


def measured(samples, tone_hz=440.0, rate_hz=RATE_HZ) -> Tone:
    return measure_tone(samples, rate_hz, tone_hz, (1, 1), "tone.wav")


@pytest.mark.parametrize("ppm", [-80.0, -3.0, 20.0, 150.0])
def test_a_clock_error_is_found_with_its_sign(ppm) -> None:
    found = measured(tone(clock_ppm=ppm))
    assert found.clock_error_ppm == pytest.approx(ppm, abs=0.01)
    assert found.pitch_cents == pytest.approx(cents_of_ppm(ppm), abs=SMALL_CENTS / 10)


@pytest.mark.parametrize("frequency_hz", [27.5, 55.02, 110.3, 440.123, 1000.0, 4400.7, 15000.0])
def test_tones_from_the_lowest_to_the_highest(frequency_hz) -> None:
    found = measured(tone(frequency_hz), frequency_hz * 1.0001)
    assert 1200 * math.log2(found.frequency_hz / frequency_hz) == pytest.approx(0, abs=SMALL_CENTS)


def test_hum_harmonics_and_offset_do_not_disturb_it() -> None:
    """Hum as loud as -20 dB of the tone, its ninth line 10 Hz from it; a tenth of full scale."""
    true_hz = 440.0317
    samples = tone(true_hz, harmonics=(0.1, 0.05, 0.03)) + 0.1
    times_s = np.arange(samples.size) / RATE_HZ
    for line in range(1, 11):
        samples += 0.03 / line * np.cos(2 * np.pi * 50.02 * line * times_s + line)
    found = measured(samples)
    assert 1200 * math.log2(found.frequency_hz / true_hz) == pytest.approx(0, abs=SMALL_CENTS)
    assert found.offset_percent == pytest.approx(10.0, abs=0.05)
    hum = sum((0.03 / line) ** 2 for line in range(1, 7))  # the lines that are counted
    assert found.hum_dbfs == pytest.approx(10 * math.log10(hum), abs=0.2)
    ratio = (0.1**2 + 0.05**2 + 0.03**2) / 0.3**2
    assert found.distortion_db == pytest.approx(10 * math.log10(ratio), abs=0.05)


def test_levels_are_those_put_in() -> None:
    """A sine of amplitude a has 20 log10 a dBFS; noise of s has power s^2, a full sine 1/2."""
    found = measured(tone(amplitude=0.25, noise=0.002))
    assert found.level_dbfs == pytest.approx(20 * math.log10(0.25), abs=0.01)
    assert found.noise_dbfs == pytest.approx(10 * math.log10(2 * 0.002**2), abs=0.1)
    assert found.signal_to_noise_db == pytest.approx(
        10 * math.log10(0.25**2 / 2 / 0.002**2), abs=0.1
    )
    assert found.steady


@pytest.mark.parametrize("lost", [1, 64, 512, -37])
@pytest.mark.parametrize("noise", [1e-5, 3e-3])
def test_a_lost_or_doubled_buffer_is_found_and_does_not_bend_the_pitch(lost, noise) -> None:
    samples = tone(440.02, length_s=8.0, noise=noise)
    at = 3 * RATE_HZ
    broken = np.concatenate([samples[:at], samples[at + lost :]])
    found = measured(broken)
    (only,) = found.breaks
    assert only.at_s == pytest.approx(3.0, abs=0.05)
    period = RATE_HZ / 440.02
    off = (only.lost_samples - lost + period / 2) % period - period / 2
    assert off == pytest.approx(0, abs=0.3)
    assert 1200 * math.log2(found.frequency_hz / 440.02) == pytest.approx(0, abs=SMALL_CENTS)


def test_samples_put_to_nought_are_found() -> None:
    samples = tone(length_s=8.0)
    samples[4 * RATE_HZ : 4 * RATE_HZ + 400] = 0
    (only,) = measured(samples).breaks
    assert only.at_s == pytest.approx(4.0, abs=0.05)


def test_whole_periods_that_are_lost_leave_no_trace() -> None:
    """A tone of 441 Hz at 44.1 kHz has 100 samples a period: said so, and true."""
    samples = tone(441.0, noise=0.0)
    broken = np.concatenate([samples[:90000], samples[90500:]])
    assert not measured(broken, 441.0).breaks


@pytest.mark.parametrize("seed", range(20))
def test_a_whole_tone_has_no_breaks(seed) -> None:
    noise = [1e-5, 1e-3, 0.03][seed % 3]
    frequency_hz = [110.0, 440.0, 2000.0][seed // 3 % 3]
    found = measured(tone(frequency_hz, length_s=20, noise=noise, seed=seed), frequency_hz)
    assert not found.breaks
    assert not found.clipped_share


@pytest.mark.parametrize("top", [0.29, 0.2, 0.05])
@pytest.mark.parametrize("sides", ["both", "upper"])
def test_clipping_is_found(top, sides) -> None:
    """The share of a sine of amplitude a beyond t is acos(t / a) / pi of each side."""
    samples = tone(amplitude=0.3, noise=1e-6)
    clipped = np.clip(samples, -top if sides == "both" else -1, top)
    true = math.acos(top / 0.3) / math.pi * (2 if sides == "both" else 1)
    assert measured(clipped).clipped_share == pytest.approx(true, rel=0.15)


def test_a_quiet_tone_of_few_steps_is_not_clipped() -> None:
    samples = np.round(tone(amplitude=0.003, noise=1e-5) * 32768) / 32768
    assert measured(samples).clipped_share == 0


def test_a_fork_dies_away_and_is_measured_all_the_same() -> None:
    samples = tone(440.05, length_s=10, noise=1e-4)
    samples *= np.exp(-np.arange(samples.size) / RATE_HZ / 4)
    found = measured(samples)
    assert 1200 * math.log2(found.frequency_hz / 440.05) == pytest.approx(0, abs=SMALL_CENTS)
    assert not found.steady
    assert found.level_change_db < -STEADY_DB


def test_silence_before_and_after_does_not_count() -> None:
    samples = tone(length_s=5.0)
    quiet = 1e-4 * np.random.default_rng(2).standard_normal(2 * RATE_HZ)
    found = measured(np.concatenate([quiet, samples, quiet]))
    assert found.used_s == pytest.approx(4.8, abs=0.1)
    assert not found.breaks
    assert found.pitch_cents == pytest.approx(0, abs=SMALL_CENTS)


def test_a_source_that_wanders_is_known_less_well() -> None:
    """A random walk of the phase, whose steps have a variance of s^2 a sample.

    It shifts the slope of a line through n samples by a variance of 6 s^2 / 5 n: the standard
    deviation of the frequency follows. 60 tones: a root mean square within 18 % (two standard
    deviations) of it, and an uncertainty of which 4 terms tell little, within a factor.
    """
    step, errors, told_hz = 1e-4, [], []
    for seed in range(60):
        rng = np.random.default_rng(seed)
        walk = np.cumsum(step * rng.standard_normal(5 * RATE_HZ))
        turns = 2 * np.pi * 440 * np.arange(walk.size) / RATE_HZ
        found = measured(0.3 * np.sin(turns + walk) + 1e-5 * rng.standard_normal(walk.size))
        errors.append(found.frequency_hz - 440)
        told_hz.append(found.standard_uncertainty_hz)
        count = found.used_s * RATE_HZ
    expected = step * math.sqrt(1.2 / count) * RATE_HZ / (2 * np.pi)
    assert np.sqrt(np.mean(np.square(errors))) == pytest.approx(expected, rel=0.25)
    assert np.sqrt(np.mean(np.square(told_hz))) == pytest.approx(expected, rel=0.25)
    assert np.mean(np.abs(errors) < 2 * np.array(told_hz)) > 0.8


def told(samples, tone_hz=440.0, rate_hz=RATE_HZ) -> str:
    with pytest.raises(RecordingError) as error:
        measured(samples, tone_hz, rate_hz)
    text = str(error.value)
    assert "\n" not in text
    return text


def test_what_cannot_be_measured_is_said_in_one_line(tmp_path) -> None:
    rng = np.random.default_rng(1)
    assert "near 392" in told(tone(392.0))
    assert "near 440" in told(tone(440.0), 432.0)
    assert "near 440" in told(tone(440.0), 443.0)  # 12 cents: no clock is so wrong
    assert "--tone" in told(tone(392.0))
    assert "recorded at 48000 Hz and said 44100" in told(tone(440 * 44100 / 48000))
    assert "no tone" in told(0.1 * rng.standard_normal(6 * RATE_HZ))
    assert "2.0 s of the tone (3 s is the least)" in told(tone(length_s=2.0))
    assert "too low" in told(tone(), 20000.0)
    swept = 0.3 * np.sin(
        2 * np.pi * 440 * np.arange(6 * RATE_HZ) / RATE_HZ
        + 5 * np.cumsum(rng.standard_normal(6 * RATE_HZ)) * 1e-2
    )
    assert told(swept)
    silent = written(tmp_path / "silent.wav", np.zeros(6 * RATE_HZ))
    with pytest.raises(RecordingError, match="silent on channel 1"):
        tone_of_recording(silent, 440.0)


def test_too_many_breaks_are_no_clock() -> None:
    samples = tone(length_s=20.0)
    parts = [samples[n * 16000 + 37 * n : (n + 1) * 16000 + 37 * n] for n in range(50)]
    assert "breaks off" in told(np.concatenate(parts))


def test_the_channel_that_is_asked_for_is_used(tmp_path) -> None:
    loud, quiet = tone(amplitude=0.5), tone(amplitude=0.05)
    path = written(tmp_path / "two.wav", np.column_stack([quiet, loud]))
    assert tone_of_recording(path, 440.0).channel == 2
    kept = tone_of_recording(path, 440.0, 1)
    assert (kept.channel, kept.channels) == (1, 2)
    assert kept.level_dbfs == pytest.approx(20 * math.log10(0.05), abs=0.01)
    assert tone_of_recording(path, 440.0, 3).channel == 2
