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
from typing import Any

import numpy as np

from analyzer.music import CENTS_PER_NEPER
from analyzer.pitch.glide import (
    NO_GLIDE_PRIOR,
    SIZE_PRIOR,
    Shapes,
    candidate_shapes,
    closer_time_constants,
    first_time_constants,
)
from analyzer.pitch.shared import Solutions, share_terms, solve_all
from analyzer.pitch.spectrum import BAND_COLOUR, Complex, Real, band_response
from analyzer.pitch.wander import STEADY_PRIOR, Wander, wander_over

# What all partials share is found from the lowest first: a slip of the pitch turns the phase of a
# high partial by many times as much, and a phase is known but for whole turns.
_REACHES = (4.0, 10.0, np.inf, np.inf)
_FIRST_TRUST = 0.01  # variance of a phase, radians squared
_HARDLY = 1e-4  # the weight of what is only taken along
_FOLLOWED_POWER = 10.0  # over the noise; below this, unwrapping may slip
_BLOCK_S = 0.03  # samples are averaged over this once the phases are known roughly
_SMOOTHING_S = 0.15
_PIECE_S = 0.3
_WHITE_PIECES = 4.0
_LEAST_POWER = 3.0  # samples with less than this times the noise say little of the phase
_HEARD_POWER = 8.0  # samples with more than this times the noise show a partial's decay
_FEWEST_HEARD = 5
_LEAST_PASSED = 0.3
_CLEANEST_POWER = 1e-8  # no recording is cleaner than 80 dB in the band of a partial


@dataclass(frozen=True)
class Envelopes:
    """Complex envelopes of the partials and what they are taken against.

    ``values`` has shape (partials, samples), ``centres_hz`` (partials,), ``times_s`` (samples,)
    from the onset. ``noise`` (partials,) is the variance of the noise in either part of an
    envelope, to begin with. ``half_hz`` is the half-width of the bands that they were cut by; None
    where they were not, and the noise of each sample is its own.
    """

    values: Complex
    centres_hz: Real
    times_s: Real
    noise: Real
    half_hz: float | None

    @property
    def omega(self) -> Real:
        """Angular frequencies of the centres, (partials, 1)."""
        return 2 * np.pi * self.centres_hz[:, None]


@dataclass(frozen=True)
class PhaseFit:
    """What the phases say.

    ``offsets`` (partials,) are relative to the envelopes' centres, with ``covariance`` (partials,
    partials). ``course_cents`` (samples,) is the pitch above the settled one at ``times_s``,
    ``glide_cents`` the glide's part of it. ``phases`` (partials, samples) is the fitted equation
    (1), radians; ``probabilities`` those of the glide's candidates, 'no glide' first.
    """

    offsets: Real
    covariance: Real
    times_s: Real
    course_cents: Real
    glide_cents: Real
    phases: Real
    probabilities: Real


def fit_phases(envelopes: Envelopes) -> PhaseFit:
    """Fit equation (1) to all partials at once, by iterated weighted least squares."""
    log_tau = first_time_constants()
    fit = _first_fit(envelopes, log_tau)
    rough = envelopes.values * np.exp(-1j * fit.phases) / _passed(fit.phases, envelopes)
    size, step_share = _block_size(envelopes)
    blocks, known = _in_blocks(replace(envelopes, values=rough), fit.phases, size)
    wander = wander_over(blocks.times_s)
    slow = max(1, round(_PIECE_S / float(blocks.times_s[1] - blocks.times_s[0])))
    phases = np.zeros_like(known)
    pitch_share = envelopes.centres_hz / np.min(envelopes.centres_hz)
    for reach in _REACHES:
        turned = blocks.values * np.exp(-1j * phases)
        amplitude = np.maximum(_smoothed(turned.real, blocks.times_s), 0.0)
        noise = _noise(turned, amplitude, step_share)
        measured = known + phases + np.angle(turned)
        log_tau = closer_time_constants(log_tau, fit.probabilities[1:-1])
        shapes = candidate_shapes(
            log_tau, _power(blocks.values, noise, blocks.times_s), blocks.times_s
        )
        colour, wave = _slow_waves(turned.imag, amplitude, noise, slow)
        weights = _weights(amplitude, noise, colour)
        weights = weights / (1 + wave * weights)
        weights = np.where((pitch_share <= reach)[:, None], weights, _HARDLY * weights)
        fit = _fit(measured, weights, blocks, shapes, wander)
        phases = fit.phases - known
    return fit


