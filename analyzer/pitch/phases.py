"""How the partials' phases run: a settled frequency each, and a course that they share.

The phase of a partial's complex envelope is, with t from the onset,

    phase_k(t) = c_k + 2 pi f_k [ e_k t + g S(t) + sum_j a_j H_j(t) ]                       (1)

f_k the frequency that the envelope is taken against, e_k its small relative offset, g the relative
sharpness at the onset, S the integral of the glide's course (``glide`` has the candidates), and
a_j H_j the wander's (``wander``), with normal priors on g and a_j. For one candidate (1) is linear
(``shared``). All candidates of glide and wander are averaged by their evidence (J. Hoeting et al.,
Statist. Sci. 14, 382, 1999; recalled), so that a steady note does not pay for a glide that it has
not, and the spread between candidates enters the covariance.

The weights are squared amplitude over noise, which makes the fit as good as the noise allows
(the phase of a sample at amplitude A in noise of variance v has the variance v / A^2).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analyzer.music import CENTS_PER_NEPER
from analyzer.pitch.envelopes import (
    PIECE_S,
    Envelopes,
    block_means,
    block_size,
    decaying_powers,
    first_noise,
    noise_of_steps,
    passed,
    slow_waves,
    smoothed,
)
from analyzer.pitch.glide import (
    NO_GLIDE_PRIOR,
    SIZE_PRIOR,
    Shapes,
    candidate_shapes,
    closer_time_constants,
    first_time_constants,
)
from analyzer.pitch.shared import SharedTerms, Solutions, share_terms, solve_all
from analyzer.pitch.spectrum import Complex, Real
from analyzer.pitch.wander import STEADY_PRIOR, Wander, wander_over

# What all partials share is found from the lowest first: a slip of the pitch turns the phase of a
# high partial by many times as much, and a phase is known but for whole turns. How steady each
# partial is, is judged meanwhile and then left: judged again by a fit that follows it, the
# steadiest would seem steadier from round to round.
# What lies beyond the reach keeps the phases that were followed from the start. Reaches end between
# partials, so that none comes or goes by a hair.
_REACHES = (4.5, 10.5, np.inf)
_FIRST_TRUST = 0.01  # variance of a phase, radians squared
_HARDLY = 1e-7  # the weight of what is only taken along: it says nothing of what all share
_LOST = 1e-4  # the weight of a partial that could not be followed even at its start
_FOLLOWED_POWER = 10.0  # over the noise; below this, unwrapping may slip
_LEAST_POWER = 3.0  # samples with less than this times the noise say little of the phase
_FEWEST_FOLLOWED = 5
_FADE_S = 0.3  # before the end of a note, over which the say of its samples dies away


@dataclass(frozen=True)
class PhaseFit:
    """What the phases say.

    ``offsets`` (partials,) are relative to the envelopes' centres, with ``covariance`` (partials,
    partials). ``course_cents`` (samples,) is the pitch above the settled one at ``times_s``.
    ``phases`` (partials, samples) is the fitted equation (1), radians; ``probabilities`` those of
    the glide's candidates, 'no glide' first.
    """

    offsets: Real
    covariance: Real
    times_s: Real
    course_cents: Real
    phases: Real
    probabilities: Real


@dataclass(frozen=True)
class Rest:
    """What a fit leaves of the partials: ``values`` (partials, samples) at ``times_s`` (samples,).

    ``noise`` (partials,) is the variance of the noise in either part.
    """

    values: Complex
    noise: Real
    times_s: Real


def fit_phases(envelopes: Envelopes, standing: Real) -> tuple[PhaseFit, Rest]:
    """Fit equation (1) to all partials at once, by iterated weighted least squares."""
    log_tau = first_time_constants()
    noise = first_noise(envelopes)
    first = _unwrapped(envelopes, noise, standing)
    size, step_share = block_size(envelopes)
    first = first.in_blocks(size)
    times_s = block_means(envelopes.times_s, size)
    wander = wander_over(times_s)
    some = envelopes.values[:, : times_s.size * size : size]
    few = replace(envelopes, values=some, times_s=times_s)
    fit = _first_fit(first, few, noise, log_tau, wander)
    whole = _drawn_out(fit, envelopes)
    rough = envelopes.values * np.exp(-1j * whole) / passed(whole, envelopes)
    blocks = replace(envelopes, values=block_means(rough, size), times_s=times_s)
    known = block_means(whole, size)
    slow = max(1, round(PIECE_S / blocks.step_s))
    phases = np.zeros_like(known)
    pitch_share = (envelopes.centres_hz / np.min(envelopes.centres_hz))[:, None]
    for reach in _REACHES:
        turned = blocks.values * np.exp(-1j * phases)
        amplitude = np.maximum(smoothed(turned.real, blocks.times_s), 0.0)
        noise = noise_of_steps(turned, amplitude, step_share)
        log_tau = closer_time_constants(log_tau, fit.probabilities[1 : 1 + log_tau.size])
        powers = decaying_powers(blocks, noise)
        shapes = candidate_shapes(log_tau, powers, blocks.times_s)
        if reach < np.inf:
            colour, wave = slow_waves(turned, noise, slow, standing)
        weights = _weights(amplitude, noise, colour)
        weights = standing[:, None] * weights / (1 + wave * weights) * fading(blocks)
        reached = pitch_share <= reach
        measured = np.where(reached, known + phases + _rest(turned), first.phases)
        weights = np.where(reached, weights, _HARDLY * first.weights)
        fit = _fit(measured, weights, blocks, shapes, wander)
        phases = fit.phases - known
    return fit, Rest(blocks.values * np.exp(-1j * phases), noise, blocks.times_s)


def _rest(turned: Complex) -> Real:
    """What the fit leaves of the phases: the sine, which does not jump where half a turn is left.

    Between turns far off, a measured angle falls on either side by a hair, and so would the figure.
    """
    return np.asarray(turned.imag / np.maximum(np.abs(turned), 1e-300))


@dataclass(frozen=True)
class _Unwrapped:
    """Phases followed from sample to sample, and their weights; (partials, samples) each."""

    phases: Real
    weights: Real

    def in_blocks(self, size: int) -> _Unwrapped:
        return _Unwrapped(block_means(self.phases, size), size * block_means(self.weights, size))


def _unwrapped(envelopes: Envelopes, noise: Real, standing: Real) -> _Unwrapped:
    """The phases for a start, which may wander freely.

    No phase is trusted beyond ``_FIRST_TRUST``, so that no partial rules the others before it is
    known which are steady.
    """
    z, t = envelopes.values, envelopes.times_s
    steady = _steady_phase(z, t)
    phases = steady + _followed(z * np.exp(-1j * steady))
    amplitude = smoothed(np.abs(z), t)
    clear = np.minimum(np.maximum(amplitude**2 / (_FOLLOWED_POWER * noise[:, None]) - 1, 0), 1)
    followed = np.minimum.accumulate(clear, axis=1)
    weights = _weights(amplitude, noise, envelopes.colour)
    weights = standing[:, None] * weights / (1 + _FIRST_TRUST * weights) * fading(envelopes)
    lost = np.sum(followed, axis=1, keepdims=True) < _FEWEST_FOLLOWED
    return _Unwrapped(phases, weights * np.where(lost, _LOST, followed))


def _followed(z: Complex) -> Real:
    """Phases of ``z`` (partials, samples) as they run on from sample to sample, radians."""
    steps = np.angle(z[:, 1:] * z[:, :-1].conj())
    return np.asarray(np.cumsum(np.concatenate([np.angle(z[:, :1]), steps], axis=1), axis=1))


def _first_fit(
    first: _Unwrapped, few: Envelopes, noise: Real, log_tau: Real, wander: Wander
) -> PhaseFit:
    """A fit to the unwrapped phases, in blocks of which ``few`` has a sample each: only near."""
    shapes = candidate_shapes(log_tau, decaying_powers(few, noise), few.times_s)
    return _fit(first.phases, first.weights, few, shapes, wander.freest)


def _drawn_out(fit: PhaseFit, envelopes: Envelopes) -> Real:
    """The fitted phases, (partials, samples), at every sample, smoothly."""
    line = envelopes.omega * fit.offsets[:, None]
    course = (fit.phases[0] - line[0] * fit.times_s) / envelopes.omega[0]
    constant = fit.phases - line * fit.times_s - envelopes.omega * course
    slope = fit.course_cents / CENTS_PER_NEPER
    smooth = _smoothly(course, slope, fit.times_s, envelopes.times_s)
    return np.asarray(constant[:, :1] + line * envelopes.times_s + envelopes.omega * smooth)


def _smoothly(values: Real, slopes: Real, times_s: Real, at_s: Real) -> Real:
    """The cubic pieces through ``values`` with ``slopes`` at even ``times_s``, (n,), at ``at_s``.

    As ``scipy.interpolate.CubicHermiteSpline`` has them, which takes as long as the whole fit's
    root to be built.
    """
    step_s = float(times_s[1] - times_s[0])
    place = (at_s - times_s[0]) / step_s
    piece = np.minimum(np.maximum(place.astype(int), 0), times_s.size - 2)
    x = place - piece
    rise, first, last = np.diff(values)[piece], step_s * slopes[piece], step_s * slopes[piece + 1]
    bend, turn = 3 * rise - 2 * first - last, first + last - 2 * rise
    return np.asarray(values[piece] + x * (first + x * (bend + x * turn)))


def _fit(
    measured: Real, weights: Real, envelopes: Envelopes, shapes: Shapes, wander: Wander
) -> PhaseFit:
    """Every candidate of equation (1), and their average."""
    omega, t = envelopes.omega, envelopes.times_s
    terms = share_terms(measured / omega, weights * omega**2, t, wander.integrals, shapes.integrals)
    return averaged(terms, np.diag(1 / terms.spread), envelopes, shapes, wander)


def averaged(
    terms: SharedTerms, lines: Real, envelopes: Envelopes, shapes: Shapes, wander: Wander
) -> PhaseFit:
    """The candidates' average; ``lines`` (partials, partials) is the slopes' covariance without."""
    omega, t = envelopes.omega, envelopes.times_s
    found = solve_all(terms, SIZE_PRIOR, wander.roots, wander.sizes)
    glide_prior = np.concatenate([[NO_GLIDE_PRIOR], shapes.prior])
    wander_prior = np.concatenate([[STEADY_PRIOR], wander.prior])
    share = _probabilities(found.evidence + np.log(glide_prior) + np.log(wander_prior)[:, None])
    offsets = found.slopes.reshape(terms.mean.size, -1) @ share.ravel()
    glide = np.sum(found.sizes * share, axis=0)[1:]
    hats = found.hats(share)
    constant = terms.mean - offsets * terms.mean_s - terms.row_mean @ np.concatenate([hats, glide])
    integral = hats @ wander.integrals + glide @ shapes.integrals
    return PhaseFit(
        offsets,
        lines + _shared_covariance(found, share, offsets),
        t,
        CENTS_PER_NEPER * (glide @ shapes.courses + hats @ wander.courses),
        omega * (constant[:, None] + offsets[:, None] * t + integral),
        np.sum(share, axis=0),
    )


def _shared_covariance(found: Solutions, share: Real, offsets: Real) -> Real:
    """What glide, wander and the choice between their candidates add to the lines' own noise."""
    between = found.slopes - offsets[:, None, None]
    brought = found.reach * np.sqrt(np.sum(share[1:], axis=1))[:, None, None]
    brought = brought.reshape(-1, offsets.size)
    covariance = brought.T @ brought
    for leaning, size in ((found.tilts, found.variances * share), (between, share)):
        root = (leaning * np.sqrt(size)).reshape(offsets.size, -1)
        covariance += root @ root.T
    return np.asarray(covariance)


def _weights(amplitude: Real, noise: Real, colour: float | Real) -> Real:
    """Inverse variances of the phases, (partials, samples)."""
    power = amplitude**2 / noise[:, None]
    return np.asarray(power / colour * power**2 / (power**2 + _LEAST_POWER**2))


def fading(envelopes: Envelopes) -> Real:
    """The say of each sample, (samples,): a hair more of the end does not move the figure."""
    return np.asarray(np.clip((envelopes.end_s - envelopes.times_s) / _FADE_S, 0, 1))


def _steady_phase(z: Complex, t: Real) -> Real:
    """The phase of the best constant frequency of each envelope: lag one, weighed by power."""
    late = z[:, t > 0.2] if np.sum(t > 0.2) > 10 else z
    step = np.angle(np.sum(late[:, 1:] * late[:, :-1].conj(), axis=1))
    return np.asarray(step[:, None] * np.arange(t.size))


def _probabilities(log_odds: Real) -> Real:
    odds = np.exp(log_odds - np.max(log_odds))
    return np.asarray(odds / np.sum(odds))
