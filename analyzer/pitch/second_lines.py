"""Second lines beside the partials, where two polarisations of the string beat slowly.

A string that swings in two planes sounds as two strings a fraction of a cent apart (``beats``).
Where that beats more slowly than the note is long, a partial's phase runs as if its pitch did.
But the detuning and the second line's further decay are the same for all partials,

    u_k(t) = a_k e^(-d_k t) [1 + r_k h_k(t)],    h_k = e^(i w_k b t - c t)                  (1)

with w_k the angular frequency and r_k complex, so that amplitudes and phases of all partials tell
b and c together. Each partial by itself has a line in the logarithm of u_k, and r_k; the logarithm
bends only with r_k, b and c, which Gauss-Newton steps find. Then what all partials share is fitted
with r_k, b and c free, so that the interval holds what they are not known to.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from analyzer.music import CENTS_PER_NEPER
from analyzer.pitch.envelopes import PIECE_S, Envelopes, decaying_powers, slow_waves
from analyzer.pitch.glide import candidate_shapes, closer_time_constants, first_time_constants
from analyzer.pitch.phases import PhaseFit, Rest, averaged, fading
from analyzer.pitch.shared import SharedTerms
from analyzer.pitch.spectrum import Complex, Real
from analyzer.pitch.wander import Wander, wander_over

# Of the square of what the fit leaves against noise: 1.5 to 2 without a second line, 250 and more
# with one of 0.4 at 55 dB. Of real notes few reach it.
_SUSPECT = 40.0
_LIKELY = 0.6  # of that, which a second line explains before its amplitude is fitted
_EXPLAINED = 0.97  # and after: made notes reach 0.999, real ones 0.91
_HEARD_POWER = 10.0  # over the noise in either part
_SECOND_SD = 0.3  # of either part of r_k: the second line is the weaker
_LARGEST_SECOND = 0.7
_DETUNINGS = np.geomspace(0.15, 8.0, 28) / CENTS_PER_NEPER  # to either side, to start from
_MOST_TURN = 2.0  # radians from block to block
_MOMENTS = 40  # of the note, at which the start is looked for
_DAMPING, _DAMPING_SD = 0.2, 0.3  # c, 1/s
_DETUNING_SD = 0.3 / CENTS_PER_NEPER  # about where the last step found it
_SLOPE_SD = 2.0  # relative, as in ``shared``
_ROUNDS, _STEPS = 6, 3
_NOTHING = 1e-9
_CLEANEST_POWER = 1e-8  # as in ``envelopes``


@dataclass(frozen=True)
class _Second:
    """b, relative; c, 1/s; r (partials, 1) of equation (1)."""

    detuning: float
    damping: float
    ratios: Complex

    def lines(self, omega: Real, t: Real) -> Complex:
        return np.asarray(np.exp((1j * omega * self.detuning - self.damping) * t))


@dataclass(frozen=True)
class _Left:
    """What is left of partials, ``clean`` of second lines, and weights; (partials, samples).

    ``logs`` are its logarithms; ``own`` their slopes in r_k, ``shared`` (2, partials, samples)
    those in b and c. ``noise`` (partials,) is the variance in either part.
    """

    logs: Complex
    own: Complex
    shared: Complex
    clean: Complex
    noise: Real
    weights: Real


def with_second_lines(
    envelopes: Envelopes, fit: PhaseFit, rest: Rest, standing: Real
) -> tuple[PhaseFit, Rest]:
    """The fit with second lines, and what it leaves, both lines in it; as it was without them.

    ``fit`` and ``rest`` are of ``fit_phases``, for ``envelopes`` and ``standing`` (partials,).
    """
    blocks = replace(envelopes, values=rest.values, times_s=rest.times_s, half_hz=None)
    say = standing[:, None] * fading(blocks)
    if not _suspect(blocks, say):
        return fit, rest
    second = _Second(0.0, _DAMPING, np.zeros((standing.size, 1), complex))
    alone = _left(rest.values, blocks, second, say)
    start = _start(alone, blocks)
    if start is None:
        return fit, rest
    second = replace(second, detuning=start)
    log_tau, again = first_time_constants(), fit
    for _ in range(_ROUNDS):
        turned = rest.values * np.exp(-1j * (again.phases - fit.phases))
        for _ in range(_STEPS):
            second = _step(_left(turned, blocks, second, say), blocks, second)
        left = _left(turned, blocks, second, say)
        again = _shared_fit(left, blocks, second, again.phases, log_tau, standing)
        log_tau = closer_time_constants(log_tau, again.probabilities[1 : 1 + log_tau.size])
    without = replace(left, logs=alone.logs)
    if np.sum(_square(left)) > (1 - _EXPLAINED) * np.sum(_square(without)):
        return fit, rest
    turned = rest.values * np.exp(-1j * (again.phases - fit.phases))
    return again, replace(rest, values=turned)


def _suspect(blocks: Envelopes, say: Real) -> bool:
    """Whether most phases bend by far more than their noise."""
    weights = _weights(blocks.values, _noise(blocks.values), say)
    bent = _level(np.angle(blocks.values), weights, blocks.times_s)
    counts = np.sum(weights > _NOTHING, axis=1)
    excess = np.sum(weights * bent**2, axis=1) / np.maximum(counts * np.max(say, axis=1), _NOTHING)
    return bool(np.median(excess) > _SUSPECT)


def _weights(values: Complex, noise: Real, say: Real) -> Real:
    """Inverse variances of logarithms, while a partial is heard; (partials, samples)."""
    power = np.abs(values) ** 2 / noise[:, None]
    heard = np.logical_and.accumulate(power > _HEARD_POWER, axis=1)
    return np.asarray(say * power * heard + _NOTHING)


def _left(turned: Complex, blocks: Envelopes, second: _Second, say: Real) -> _Left:
    """``turned`` (partials, samples) without the second lines."""
    t, omega = blocks.times_s, blocks.omega
    lines = second.lines(omega, t)
    whole = 1 + second.ratios * lines
    clean = turned / whole
    noise = _noise(clean)
    own = lines / whole
    along = second.ratios * own * t
    return _Left(
        np.log(np.abs(clean) + 1e-300) + 1j * np.angle(clean),
        own,
        np.stack([1j * omega * along, -along]),
        clean,
        noise,
        _weights(clean, noise, say),
    )


def _noise(values: Complex) -> Real:
    """Variance of the noise in either part, from third differences: beats leave them empty.

    Of independent samples they hold 20 times the variance.
    """
    third = np.diff(values, n=3, axis=1)
    least = _CLEANEST_POWER * np.max(np.abs(values), axis=1) ** 2
    return np.asarray(np.maximum(np.mean(np.abs(third) ** 2, axis=1) / 40, least + 1e-30))


def _level(values: Any, weights: Real, t: Real) -> Any:
    """``values`` (..., partials, samples) less a line each."""
    total = np.sum(weights, axis=1, keepdims=True)
    centred = t - np.sum(weights * t, axis=1, keepdims=True) / total
    leaning = weights * centred
    spread = np.sum(leaning * centred, axis=1, keepdims=True)
    values = values - np.sum(weights * values, axis=-1, keepdims=True) / total
    slope = np.sum(leaning * values, axis=-1, keepdims=True) / spread
    return values - slope * centred


def _square(left: _Left) -> Real:
    """Of what is left beside lines, over noise; (partials,)."""
    t = np.arange(left.logs.shape[1], dtype=np.float64)
    level = _level(left.logs, left.weights, t)
    return np.asarray(np.sum(left.weights * np.abs(level) ** 2, axis=1))


def _start(alone: _Left, blocks: Envelopes) -> float | None:
    """The detuning whose second lines, to first order, explain most; None where that is little."""
    every = max(1, blocks.times_s.size // _MOMENTS)
    t, weights = blocks.times_s[::every], alone.weights[:, ::every]
    detunings = np.concatenate([_DETUNINGS, -_DETUNINGS])
    turns = 1j * blocks.omega * detunings[:, None, None]
    lines = _level(np.exp((turns - _DAMPING) * t), weights, t)
    level = _level(alone.logs[:, ::every], weights, t)
    along = np.abs(np.sum(weights * lines.conj() * level, axis=2)) ** 2
    gain = along / (np.sum(weights * np.abs(lines) ** 2, axis=2) + _SECOND_SD**-2)
    gain = gain * (np.abs(turns[:, :, 0]) * blocks.step_s < _MOST_TURN)
    share = np.sum(gain, axis=1) / np.sum(weights * np.abs(level) ** 2)
    best = int(np.argmax(share))
    return float(detunings[best]) if share[best] > _LIKELY else None


def _step(left: _Left, blocks: Envelopes, second: _Second) -> _Second:
    """A step of Gauss and Newton: r_k are taken out of b and c, and follow them."""
    weights, t = left.weights, blocks.times_s
    own = _level(left.own, weights, t)
    columns = _level(np.concatenate([left.shared, left.logs[None]]), weights, t)
    products = np.sum(weights * own.conj() * columns, axis=2, keepdims=True)
    products[2] -= second.ratios / _SECOND_SD**2
    taken = products / (np.sum(weights * np.abs(own) ** 2, axis=1, keepdims=True) + _SECOND_SD**-2)
    leaning = (weights * columns[:2].conj()).reshape(2, -1)
    squares = (leaning @ (columns - taken * own).reshape(3, -1).T).real
    prior = np.array([_DETUNING_SD, _DAMPING_SD]) ** -2
    pull = squares[:, 2] + prior * [0.0, _DAMPING - second.damping]
    change = np.linalg.solve(squares[:, :2] + np.diag(prior), pull)
    most = np.array([0.3 * abs(second.detuning), _DAMPING_SD])
    change = np.clip(change, -most, most)
    ratios = second.ratios + taken[2] - taken[0] * change[0] - taken[1] * change[1]
    ratios = ratios / np.maximum(1, np.abs(ratios) / _LARGEST_SECOND)
    return _Second(second.detuning + change[0], second.damping + change[1], ratios)


def _shared_fit(
    left: _Left, blocks: Envelopes, second: _Second, phases: Real, log_tau: Real, standing: Real
) -> PhaseFit:
    """Glide and wander, averaged over their candidates as in ``phases``."""
    t = blocks.times_s
    blocks = replace(blocks, values=left.clean)
    shapes = candidate_shapes(log_tau, decaying_powers(blocks, left.noise), t)
    line = left.logs.imag - _level(left.logs.imag, left.weights, t)
    slow = max(1, round(PIECE_S / blocks.step_s))
    colour, wave = slow_waves(left.clean * np.exp(-1j * line), left.noise, slow, standing)
    power = np.abs(left.clean) ** 2 / left.noise[:, None]
    left = replace(left, weights=left.weights / (colour + wave * power))
    wander = wander_over(t)
    rows = np.concatenate([wander.integrals, shapes.integrals])
    terms, lines = _terms(_triangles(left, blocks, second, phases, rows), wander)
    return averaged(terms, lines, blocks, shapes, wander)


def _triangles(left: _Left, blocks: Envelopes, second: _Second, phases: Real, rows: Real) -> Real:
    """Roots of each partial's equations, amplitudes' and phases' together; (partials, n, n).

    Columns: the amplitude's line, both parts of r_k, the phase's line, b, c, ``rows`` (rows,
    samples), values.
    """
    omega, t = blocks.omega, blocks.times_s
    one, none = np.ones_like(left.weights), np.zeros_like(left.weights)
    own, (detuning, damping) = left.own, left.shared
    empty = np.zeros((*none.shape, len(rows)))
    level = [one, one * t, own.real, -own.imag, none, none, detuning.real, damping.real]
    turn = [none, none, own.imag, own.real, omega * one, omega * t, detuning.imag, damping.imag]
    amplitudes = [np.stack(level, axis=2), empty, left.logs.real[:, :, None]]
    shared = omega[:, :, None] * rows.T
    angles = [np.stack(turn, axis=2), shared, (phases + left.logs.imag)[:, :, None]]
    both = np.concatenate([np.concatenate(each, axis=2) for each in (amplitudes, angles)], axis=1)
    both = both * np.sqrt(np.concatenate([left.weights, left.weights], axis=1))[:, :, None]
    held = np.zeros((len(both), 3, both.shape[2]))
    held[:, [0, 1, 2], [2, 3, 5]] = 1 / _SECOND_SD, 1 / _SECOND_SD, 1 / _SLOPE_SD
    ratios = second.ratios[:, 0]
    held[:, :2, -1] = -np.stack([ratios.real, ratios.imag], axis=1) / _SECOND_SD
    return np.asarray(np.linalg.qr(np.concatenate([both, held], axis=1), mode="r"))


def _terms(triangles: Real, wander: Wander) -> tuple[SharedTerms, Real]:
    """The shared problem, b and c taken out too; the covariance (partials, partials) of slopes."""
    lines = np.linalg.solve(triangles[:, 4:6, 4:6], triangles[:, 4:6, 6:])
    rest = triangles[:, 6:, 6:].reshape(-1, triangles.shape[2] - 6)
    prior = np.zeros((2, rest.shape[1]))
    prior[[0, 1], [0, 1]] = 1 / _DETUNING_SD, 1 / _DAMPING_SD
    root = np.asarray(np.linalg.qr(np.concatenate([rest, prior]), mode="r"))
    inverse = np.linalg.inv(root[:2, :2])
    leaning = lines[:, 1, :2] @ inverse
    constants, slopes = np.moveaxis(
        lines[:, :, 2:] - lines[:, :, :2] @ (inverse @ root[:2, 2:]), 1, 0
    )
    variance = triangles[:, 5, 5] ** -2.0
    terms = SharedTerms(
        root[2:, 2:],
        len(wander.integrals),
        constants[:, -1],
        slopes[:, -1],
        np.zeros(len(triangles)),
        constants[:, :-1],
        slopes[:, :-1],
        1 / variance,
    )
    return terms, np.diag(variance) + leaning @ leaning.T