def _first_fit(envelopes: Envelopes, log_tau: Real) -> PhaseFit:
    """A fit to the unwrapped phases, which may wander freely: it must only be near.

    No phase is trusted beyond ``_FIRST_TRUST``, so that no partial rules the others before it is
    known which are steady.
    """
    z, t = envelopes.values, envelopes.times_s
    steady = _steady_phase(z, t)
    measured = steady + np.unwrap(np.angle(z * np.exp(-1j * steady)), axis=1)
    amplitude = _smoothed(np.abs(z), t)
    clear = amplitude**2 > _FOLLOWED_POWER * envelopes.noise[:, None]
    followed = np.logical_and.accumulate(clear, axis=1)
    weights = _weights(
        amplitude, envelopes.noise, 1.0 if envelopes.half_hz is None else BAND_COLOUR
    )
    weights = weights / (1 + _FIRST_TRUST * weights)
    lost = np.sum(followed, axis=1, keepdims=True) < _FEWEST_HEARD
    weights = np.where(followed, weights, np.where(lost, _HARDLY * weights, 0.0))
    shapes = candidate_shapes(log_tau, _power(z, envelopes.noise, t), t)
    return _fit(measured, weights, envelopes, shapes, wander_over(t).freest)


def _fit(
    measured: Real, weights: Real, envelopes: Envelopes, shapes: Shapes, wander: Wander
) -> PhaseFit:
    """Every candidate of equation (1), and their average."""
    omega, t = envelopes.omega, envelopes.times_s
    terms = share_terms(measured / omega, weights * omega**2, t, wander.integrals, shapes.integrals)
    found = solve_all(terms, SIZE_PRIOR, wander.roots)
    glide_prior = np.concatenate([[NO_GLIDE_PRIOR], shapes.prior])
    wander_prior = np.concatenate([[STEADY_PRIOR], wander.prior])
    share = _probabilities(found.evidence + np.log(glide_prior) + np.log(wander_prior)[:, None])
    offsets = np.einsum("wkg,wg->k", found.slopes, share)
    glide = np.sum(found.sizes * share, axis=0)[1:]
    hats = np.einsum("whg,wg->h", found.hats, share)
    constant = terms.mean - offsets * terms.mean_s - terms.row_mean @ np.concatenate([hats, glide])
    integral = hats @ wander.integrals + glide @ shapes.integrals
    glide_course = glide @ shapes.courses
    return PhaseFit(
        offsets,
        np.diag(1 / terms.spread) + _shared_covariance(found, share, offsets),
        t,
        CENTS_PER_NEPER * (glide_course + hats @ wander.courses),
        CENTS_PER_NEPER * glide_course,
        omega * (constant[:, None] + offsets[:, None] * t + integral),
        np.sum(share, axis=0),
    )


def _shared_covariance(found: Solutions, share: Real, offsets: Real) -> Real:
    """What glide, wander and the choice between their candidates add to the lines' own noise."""
    between = found.slopes - offsets[None, :, None]
    covariance = np.einsum("wkl,wg->kl", found.bases, share)
    for leaning, size in ((found.tilts, found.variances * share), (between, share)):
        flat = (leaning * np.sqrt(size)[:, None, :]).transpose(1, 0, 2).reshape(offsets.size, -1)
        covariance += flat @ flat.T
    return np.asarray(covariance)


def _passed(phases: Real, envelopes: Envelopes) -> Real:
    """What the bands pass of the partials, which a glide takes away from their middles."""
    if envelopes.half_hz is None:
        return np.ones_like(phases)
    step_s = float(envelopes.times_s[1] - envelopes.times_s[0])
    offset_hz = np.gradient(phases, step_s, axis=1) / (2 * np.pi)
    return np.maximum(band_response(offset_hz / envelopes.half_hz), _LEAST_PASSED)


def _in_blocks(envelopes: Envelopes, phases: Real, size: int) -> tuple[Envelopes, Real]:
    """Averages over ``size`` samples, of envelopes already turned by ``phases``, and of those."""
    t = envelopes.times_s
    count = t.size // size

    def mean(values: Any) -> Any:
        whole = values[..., : count * size]
        return np.mean(whole.reshape(*whole.shape[:-1], count, size), axis=-1)

    blocks = replace(
        envelopes,
        values=mean(envelopes.values),
        times_s=mean(t),
    )
    return blocks, mean(phases)


def _weights(amplitude: Real, noise: Real, colour: float | Real) -> Real:
    """Inverse variances of the phases, (partials, samples)."""
    power = amplitude**2 / noise[:, None]
    return np.asarray(power / colour * power**2 / (power**2 + _LEAST_POWER**2))


