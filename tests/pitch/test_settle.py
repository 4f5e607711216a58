"""The stages of a settled pitch: which samples count, which partials, and what is made of a fit."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from given_fits import NUMBERS, TIMES_S, fit_of, law_of, peaks_of

from analyzer.errors import RecordingError
from analyzer.music import CENTS_PER_NEPER
from analyzer.pitch.envelopes import Envelopes
from analyzer.pitch.guide import Guide
from analyzer.pitch.mending import Mended
from analyzer.pitch.settle import (
    _band_half_hz,
    _check_length,
    _check_note,
    _envelopes,
    _envelopes_of,
    _string,
)
from analyzer.pitch.spectrum import NoteSpectrum, note_spectrum
from analyzer.pitch.stiff_string import fit_string
from analyzer.plucks import Pluck

RATE_HZ, ONSET_S = 4000.0, 0.1


def tone(at_hz: float, seconds: float, tau_s: float = np.inf):
    """A sine of the amplitude 0.5 e^(-t / tau), t from the onset 0.1 s in."""
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ - ONSET_S
    return np.where(t >= 0, 0.5 * np.exp(-t / tau_s) * np.sin(2 * np.pi * at_hz * t), 0.0)


def spectrum(at_hz: float, seconds: float, tau_s: float = np.inf) -> NoteSpectrum:
    return note_spectrum(tone(at_hz, seconds, tau_s), RATE_HZ, ONSET_S)


# --- which samples of the envelopes count


@pytest.mark.parametrize(
    ("numbers", "f1_hz", "half_hz"),
    [([1.0, 2.0], 50.0, 20.0), ([3.0, 4.0], 50.0, 20.0), ([1.0], 99.0, 39.6), ([1.0], 440.0, 40.0)],
)
def test_a_band_takes_two_fifths_of_the_way_to_the_next(numbers, f1_hz, half_hz) -> None:
    assert _band_half_hz(peaks_of(f1_hz, numbers)) == pytest.approx(half_hz)


@pytest.mark.parametrize(
    ("f1_hz", "first_s", "step_s", "ringing_s"),
    [(200.0, 0.05, 0.0125, 0.0375), (50.0, 0.075, 0.025, 0.075), (40.0, 0.09375, 0.03125, 0.09375)],
)
def test_bands_begin_when_they_have_forgotten_the_onset(f1_hz, first_s, step_s, ringing_s) -> None:
    """After 1.5 over the half-width, and 0.05 s at least; they end as long before the end."""
    found = _envelopes(spectrum(f1_hz, 2.1), peaks_of(f1_hz, [1.0]))
    assert found.times_s[0] == pytest.approx(first_s)
    assert np.diff(found.times_s) == pytest.approx(step_s)
    assert found.half_hz == pytest.approx(0.5 / step_s)
    assert found.end_s == pytest.approx(2.0 - ringing_s)
    assert found.end_s - step_s < found.times_s[-1] <= found.end_s + 1e-6
    assert found.values.shape == (1, found.times_s.size)
    assert np.abs(found.values[0]) == pytest.approx(0.5, abs=0.02)  # the amplitude of the sine
    assert found.centres_hz == pytest.approx(f1_hz, abs=0.5)


def test_a_step_a_hair_beside_the_end_counts_on_either_side() -> None:
    """2.1 s less 1.5 steps of a band lie on a step: rounding must not choose."""
    found = _envelopes(spectrum(50.0, 2.1 + 1e-9), peaks_of(50.0, [1.0]))
    assert found.times_s[-1] == pytest.approx(2.0 - 0.075)


def test_a_note_counts_until_it_is_faint_and_for_seven_seconds() -> None:
    """45 dB are tau ln(10^(45/20)) after the peak, which smoothing may move by a step or two."""
    faint = _envelopes(spectrum(200.0, 4.0, 0.3), peaks_of(200.0, [1.0]))
    assert faint.end_s == pytest.approx(0.3 * 2.25 * math.log(10), abs=0.1)
    assert faint.times_s[-1] == pytest.approx(faint.end_s, abs=1e-6)
    assert _envelopes(spectrum(200.0, 8.5), peaks_of(200.0, [1.0])).end_s == pytest.approx(7.0)


# --- what is no note


@pytest.mark.parametrize(
    ("share", "clear_db", "is_note"),
    [(0.9, 20.0, True), (0.0, 30.1, True), (0.0, 29.9, False), (0.0, 20.0, False)],
)
def test_a_note_is_voiced_or_has_a_line_30_db_above_the_noise(share, clear_db, is_note) -> None:
    check = _check_note, ("x.wav", Guide(110.0, share), peaks_of(110.0, clear_db=clear_db))
    if is_note:
        check[0](*check[1])
    else:
        with pytest.raises(RecordingError, match=r"x\.wav.*no steady note \(only 0 % of it"):
            check[0](*check[1])


def test_a_note_without_a_partial_is_none() -> None:
    with pytest.raises(RecordingError, match="only 87 % of it has a pitch"):
        _check_note("x.wav", Guide(110.0, 0.87), peaks_of(110.0, []))


def test_a_dozen_samples_of_an_envelope_are_the_fewest() -> None:
    def check(count: int) -> None:
        envelopes = Envelopes(np.ones((1, count)) + 0j, np.ones(1), TIMES_S[:count], 20.0)
        _check_length("x.wav", envelopes, Pluck(1.0, 1.62, 0, 0))

    check(12)
    with pytest.raises(RecordingError, match=r"holds 0\.62 s of a note"):
        check(11)


# --- what is kept of a mended note


def test_a_note_mended_throughout_is_kept_throughout() -> None:
    samples, peaks = tone(200.0, 2.1), peaks_of(200.0, [1.0])
    found = _envelopes_of("x", Mended(samples, 0.3, whole=True), spectrum(200.0, 2.1), peaks)
    assert found.times_s[0] == pytest.approx(0.05)


@pytest.mark.parametrize("good_from_s", [0.5, 1.0])
def test_a_note_mended_in_part_begins_when_bands_have_forgotten_the_rest(good_from_s) -> None:
    """The envelopes are cut from the mended samples, 1.5 / 40 Hz after they are good."""
    mend = Mended(2 * tone(200.0, 2.1), good_from_s, whole=False)
    found = _envelopes_of("x", mend, spectrum(200.0, 2.1), peaks_of(200.0, [1.0]))
    assert found.times_s[0] == pytest.approx(good_from_s + 0.0375, abs=0.0126)
    assert found.times_s[0] >= good_from_s + 0.0375 - 1e-9
    assert np.abs(found.values) == pytest.approx(np.full(found.values.shape, 1.0), abs=0.02)


def test_half_a_second_of_a_mended_note_is_the_least() -> None:
    """In steps of 0.0125 s that is 40 samples up to the last one, at 1.9625 s."""
    peaks, whole = peaks_of(200.0, [1.0]), spectrum(200.0, 2.1)
    enough = 2.0 - 0.0375 - 40 * 0.0125 - 0.0375 - 0.006
    mend = Mended(tone(200.0, 2.1), enough, whole=False)
    assert _envelopes_of("x", mend, whole, peaks).times_s.size == 41
    with pytest.raises(RecordingError, match=r"clipped so heavily.*followed"):
        _envelopes_of("x.wav", replace(mend, good_from_s=enough + 0.025), whole, peaks)


# --- the partials' say in the law


def say_by_hand(variance):
    """Full up to 2e-6 above the best, then falling in a straight line to nothing at 4e-6."""
    return np.clip((4e-6 - (variance - np.min(variance))) / 2e-6, 0, 1)


VARIANCE = 1e-8 + np.array([0.0, 1e-6, 2.5e-6, 3e-6, 3.9e-6, 4.1e-6])


def test_a_partial_about_to_be_lost_fades_and_one_lost_is_left_out() -> None:
    """Exactly on the law no scatter is left: a weight is one over a variance, over its say."""
    found = _string("x", peaks_of(110.0), law_of(), fit_of(np.diag(VARIANCE)))
    say = say_by_hand(VARIANCE)
    assert say == pytest.approx([1, 1, 0.75, 0.5, 0.05, 0])
    expected = (say / VARIANCE)[:5]
    assert found.weights == pytest.approx(expected / np.sum(expected))
    assert found.f1_hz == pytest.approx(110.0)


def test_interval_of_the_law_is_that_of_general_least_squares() -> None:
    """Gain (D' C^-1 D + P)^-1 by numpy, with errors that all share left as they are."""
    shared = 5e-7 * np.ones((6, 6))
    phases = fit_of(np.diag(VARIANCE) + shared, offsets=np.full(6, 3e-4))
    found = _string("x", peaks_of(110.0), law_of(), phases)
    say, own = say_by_hand(VARIANCE)[:5], (np.diag(VARIANCE) + shared)[:5, :5]
    covariance = own + np.diag(np.diag(own) * (1 / say - 1))
    k2 = NUMBERS[:5] ** 2
    stiffness = found.stiffness
    slope = 0.5 * (k2 / (1 + stiffness * k2) - 1 / (1 + stiffness))
    design = np.stack([np.ones(5), slope], axis=1)
    precision = design.T @ np.linalg.inv(covariance) @ design + np.diag([0, 3e-4**-2])
    sd = math.sqrt(np.linalg.inv(precision)[0, 0])
    assert found.uncertainty_cents == pytest.approx(1.96 * CENTS_PER_NEPER * sd, rel=2e-3)
    assert found.f1_hz == pytest.approx(110.0 * (1 + 3e-4))


def test_standing_and_say_go_together_into_the_law() -> None:
    rng = np.random.default_rng(5)
    peaks = replace(peaks_of(110.0), standing=np.array([1.0, 0.2, 0.9, 0.7, 1.0, 1.0]))
    offsets = 4e-3 * rng.normal(size=6)
    found = _string("x", peaks, law_of(), fit_of(np.diag(VARIANCE), offsets))
    say, kept = say_by_hand(VARIANCE)[:5], slice(0, 5)
    hz = (law_of().centres_hz * (1 + offsets))[kept]
    expected = fit_string(
        NUMBERS[kept], hz, np.diag(VARIANCE[kept] / say), say * peaks.standing[kept]
    )
    assert found.misfit_cents > 0.05
    assert found.f1_hz == pytest.approx(expected.f1_hz, rel=1e-12)
    assert found.weights == pytest.approx(expected.weights)


def test_a_pitch_known_to_half_a_semitone_is_none() -> None:
    _string("x", peaks_of(110.0), law_of(), fit_of(np.eye(6) * 1.99e-4))
    with pytest.raises(RecordingError, match="no partial that can be followed"):
        _string("x", peaks_of(110.0), law_of(), fit_of(np.eye(6) * 2.01e-4))
