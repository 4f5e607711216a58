"""What the settled pitch is made of, part by part, against closed forms and libraries."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import cumulative_trapezoid, trapezoid
from scipy.optimize import curve_fit

from analyzer.pitch.beats import beat_hz
from analyzer.pitch.clipping import Clipping, find_clipping
from analyzer.pitch.glide import candidate_shapes, closer_time_constants, first_time_constants
from analyzer.pitch.own_clock import _pace
from analyzer.pitch.partials import Peaks, find_partials, lawful, stretched
from analyzer.pitch.phases import Rest
from analyzer.pitch.spectrum import LineSpectrum
from analyzer.pitch.stiff_string import fit_string
from analyzer.pitch.wander import wander_over

TIMES_S = np.arange(600) * 0.005


def peaks(numbers, rough_hz, standing=None) -> Peaks:
    numbers = np.asarray(numbers, dtype=float)
    say = np.ones(numbers.size) if standing is None else np.asarray(standing, dtype=float)
    return Peaks(numbers, np.asarray(rough_hz, dtype=float), np.full(numbers.size, 40.0), say)


def law(numbers, f1_hz: float, b: float):
    """Fletcher 1964, written out."""
    numbers = np.asarray(numbers, dtype=float)
    return f1_hz * numbers * np.sqrt((1 + b * numbers**2) / (1 + b))


# --- clipping


def test_share_of_a_sine_above_half_its_height() -> None:
    """1 - (2 / pi) asin(1/2) = 2/3 of the time."""
    wave = np.clip(np.sin(2 * np.pi * 100.3 * np.arange(44_100) / 44_100), -0.5, 0.5)
    found = find_clipping(wave, 44_100)
    assert found.share == pytest.approx(np.full(20, 2 / 3), abs=0.02)
    assert found.clipped


@pytest.mark.parametrize(
    ("share", "free_from_s"),
    [
        ([0.4, 0.3, 0.2, 0.01, 0.0], 0.15),
        ([0.4, 0.03, 0.03, 0.03, 0.0], 0.05),  # clipped throughout, but hardly after the first
        ([0.4, 0.01, 0.01, 0.0], 0.0),  # one frame is no clipped note
        ([0.03, 0.03, 0.03], 0.0),
    ],
)
def test_from_when_a_clipped_note_is_free(share, free_from_s) -> None:
    assert Clipping(np.array(share)).free_from_s() == pytest.approx(free_from_s)


# --- beats


def beating(rate_hz: float, depth: float = 0.4, partials: int = 6) -> Rest:
    """Equation (1) of the module in blocks of 0.03 s, with noise that is 60 dB down."""
    rng = np.random.default_rng(3)
    k, times_s = np.arange(1, partials + 1)[:, None], 0.03 * np.arange(100)
    values = np.exp(-0.8 * times_s) * (1 + depth * np.exp(2j * np.pi * k * rate_hz * times_s))
    noise = 1e-3 * (rng.normal(size=values.shape) + 1j * rng.normal(size=values.shape))
    return Rest(values + noise, np.full(partials, 1e-6), times_s)


@pytest.mark.parametrize("rate_hz", [0.9, 1.6, 2.1])
def test_rate_of_second_lines(rate_hz) -> None:
    numbers = np.arange(1, 7)
    assert beat_hz(beating(rate_hz), peaks(numbers, 100.0 * numbers)) == pytest.approx(
        rate_hz, abs=0.03
    )


def test_no_rate_without_second_lines_or_with_two_partials() -> None:
    numbers = np.arange(1, 7)
    assert math.isnan(beat_hz(beating(1.6, depth=0), peaks(numbers, 100.0 * numbers)))
    two = peaks(numbers[:2], 100.0 * numbers[:2])
    assert math.isnan(beat_hz(beating(1.6, partials=2), two))


def test_faint_second_lines_are_not_called_beating() -> None:
    numbers = np.arange(1, 7)
    assert math.isnan(beat_hz(beating(1.6, depth=0.02), peaks(numbers, 100.0 * numbers)))


# --- glide and wander


def test_integrals_of_the_glides_shapes() -> None:
    """From the onset, against scipy's trapezoids."""
    powers = np.stack([np.exp(-TIMES_S), 1 / (1 + TIMES_S)])
    shapes = candidate_shapes(first_time_constants(), powers, TIMES_S)
    expected = cumulative_trapezoid(shapes.courses, TIMES_S, axis=1, initial=0)
    assert shapes.integrals == pytest.approx(expected, rel=1e-3, abs=1e-4)
    assert shapes.courses[:17, 0] == pytest.approx(np.ones(17))
    # normalised over the first fiftieth of the note
    assert shapes.courses[17:, 0] == pytest.approx(np.ones(2), rel=0.05)
    tau_s = np.exp(shapes.log_tau)
    assert (tau_s[0], tau_s[-1]) == pytest.approx((0.04, 3.0))
    assert shapes.courses[5, 100] == pytest.approx(math.exp(-0.5 / tau_s[5]))