def _slow_waves(imaginary: Real, amplitude: Real, noise: Real, size: int) -> tuple[Real, Real]:
    """What hum, beating polarisations or ringing neighbours leave in the phases beside noise.

    Over pieces of ``size`` samples, 0.3 s, the sum of amplitude times the rest has the variance

        colour_k noise_k power + wave_k power^2                                             (2)

    with the piece's power, a colour of 1 for independent samples, and a variance of phase that
    goes along with the partial. Returns both, (partials, 1) each, the second for one sample. No
    partial is taken for steadier than half of them are: what all share must not be ruled by the
    one that a fit happens to follow. Few pieces say little of the colour, so they are weighed with
    the expectation that it is 1.
    """
    count = imaginary.shape[1] // size
    score = np.sum((amplitude * imaginary)[:, : count * size].reshape(-1, count, size), axis=2)
    power = np.sum((amplitude**2)[:, : count * size].reshape(-1, count, size), axis=2) + 1e-300
    plain = noise[:, None] * power
    wave = np.sum(score**2 - plain, axis=1) / np.maximum(np.sum(power**2, axis=1), 1e-300)
    wave = np.maximum(wave, max(0.0, float(np.median(wave))))[:, None]
    seen = np.mean(score**2 / (plain + wave * power**2), axis=1)
    pieces = max(count - 2, 0)
    colour = np.maximum(1.0, (_WHITE_PIECES + pieces * seen) / (_WHITE_PIECES + pieces))
    return colour[:, None], size * wave


def _power(values: Complex, noise: Real, t: Real) -> Real:
    """The string's power over time, each partial's decay taken as an exponential; (samples,).

    Beats are smoothed over so: they move the phases in step with the power, and a glide that
    followed them would be mistaken for one.
    """
    power = np.abs(values) ** 2
    heard = (power > _HEARD_POWER * noise[:, None]).astype(np.float64)
    count = np.maximum(np.sum(heard, axis=1), 1.0)
    logs = np.log(np.maximum(power, 1e-300))
    mean_t, mean = np.sum(heard * t, axis=1) / count, np.sum(heard * logs, axis=1) / count
    centred = t - mean_t[:, None]
    slope = np.sum(heard * centred * logs, axis=1)
    slope /= np.maximum(np.sum(heard * centred**2, axis=1), 1e-9)
    decays = np.exp(mean[:, None] + np.minimum(slope, 0.0)[:, None] * centred)
    return np.asarray(np.sum(decays * (count > _FEWEST_HEARD)[:, None], axis=0)) + 1e-300


def _block_size(envelopes: Envelopes) -> tuple[int, float]:
    """Samples to a block, and the share of the noise that steps from block to block show.

    White noise through a raised cosine has the autocorrelation 3/8, 1/4, 1/16, 0: half the mean
    square step of averages over n samples is then (n - 9/8) / n^2 of its density, against 1/n for
    independent blocks.
    """
    if envelopes.half_hz is None:
        return 1, 1.0
    size = max(2, int(_BLOCK_S / float(envelopes.times_s[1] - envelopes.times_s[0])))
    return size, (size - 9 / 8) / size


def _noise(turned: Complex, amplitude: Real, step_share: float) -> Real:
    """Variance of the noise in either part, from steps of the rest; (partials,).

    Steps leave slow waves out, which are taken up by ``_slow_waves``.
    """
    steps = np.diff(turned.imag, axis=1)
    variance = 0.5 * np.mean(steps**2, axis=1) / step_share
    least = _CLEANEST_POWER * np.max(amplitude, axis=1) ** 2
    return np.asarray(np.maximum(variance, np.maximum(least, 1e-30)))


def _steady_phase(z: Complex, t: Real) -> Real:
    """The phase of the best constant frequency of each envelope: lag one, weighed by power."""
    late = z[:, t > 0.2] if np.sum(t > 0.2) > 10 else z
    step = np.angle(np.sum(late[:, 1:] * late[:, :-1].conj(), axis=1))
    return np.asarray(step[:, None] * np.arange(t.size))


def _smoothed(values: Real, t: Real) -> Real:
    """Moving average along the last axis, shorter at the ends."""
    half = max(1, round(0.5 * _SMOOTHING_S / float(t[1] - t[0])))
    total = np.cumsum(np.pad(values, ((0, 0), (1, 0))), axis=1)
    index = np.arange(t.size)
    low, high = np.maximum(index - half, 0), np.minimum(index + half + 1, t.size)
    return np.asarray((total[:, high] - total[:, low]) / (high - low))


def _probabilities(log_odds: Real) -> Real:
    odds = np.exp(log_odds - np.max(log_odds))
    return np.asarray(odds / np.sum(odds))
