"""What the samples between the flat tops of a clipped note say of its partials.

Clipping mixes a wave's partials: sums and differences of stretched partials fall beside other
partials and pull their phases. But the samples between the tops are true, and in a short frame
the note is a sum of sinusoids whose frequencies and decays are nearly known,

    x(s) = Re sum_k z_k exp[i w_k (s + r s + r' s^2 / 2) - d_k s]                           (1)

with s from the frame's middle and r the pitch's course, which all share. The tops leave gaps that
no frame can fill by itself: some sums of partials swing within them and are hardly seen. So a
frame is not asked for its amplitudes, but for its information on how far each phase is from where
it is expected: a matrix, which knows what is known and what is not (the normal equations of (1),
linear in small turns, with the amplitudes' own errors and the unfollowed partials taken out).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analyzer.pitch.spectrum import Complex, Real

_TRUE = 0.98  # of the largest sample on either side: what lies within is not clipped
_FRAME_S = 0.04
_PERIODS_A_FRAME = 3.0
_FIRST_S = 0.015  # after the onset, past the loudest of the pick's own noise
_SAMPLES_A_PERIOD = 3.0  # of the highest partial; what is sampled faster is averaged first
_FEWEST_AN_UNKNOWN = 1.3
_STEPS = 32  # samples over which a frame's waves are drawn from one sinusoid
_AMPLITUDE_SD = 0.3  # relative; how far an amplitude may be from the expected one in a frame
_TURN_SD = 1.0  # radians, where a frame's amplitudes are wanted and not its information
_FREE_SD = 1.5  # of an unfollowed partial's expected amplitude, in either part
_FAINTEST = 1e-30
_CLEANEST_POWER = 1e-10  # of the frame's; no residual is smaller


@dataclass(frozen=True)
class Frames:
    """The note in frames that do not overlap.

    ``samples`` and ``true`` (frames, size): averages over ``block_s``, and whether all samples in
    them are true; ``times_s`` (frames,) are the middles, from the onset; ``from_middle_s`` (size,).
    """

    samples: Real
    true: NDArray[np.bool_]
    times_s: Real
    from_middle_s: Real
    block_s: float

    @property
    def true_share(self) -> Real:
        return np.asarray(np.mean(self.true, axis=1))


@dataclass(frozen=True)
class Normal:
    """Least squares of one frame's true samples on the waves of (1), for z_k = 1.

    ``matrix`` (2 waves, 2 waves) and ``values`` (2 waves,): real parts first, then imaginary ones;
    ``energy`` and ``count`` of the samples. ``omega`` (waves,) is what it was made for.
    """

    matrix: Real
    values: Real
    energy: float
    count: int
    omega: Real


@dataclass(frozen=True)
class Seen:
    """What one frame says of the waves; the first ``followed`` have an expected phase.

    ``information`` (followed, followed) and ``score`` (followed,) are of the phases less the
    expected ones; ``amplitudes`` (waves,) complex; ``noise`` is the samples' variance.
    """

    information: Real
    score: Real
    amplitudes: Complex
    noise: float


def are_true(samples: Real) -> NDArray[np.bool_]:
    """Which of samples (n,) lie clearly within the flat tops on either side."""
    return np.asarray((samples < _TRUE * np.max(samples)) & (samples > _TRUE * np.min(samples)))


def in_frames(
    samples: Real, rate_hz: float, onset_s: float, spacing_hz: float, highest_hz: float
) -> Frames:
    """Cut samples (n,) into frames of three periods of ``spacing_hz`` or more."""
    true = are_true(samples)
    block = max(1, int(rate_hz / (_SAMPLES_A_PERIOD * highest_hz)))
    size = round(max(_FRAME_S, _PERIODS_A_FRAME / spacing_hz) * rate_hz / block)
    first = max(0, round((onset_s + _FIRST_S) * rate_hz))
    count = (samples.size - first) // (size * block)
    last = first + count * size * block
    framed = samples[first:last].reshape(count, size, block)
    times_s = (first + np.arange(count) * size * block + (size * block - 1) / 2) / rate_hz - onset_s
    return Frames(
        np.asarray(np.mean(framed, axis=2)),
        np.asarray(np.all(true[first:last].reshape(count, size, block), axis=2)),
        np.asarray(times_s),
        np.asarray((np.arange(size) - (size - 1) / 2) * block / rate_hz),
        block / rate_hz,
    )


def normal_equations(
    frames: Frames, number: int, omega: Real, falls: Real, course: float, slope: float
) -> Normal | None:
    """Those of one frame, for ``omega`` and decays ``falls`` (waves,); None with too few samples.

    ``course`` is the relative sharpness in the frame's middle, and ``slope`` how it runs, 1/s.
    """
    true = frames.true[number]
    count = int(np.sum(true))
    if count < _FEWEST_AN_UNKNOWN * 2 * omega.size:
        return None
    waves = _waves(frames.from_middle_s, omega, falls, course, slope)[true]
    waves *= np.sinc(0.5 / np.pi * omega * frames.block_s)
    columns = np.concatenate([waves.real, -waves.imag], axis=1)
    samples = frames.samples[number][true]
    return Normal(
        columns.T @ columns,
        columns.T @ samples,
        float(samples @ samples),
        count,
        omega * (1 + course),
    )


def _waves(s: Real, omega: Real, falls: Real, course: float, slope: float) -> Complex:
    """The exponentials of (1), (samples, waves), each run of samples from the one in its middle."""
    runs = -(-s.size // _STEPS)
    step_s = float(s[1] - s[0])
    middle_s = s[0] + step_s * (_STEPS * np.arange(runs) + (_STEPS - 1) / 2)
    warped = middle_s * (1 + course) + 0.5 * slope * middle_s**2
    coarse = np.exp(1j * np.outer(warped, omega) - np.outer(middle_s, falls))
    fine_s = step_s * (np.arange(_STEPS) - (_STEPS - 1) / 2)
    fine = np.exp(np.outer(fine_s, 1j * omega * (1 + course) - falls))
    return np.asarray((coarse[:, None, :] * fine).reshape(-1, omega.size)[: s.size])


def sum_of_waves(
    s: Real, omega: Real, falls: Real, course: float, slope: float, amplitudes: Complex
) -> Real:
    """Equation (1) over ``s``, the ``amplitudes`` (waves,) being its z_k."""
    return np.asarray((_waves(s, omega, falls, course, slope) @ amplitudes).real)


def what_is_seen(
    normal: Normal, expected: Complex, followed: int, turn_sd: Real | float = _TURN_SD
) -> Seen:
    """One frame against the amplitudes that are expected, (waves,).

    Of waves beyond the first ``followed`` only the size is expected. The amplitudes seen, though
    not the information, lean on the expected phases, to be trusted within ``turn_sd`` radians.
    """
    turn, free = _turned(expected + _FAINTEST, followed, turn_sd)
    matrix = turn.T @ normal.matrix @ turn
    drawn = np.concatenate([expected[:followed], np.zeros(expected.size - followed)])
    drawn = np.concatenate([drawn.real, drawn.imag])
    values = turn.T @ (normal.values - normal.matrix @ drawn)
    energy = normal.energy - 2 * drawn @ normal.values + drawn @ normal.matrix @ drawn
    found, noise = _least_squares(matrix, values, energy, free, normal)
    kept, rest = slice(0, followed), slice(followed, None)
    own = matrix[rest, rest] + noise * np.diag(free[rest])
    taken = np.linalg.solve(own, np.column_stack([matrix[rest, kept], values[rest]]))
    amplitudes = drawn + turn @ found
    return Seen(
        (matrix[kept, kept] - matrix[kept, rest] @ taken[:, :-1]) / noise,
        (values[kept] - matrix[kept, rest] @ taken[:, -1]) / noise,
        amplitudes[: expected.size] + 1j * amplitudes[expected.size :],
        noise,
    )


def _turned(expected: Complex, followed: int, turn_sd: Real | float) -> tuple[Real, Real]:
    """Unknowns of a frame: turns, relative amplitudes, free parts; and their inverse variances.

    The first is the matrix (2 waves, 2 waves) that brings them to real and imaginary parts.
    """
    waves = expected.size
    own = expected[:followed]
    turn = np.zeros((2 * waves, 2 * waves))
    index, others = np.arange(followed), np.arange(followed, waves)
    turn[index, index], turn[waves + index, index] = -own.imag, own.real
    turn[index, followed + index], turn[waves + index, followed + index] = own.real, own.imag
    free = np.abs(expected[followed:])
    turn[others, followed + others] = free
    turn[waves + others, waves + others] = free
    turns = np.broadcast_to(turn_sd, followed)
    gains = np.minimum(2 * turns, _AMPLITUDE_SD)
    sd = np.concatenate([turns, gains, np.full(2 * free.size, _FREE_SD)])
    return turn, sd**-2.0


def _least_squares(
    matrix: Real, values: Real, energy: float, prior: Real, normal: Normal
) -> tuple[Real, float]:
    """The unknowns with normal priors, and the variance of the samples' noise, found in turns."""
    least = _CLEANEST_POWER * normal.energy / normal.count
    freedom = normal.count - normal.omega.size * 2
    noise = least
    for _ in range(3):
        found = np.linalg.solve(matrix + noise * np.diag(prior), values)
        left = energy - 2 * found @ values + found @ matrix @ found
        noise = max(float(left) / freedom, least)
    return np.asarray(found), float(noise)
