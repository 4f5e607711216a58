"""The fit of the phases, step by step: numpy's and scipy's own, closed forms, Bayes written out."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import cumulative_trapezoid
from scipy.interpolate import CubicHermiteSpline
from scipy.special import softmax

from analyzer.pitch import phases
from analyzer.pitch.envelopes import Envelopes
from analyzer.pitch.glide import NO_GLIDE_PRIOR, SIZE_PRIOR, candidate_shapes
from analyzer.pitch.phases import PhaseFit, fit_phases
from analyzer.pitch.shared import share_terms, solve_all
from analyzer.pitch.wander import STEADY_PRIOR, wander_over

CENT = np.log(2) / 1200
PARTIALS = 6
CENTRES_HZ = 110.0 * np.arange(1, PARTIALS + 1)
OMEGA = 2 * np.pi * CENTRES_HZ[:, None]
STEP_S = 0.03
TIMES_S = 0.05 + STEP_S * np.arange(90)
SAY = np.ones(PARTIALS)


def envelopes(values, end_s: float = np.inf, times_s=TIMES_S) -> Envelopes:
    return Envelopes(values, CENTRES_HZ, times_s, None, end_s)


def noise(seed: int, size: float):
    rng = np.random.default_rng(seed)
    return size * (rng.normal(size=(PARTIALS, 90)) + 1j * rng.normal(size=(PARTIALS, 90)))


# --- steps


def test_phases_are_followed_as_numpy_unwraps_them() -> None:
    rng = np.random.default_rng(1)
    steps = rng.uniform(-3.0, 3.0, (3, 50))
    z = rng.uniform(0.1, 2.0, (3, 50)) * np.exp(1j * np.cumsum(steps, axis=1))
    assert phases._followed(z) == pytest.approx(np.unwrap(np.angle(z), axis=1), abs=1e-9)


def test_steady_phase_is_that_of_the_late_part_weighed_by_power() -> None:
    """0.9 radians a sample after 0.2 s, whatever comes before; of both, the louder rules."""
    steps = np.where(TIMES_S > 0.2, 0.9, -2.0)
    steps = np.append(0.0, np.cumsum(steps[1:]))
    found = phases._steady_phase(np.exp(1j * steps)[None], TIMES_S)
    assert found[0] == pytest.approx(0.9 * np.arange(90))
    # Ten samples or fewer after 0.2 s are too few: all are taken.
    short = TIMES_S[:15]
    found = phases._steady_phase(np.exp(1j * steps[:15])[None], short)
    expected = np.angle(np.sum(np.exp(1j * np.diff(steps[:15]))))
    assert found[0] == pytest.approx(expected * np.arange(15))
    amplitude = np.where(TIMES_S < 1.5, 1.0, 3.0)
    turn = np.append(0.0, np.cumsum(np.where(TIMES_S < 1.5, 0.2, 0.6)[1:]))
    late = (amplitude * np.exp(1j * turn))[TIMES_S > 0.2]
    expected = np.angle(np.sum(late[1:] * late[:-1].conj()))
    found = phases._steady_phase((amplitude * np.exp(1j * turn))[None], TIMES_S)
    assert found[0, 1] == pytest.approx(expected)


def test_cubic_pieces_are_scipys() -> None:
    """Within and a little beyond the ends, where the last pieces go on."""
    rng = np.random.default_rng(2)
    values, slopes = rng.normal(size=(2, 20))
    at_s = np.linspace(TIMES_S[0] - 0.02, TIMES_S[19] + 0.02, 333)
    found = phases._smoothly(values, slopes, TIMES_S[:20], at_s)
    assert found == pytest.approx(CubicHermiteSpline(TIMES_S[:20], values, slopes)(at_s), abs=1e-9)


def test_probabilities_are_a_softmax_that_does_not_overflow() -> None:
    odds = np.array([[2000.0, 1998.5], [1990.0, -4000.0]])
    assert phases._probabilities(odds) == pytest.approx(softmax(odds))


def test_the_say_fades_over_the_last_0_3_seconds() -> None:
    t = np.array([0.0, 1.0, 1.7, 1.85, 1.94, 2.0])
    given = Envelopes(np.zeros((1, 6)), np.array([100.0]), t, None, 2.0)
    assert phases.fading(given) == pytest.approx([1, 1, 1, 0.5, 0.2, 0])


def test_weights_are_powers_over_noise_but_for_the_faintest() -> None:
    """p / c x p^2 / (p^2 + 9): at a power of 3 half of it, at 300 all but a ten-thousandth."""
    amplitude = np.sqrt(np.array([[2 * 3.0, 2 * 300.0, 2 * 1.0]]))
    found = phases._weights(amplitude, np.array([2.0]), 0.5)
    assert found[0] == pytest.approx([3.0, 600 / 1.0001, 2.0 * 0.1])
    halved = phases._weights(amplitude, np.array([2.0]), np.array([[1.0]]))
    assert halved == pytest.approx(found / 2)


def test_what_is_left_of_a_phase_is_its_sine() -> None:
    turned = np.array([[2 * np.exp(0.1j), 3 * np.exp(3.0j), 0.0]])
    assert phases._rest(turned)[0] == pytest.approx([np.sin(0.1), np.sin(3.0), 0.0])


def test_a_phase_is_trusted_at_most_to_a_tenth_of_a_radian() -> None:
    """1 / (1/w + 0.01), while it is clear: 20 times the noise's power and no less before."""
    loud = np.ones((1, 90))
    loud[0, 60:] = 1e-3
    given = Envelopes(loud.astype(complex), np.array([100.0]), TIMES_S, None, np.inf)
    found = phases._unwrapped(given, np.array([1e-4]), np.array([0.5]))
    weight = 1e4  # amplitude 1 in noise of 1e-4
    assert found.weights[0, 20] == pytest.approx(0.5 * weight / (1 + 0.01 * weight), rel=1e-3)
    assert np.all(found.weights[0, 70:] < 1e-9)
    steady = phases._unwrapped(given, np.array([0.06]), np.array([1.0]))
    # 1 / (10 x 0.06) - 1 = 2/3 of its say is left: unwrapping may slip.
    power = 1 / 0.06
    full = power**3 / (power**2 + 9)
    assert steady.weights[0, 20] == pytest.approx(2 / 3 * full / (1 + 0.01 * full), rel=1e-3)