def test_probabilities_of_the_glides_shapes() -> None:
    """0.3 for none, 0.3 for the energies, 0.4 over the range of the exponentials."""
    powers = np.ones((4, TIMES_S.size))
    row = first_time_constants()
    whole = candidate_shapes(row, powers, TIMES_S).prior
    assert np.sum(whole[17:]) == pytest.approx(0.3)
    assert trapezoid(whole[:17]) == pytest.approx(0.4)
    closer = candidate_shapes(np.linspace(row[3], row[5], 13), powers, TIMES_S).prior
    assert trapezoid(closer[:13]) == pytest.approx(0.4 * 2 / 16)  # two steps of sixteen


def test_a_finer_row_about_the_likely_ones() -> None:
    row = first_time_constants()
    step = row[1] - row[0]
    certain = np.zeros(17)
    certain[8] = 0.5
    finer = closer_time_constants(row, certain)
    assert finer == pytest.approx(np.linspace(row[8] - 1.6 * step, row[8] + 1.6 * step, 13))
    two = np.zeros(17)
    two[[6, 8]] = 0.3
    finer = closer_time_constants(row, two)  # a standard deviation of one step
    assert (finer[0], finer[-1]) == pytest.approx((row[7] - 4 * step, row[7] + 4 * step))
    certain = np.roll(certain, -8)
    assert closer_time_constants(row, certain)[0] == pytest.approx(row[0])  # not beyond the range
    assert np.all(closer_time_constants(row, np.zeros(17)) == row)


def test_wander_is_a_sum_of_hats_whose_correlation_dies_away() -> None:
    found = wander_over(TIMES_S)
    assert np.sum(found.courses, axis=0) == pytest.approx(np.ones(TIMES_S.size))
    expected = cumulative_trapezoid(found.courses, TIMES_S, axis=1, initial=0)
    assert found.integrals == pytest.approx(expected)
    at_s = np.linspace(0, TIMES_S[-1], len(found.courses))
    assert at_s[1] == pytest.approx(0.15, rel=0.05)
    plain, early = (root @ root.T for root in found.roots)
    assert plain == pytest.approx(np.exp(-np.abs(at_s - at_s[:, None]) / 0.4))
    gain = 1 + 9 * np.exp(-at_s / 0.25)
    assert early == pytest.approx(gain[:, None] * gain * plain)
    assert np.sum(found.prior) == pytest.approx(0.7)
    assert found.prior.size == 2 * found.sizes.size
    assert found.sizes[-1] == pytest.approx(3.0 * math.log(2) / 1200)


# --- the string behind the partials


def test_string_fit_against_a_general_least_squares() -> None:
    """scipy's curve_fit with known variances; the law's own scatter is nothing here."""
    numbers = np.arange(1.0, 13)
    sd = 2e-6 * np.linspace(1, 3, numbers.size)
    measured = law(numbers, 110.0, 1.2e-4) * (1 + sd * np.resize([0.5, -0.6, 0.1, 0.3], 12))
    found = fit_string(numbers, measured, np.diag(sd**2), np.ones(12))
    best, covariance = curve_fit(
        lambda k, f1, b: np.log(law(k, f1, b)), numbers, np.log(measured), p0=(109.9, 1e-4),
        sigma=sd, absolute_sigma=True,
    )  # fmt: skip
    assert found.f1_hz == pytest.approx(best[0], rel=1e-8)
    assert found.stiffness == pytest.approx(best[1], rel=1e-3)
    assert found.misfit_cents == pytest.approx(0, abs=1e-6)
    relative = math.sqrt(covariance[0, 0]) / best[0]
    assert found.uncertainty_cents == pytest.approx(1.96 * 1731.234 * relative, rel=0.02)
    assert found.stiffness_uncertainty == pytest.approx(
        1.96 * math.sqrt(covariance[1, 1]), rel=0.02
    )
    assert found.weights == pytest.approx(sd**-2 / np.sum(sd**-2))
    off = 1731.234 * np.log(measured / law(numbers, *best))
    assert found.residuals_cents == pytest.approx(off, abs=1e-6)