def test_a_partial_that_was_lost_at_once_hardly_counts() -> None:
    rng = np.random.default_rng(3)
    values = np.array([[1.0], [0.0]]) + 0.02 * (rng.normal(size=(2, 90)) + 0j)
    given = Envelopes(values.astype(complex), np.array([100.0, 200.0]), TIMES_S, None, np.inf)
    found = phases._unwrapped(given, np.array([4e-4, 4e-4]), np.ones(2))
    assert 0 < np.max(found.weights[1]) < 1e-3 * np.min(found.weights[0])


def test_a_fit_is_drawn_out_to_every_sample() -> None:
    """A line for each partial and a shared glide, both known at any time."""
    offsets, tau = CENT * np.arange(1.0, 7), 0.3
    starts = 0.3 * np.arange(PARTIALS)[:, None]

    def true(t) -> np.ndarray:
        glide = 5 * CENT * tau * (1 - np.exp(-t / tau))
        return starts + OMEGA * (offsets[:, None] * t + glide)

    course_cents = 5 * np.exp(-TIMES_S / tau)
    fit = PhaseFit(offsets, np.eye(6), TIMES_S, course_cents, true(TIMES_S), np.ones(1))
    fine = np.linspace(TIMES_S[0], TIMES_S[-1], 700)
    found = phases._drawn_out(fit, envelopes(np.zeros((6, 700)), times_s=fine))
    assert found == pytest.approx(true(fine), abs=2e-4)


# --- the average over candidates


def test_the_average_is_bayes_rule_over_all_candidates() -> None:
    """Prior by prior and fit by fit, as ``solve_all`` has them; the law of total covariance."""
    rng = np.random.default_rng(4)
    glide = 4 * CENT * 0.2 * (1 - np.exp(-TIMES_S / 0.2))
    course = CENT * np.arange(1, 7)[:, None] * TIMES_S + glide + 0.1 * np.arange(6)[:, None]
    weights = rng.uniform(0.5, 2.0, (PARTIALS, 90)) * 1e8
    y = course + rng.normal(size=(PARTIALS, 90)) / np.sqrt(weights)
    log_tau = np.log([0.1, 0.2, 0.4])
    shapes = candidate_shapes(log_tau, np.exp(-TIMES_S / np.array([[0.5], [1.0]])), TIMES_S)
    wander = wander_over(TIMES_S)
    terms = share_terms(y, weights, TIMES_S, wander.integrals, shapes.integrals)
    lines = np.diag(np.arange(1.0, 7)) * 1e-12
    fit = phases.averaged(terms, lines, envelopes(np.zeros((6, 90))), shapes, wander)

    every = solve_all(terms, SIZE_PRIOR, wander.roots, wander.sizes)
    prior = np.outer(np.append(STEADY_PRIOR, wander.prior), np.append(NO_GLIDE_PRIOR, shapes.prior))
    share = softmax(every.evidence + np.log(prior))
    mean, total, hats = np.zeros(6), lines.copy(), np.zeros(len(wander.courses))
    for w, g in np.ndindex(share.shape):
        mean = mean + share[w, g] * every.slopes[:, w, g]
        if w:
            taken = every.taken[:, w]
            own = taken[:, -1] - (every.sizes[w, g] * taken[:, g - 1] if g else 0)
            hats = hats + share[w, g] * own
    for w, g in np.ndindex(share.shape):
        tilt, away = every.tilts[:, w, g], every.slopes[:, w, g] - mean
        own = every.variances[w, g] * np.outer(tilt, tilt) + np.outer(away, away)
        reach = every.reach[w - 1] if w else np.zeros((1, 6))
        total += share[w, g] * (own + reach.T @ reach)
    assert fit.offsets == pytest.approx(mean, rel=1e-9)
    assert fit.covariance == pytest.approx(total, rel=1e-7, abs=1e-18)
    assert fit.probabilities == pytest.approx(np.sum(share, axis=0))
    sizes = np.sum(every.sizes * share, axis=0)[1:]
    run = sizes @ shapes.courses + hats @ wander.courses
    assert fit.course_cents == pytest.approx(run / CENT, rel=1e-6, abs=1e-9)
    integral = sizes @ shapes.integrals + hats @ wander.integrals
    rest = y - mean[:, None] * TIMES_S - integral
    constant = np.average(rest, axis=1, weights=weights)
    expected = OMEGA * (constant[:, None] + mean[:, None] * TIMES_S + integral)
    assert fit.phases == pytest.approx(expected, abs=1e-6)


# --- the whole


def made(seed: int, glide_cents: float = 4.0, tau_s: float = 0.25):
    """Partials 1 to 6 cents off, whose pitch falls by ``glide_cents``."""
    offsets = CENT * np.arange(1.0, 7)
    glide = glide_cents * CENT * tau_s * (1 - np.exp(-TIMES_S / tau_s))
    turn = OMEGA * (offsets[:, None] * TIMES_S + glide) + np.arange(6)[:, None]
    values = np.exp(1j * turn - 0.8 * TIMES_S) / np.arange(1, 7)[:, None]
    return offsets, values + noise(seed, 1e-3)


def test_offsets_are_the_truth_and_no_less_sure_than_said() -> None:
    """Glides drawn as the fit expects them: errors over deviations have a mean square below 1.

    Three in ten without; else normal with 8 cents, and time constants even in the logarithm from
    0.04 s to 3 s. The fit allows for wander and waves beside, which these have none of, so that it
    is to be cautious here, but by less than twice the deviation.
    """
    rng = np.random.default_rng(5)
    squares = []
    for seed in range(120):
        size = 0.0 if rng.random() < 0.3 else rng.normal(0.0, 8.0)
        tau_s = np.exp(rng.uniform(np.log(0.04), np.log(3.0)))
        offsets, values = made(seed, size, tau_s)
        fit, _ = fit_phases(envelopes(values, 2.75), SAY)
        off = fit.offsets - offsets
        squares.append(np.mean(off**2 / np.diag(fit.covariance)))
    assert 0.25 < np.mean(squares) < 1.0


def test_the_course_is_the_glide_and_the_rest_stands_still() -> None:
    _, values = made(1)
    fit, rest = fit_phases(envelopes(values, 2.75), SAY)
    glide = 4 * np.exp(-TIMES_S / 0.25)
    assert fit.course_cents == pytest.approx(glide, abs=0.12)
    run = cumulative_trapezoid(fit.course_cents * CENT, TIMES_S, initial=0)
    shared = fit.phases / OMEGA - fit.offsets[:, None] * TIMES_S
    assert shared - shared[:, :1] == pytest.approx(np.tile(run, (6, 1)), abs=0.02 * CENT)
    assert fit.probabilities[0] < 0.01  # that it has no glide
    assert rest.noise == pytest.approx(np.full(6, 1e-6), rel=0.5)
    assert np.abs(rest.values) == pytest.approx(np.abs(values), rel=1e-9)
    loud = np.abs(rest.values) > 0.03
    assert np.angle(rest.values)[loud] == pytest.approx(0.0, abs=0.15)


def test_a_partial_without_a_say_does_not_move_the_others() -> None:
    _, values = made(2)
    say = np.array([1.0, 1, 1, 1, 1, 1e-12])
    one, _ = fit_phases(envelopes(values, 2.75), say)
    values[5] *= np.exp(0.5j * np.sin(9 * TIMES_S))
    other, _ = fit_phases(envelopes(values, 2.75), say)
    assert other.offsets[:5] == pytest.approx(one.offsets[:5], abs=1e-9)


def test_whole_turns_between_samples_are_not_lost() -> None:
    """A partial 30 cents off turns by 2 to 12 radians a sample against its centre."""
    offsets = np.full(PARTIALS, 9.0) * CENT
    turn = OMEGA * offsets[:, None] * TIMES_S
    values = np.exp(1j * turn - 0.8 * TIMES_S) / np.arange(1, 7)[:, None] + noise(3, 1e-4)
    fit, _ = fit_phases(envelopes(values, 2.75), SAY)
    assert fit.offsets == pytest.approx(offsets, abs=0.02 * CENT)


def test_the_end_of_a_note_has_no_say() -> None:
    """Half a turn in its last samples, which lie within 0.02 s of the end."""
    _, values = made(4, 0.0)
    one, _ = fit_phases(envelopes(values, TIMES_S[-1]), SAY)
    values[:, -1] *= -1
    other, _ = fit_phases(envelopes(values, TIMES_S[-1]), SAY)
    assert other.offsets == pytest.approx(one.offsets, abs=0.01 * CENT)