def test_scatter_of_the_partials_is_found() -> None:
    """Half a cent about the law, measured to nothing: 100 strings of 18 partials.

    Student's weights see somewhat less of a normal scatter than its standard deviation.
    """
    rng = np.random.default_rng(4)
    numbers, true = np.arange(1.0, 19), law(np.arange(1.0, 19), 196.0, 6e-5)
    misfits = []
    for _ in range(100):
        measured = true * 2 ** (rng.normal(0, 0.5, 18) / 1200)
        misfits.append(fit_string(numbers, measured, np.eye(18) * 1e-16, np.ones(18)).misfit_cents)
    assert 0.35 <= np.median(misfits) <= 0.55


def test_one_partial_that_strays_is_passed_over() -> None:
    numbers = np.arange(1.0, 15)
    noise = np.resize([0.05, -0.04, 0.02, -0.05, 0.03], 14)
    noise[4] = 20.0
    measured = law(numbers, 82.41, 1e-4) * 2 ** (noise / 1200)
    found = fit_string(numbers, measured, np.eye(14) * (0.05 / 1731) ** 2, np.ones(14))
    assert 1200 * math.log2(found.f1_hz / 82.41) == pytest.approx(0, abs=0.5)
    assert found.residuals_cents[4] == pytest.approx(20, abs=0.6)


# --- partials in a spectrum


def spectrum(at_hz, bin_hz: float = 0.5) -> LineSpectrum:
    """Parabolas in dB, 60 above a floor of -90, about each line: three bins to either side."""
    bins = np.arange(round(6000 / bin_hz)) * bin_hz
    level = np.full(bins.size, -90.0)
    for line in at_hz:
        level = np.maximum(level, -30.0 - 6.0 * ((bins - line) / bin_hz) ** 2)
    return LineSpectrum(level, bin_hz)


@pytest.mark.parametrize("b", [0.0, 1e-4, 6e-4])
def test_lines_of_a_stiff_string_are_found_where_they_are(b) -> None:
    """A parabola through three bins finds the top of a parabola exactly."""
    numbers = np.arange(1.0, 16)
    lines = law(numbers, 146.91, b)
    found = find_partials(spectrum(lines), 146.91 * 2 ** (9 / 1200), 44_100)
    assert np.array_equal(found.numbers, numbers)
    assert found.rough_hz == pytest.approx(lines, abs=1e-6)
    assert found.clear_db == pytest.approx(np.full(15, 60.0), abs=1.6)  # the highest bin's
    assert np.all(found.standing[:12] > 0.5)


def test_partials_near_the_top_of_the_rate_are_left_out_gently() -> None:
    """8 kHz: up to 0.45 of it, 3600 Hz; from a tenth below that on with less say."""
    numbers = np.arange(1.0, 20)
    found = find_partials(spectrum(law(numbers, 200.0, 0)), 200.0, 8000)
    assert found.numbers[-1] == 17  # 3400 Hz; the 18th lies at the limit itself
    assert found.standing[0] == pytest.approx(1)
    assert found.standing[16] == pytest.approx((3600 / 3400 - 1) / 0.1, abs=0.01)


def test_stretch_is_fletchers_law() -> None:
    numbers = np.arange(1.0, 9)
    assert stretched(numbers, 110.0, 2e-4) == pytest.approx(law(numbers, 110.0, 2e-4))


def test_lines_of_a_clipped_note_go_where_the_low_ones_say() -> None:
    numbers = np.arange(1.0, 18)
    true = law(numbers, 110.0, 1e-4)
    spoilt = np.where(numbers > 10, true * 1.004, true)
    spoilt[3] *= 1.002  # one of the low ones is off as well
    assert lawful(peaks(numbers, spoilt)).rough_hz == pytest.approx(true, rel=1e-6)
    few = peaks(numbers[:2], spoilt[:2])
    assert np.array_equal(lawful(few).rough_hz, few.rough_hz)


@pytest.mark.parametrize("f_hz", [41.2, 110.0, 113.0, 196.0, 659.3])
def test_an_own_clock_brings_a_note_to_one_of_three_pitches_an_octave(f_hz) -> None:
    """They lie a third of an octave apart, the one by A4 a quarter of a tone above it."""
    pace = _pace(peaks([1, 2, 3], [f_hz, 2 * f_hz, 3 * f_hz]))
    octaves = math.log2(f_hz / pace / 440.0) - 1 / 24
    assert 3 * octaves == pytest.approx(round(3 * octaves), abs=1e-9)
    assert 2 ** (-1 / 6) <= pace <= 2 ** (1 / 6)
    assert _pace(peaks([3, 5], [3 * f_hz, 5 * f_hz])) == pytest.approx(pace)
