"""How the partials' phases run in a clipped note, from the samples between its flat tops.

Equation (1) of ``phases`` is fitted to what the frames of ``true_samples`` say, by Gauss and
Newton: each frame tells, with an information matrix over the partials, how far their phases are
from what is believed, and the fit to all frames renews the belief. A phase is known but for whole
turns, and a frame with gaps sees only small turns aright. So the fit begins with the note's end,
where least is clipped and the clipped bands are a fair guess, and goes backwards in steps: what
has been fitted foretells the phases in the frames before.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from analyzer.pitch.coupled import coupled_terms, with_waves
from analyzer.pitch.envelopes import PIECE_S, Envelopes
from analyzer.pitch.glide import candidate_shapes, closer_time_constants, first_time_constants
from analyzer.pitch.partials import Peaks
from analyzer.pitch.phases import PhaseFit, averaged
from analyzer.pitch.spectrum import Complex, Real
from analyzer.pitch.stiff_string import StringFit, fit_string
from analyzer.pitch.true_samples import Frames, Normal, Seen, in_frames, normal_equations, what_is_seen, _waves
from analyzer.pitch.waves import Waves, by_the_law, first_waves, others_of, renewed
from analyzer.pitch.wander import wander_over

_TAIL_SHARE = 0.25  # of the note: where the fit begins
_TAIL_FRAMES = 9
_FREE = 0.95  # share of true samples that is as good as all
_GROWTH = 1.5  # of the part that is fitted, from step to step
_TURNED = 0.01  # radians at a frame's ends, from which its waves are drawn anew
_SETTLED = 0.1  # radians, root mean square over the frames, of the partial that moves most
_NEAR = 0.5  # with more, the step is not taken
_FAR = 0.3  # with more, the next round is held back
_HOLD = 25.0  # radians^-2 for each phase of a frame: about 0.2 radians
_ROUNDS = 15  # at a step
_SURE_ROUNDS = 4  # after which a partial that wavers is followed no more
_LEAST_INFORMATION = 300.0  # radians^-2 over all frames; a fainter partial is not followed
_UNSTEADY = 0.5  # radians squared
_GAIN_SD = 0.3
_KNOWN = 0.1  # radians squared; a phase known so well shows how it wavers


@dataclass(frozen=True)
class Followed:
    """``peaks`` that could be followed, and their ``phases``, against ``peaks.rough_hz``."""

    peaks: Peaks
    phases: PhaseFit

    def string(self) -> StringFit:
        """The string law through all of them."""
        at_hz = self.peaks.rough_hz * (1 + self.phases.offsets)
        return fit_string(
            self.peaks.numbers, at_hz, self.phases.covariance, self.peaks.standing
        )


@dataclass
class _Fitting:
    """The belief, and what it takes to renew it.

    ``wavering`` (followed,) is the variance of a partial's phase by itself, radians squared;
    ``normal`` keeps the frames' equations while the waves stay as they are.
    """

    frames: Frames
    peaks: Peaks
    waves: Waves
    wavering: Real
    log_tau: Real = field(default_factory=first_time_constants)
    normal: dict[int, Normal | None] = field(default_factory=dict)
    moved: float = np.inf
    fit: PhaseFit | None = None


def mended(samples: Real, rate_hz: float, onset_s: float, peaks: Peaks, clipped: Envelopes) -> Real:
    fitting = _begin(samples, rate_hz, onset_s, peaks, clipped)
    for start in _starts(fitting.frames.true_share):
        if not _fit_from(fitting, start):
            break
    return _filled(fitting, samples, rate_hz, onset_s)


def _filled(fitting: _Fitting, samples: Real, rate_hz: float, onset_s: float) -> Real:
    frames, waves = fitting.frames, fitting.waves
    expected, slopes = waves.expected(), np.gradient(waves.course, waves.times_s)
    out = samples.copy()
    low, high = 0.98 * np.min(samples), 0.98 * np.max(samples)
    size = round(frames.from_middle_s.size * frames.block_s * rate_hz)
    sd = np.clip(np.sqrt(fitting.wavering), FILL, 1.0)
    for number in range(waves.times_s.size):
        first = round((waves.times_s[number] + onset_s) * rate_hz - (size - 1) / 2)
        part = samples[first : first + size]
        off = (part >= high) | (part <= low)
        if not np.any(off):
            continue
        course = float(waves.course[number])
        normal = fitting.normal.get(number)
        if normal is None or _stale(normal, waves.omega * (1 + course), frames):
            normal = normal_equations(frames, number, waves.omega, -waves.slope, course, float(slopes[number]))
        z = expected[:, number]
        z[waves.followed:] = 0
        if normal is not None:
            z = what_is_seen(normal, expected[:, number] + 0, waves.followed, sd).amplitudes if True else z
        s = (np.arange(size) - (size - 1) / 2) / rate_hz
        drawn = (_waves(s, waves.omega, -waves.slope, course, float(slopes[number]))[off] @ z).real
        p = part[off]
        out[first : first + size][off] = np.where(p > 0, np.maximum(drawn, p), np.minimum(drawn, p))
    return out

FILL = 0.05

def _starts(true_share: Real) -> list[int]:
    """The first frame of each step."""
    count = true_share.size
    gaps = np.flatnonzero(true_share < _FREE)
    free = count - (int(gaps[-1]) + 1 if gaps.size else 0)
    length = max(_TAIL_SHARE * count, _TAIL_FRAMES, free)
    starts = []
    while length < count:
        starts.append(count - round(length))
        length *= _GROWTH
    return [*starts, 0]


def _begin(
    samples: Real, rate_hz: float, onset_s: float, peaks: Peaks, clipped: Envelopes
) -> _Fitting:
    others = others_of(peaks, rate_hz)
    highest_hz = max(np.max(peaks.rough_hz), np.max(others[1], initial=0.0))
    spacing_hz = float(peaks.rough_hz[0] / peaks.numbers[0])
    frames = in_frames(samples, rate_hz, onset_s, spacing_hz, float(highest_hz))
    t = frames.times_s
    late = clipped.times_s >= t[_starts(frames.true_share)[0]]
    tail = replace(clipped, values=clipped.values[:, late], times_s=clipped.times_s[late])
    waves = first_waves(peaks, others, tail, onset_s, t)
    return _Fitting(frames, peaks, waves, np.zeros(peaks.numbers.size))


def _fit_from(fitting: _Fitting, start: int) -> bool:
    """Renew the belief by the frames from ``start`` on until it settles; whether it did."""
    for number in range(_ROUNDS):
        numbers, seen = _look(fitting, start)
        if len(seen) < _TAIL_FRAMES / 2:
            return False
        _renew(fitting, numbers, seen)
        lost = _lost(fitting, seen, sure=number >= _SURE_ROUNDS)
        if np.all(lost):
            return False
        if np.any(lost):
            _give_up(fitting, lost)
        elif fitting.moved < _SETTLED:
            return True
    return fitting.moved < _NEAR


def _look(fitting: _Fitting, start: int) -> tuple[NDArray[np.int64], list[Seen]]:
    """What the frames from ``start`` on say, and which of them say anything."""
    frames, waves, normal = fitting.frames, fitting.waves, fitting.normal
    expected, slopes = waves.expected(), np.gradient(waves.course, waves.times_s)
    numbers, seen = [], []
    for number in range(start, waves.times_s.size):
        course = float(waves.course[number])
        if _stale(normal.get(number), waves.omega * (1 + course), frames) or number not in normal:
            normal[number] = normal_equations(
                frames, number, waves.omega, -waves.slope, course, float(slopes[number])
            )
        equations = normal[number]
        if equations is not None:
            numbers.append(number)
            seen.append(what_is_seen(equations, expected[:, number], waves.followed))
    return np.array(numbers, dtype=np.int64), seen


def _stale(normal: Normal | None, omega: Real, frames: Frames) -> bool:
    if normal is None:
        return False
    turned = np.max(np.abs(normal.omega - omega)) * frames.from_middle_s[-1]
    return bool(turned > _TURNED)


def _renew(fitting: _Fitting, numbers: NDArray[np.int64], seen: list[Seen]) -> None:
    """Fit equation (1) of ``phases`` to all that was seen."""
    waves, t = fitting.waves, fitting.waves.times_s
    information = np.stack([each.information for each in seen])
    score = np.stack([each.score for each in seen])
    less, less_score = with_waves(information, score, fitting.wavering)
    if fitting.moved > _FAR:
        less = less + _HOLD * np.eye(waves.followed)
    wander = wander_over(t)
    shapes = candidate_shapes(fitting.log_tau, np.sum(waves.sizes() ** 2, axis=0), t)
    rows = np.concatenate([wander.integrals, shapes.integrals])[:, numbers]
    before = waves.phases[:, numbers]
    terms, lines = coupled_terms(
        less, less_score, before, waves.centres, t[numbers], rows, wander.integrals.shape[0]
    )
    centres_hz = waves.centres / (2 * np.pi)
    nothing = Envelopes(np.zeros((waves.followed, 0), np.complex128), centres_hz, t, None)
    fit = averaged(terms, lines, nothing, shapes, wander)
    left, variance = _left(information, score, fit.phases[:, numbers] - before)
    fitting.wavering = _wavering(left, variance, t[numbers])
    own = _own_course(left, variance, fitting.wavering, t[numbers], t)
    size = np.log(np.abs(np.stack([each.amplitudes[: waves.followed] for each in seen])))
    fitting.waves = renewed(waves, fit, seen, numbers, fitting.frames)
    line = np.log(fitting.waves.sizes()[: waves.followed, numbers]).T
    gain = _own_course(size - line, variance, np.full(waves.followed, _GAIN_SD**2), t[numbers], t)
    fitting.waves = replace(fitting.waves, phases=fit.phases + own, gains=gain)
    turned = fitting.waves.phases[:, numbers] - before
    fitting.moved = float(np.max(np.sqrt(np.mean(turned**2, axis=1))))
    fitting.log_tau = (
        closer_time_constants(fitting.log_tau, fit.probabilities[1:-1])
        if fitting.moved < _SETTLED
        else first_time_constants()
    )
    fitting.fit = fit


def _left(information: Real, score: Real, turned: Real) -> tuple[Real, Real]:
    """Phases seen less those fitted, and their variances, (frames, followed)."""
    least = 1e-2 + 1e-11 * np.trace(information, axis1=1, axis2=2)
    inverse = np.linalg.inv(information + least[:, None, None] * np.eye(score.shape[1]))
    left = (inverse @ score[:, :, None])[:, :, 0] - turned.T
    return left, np.asarray(np.diagonal(inverse, axis1=1, axis2=2))


def _own_course(left: Real, variance: Real, size: Real, seen_s: Real, times_s: Real) -> Real:
    """What of ``left`` (frames, followed) a partial keeps up, over ``times_s``: (followed, all)."""
    between = np.exp(-np.abs(seen_s - seen_s[:, None]) / PIECE_S)
    to_all = np.exp(-np.abs(times_s[:, None] - seen_s) / PIECE_S)
    mixed = size[:, None, None] * between
    mixed = mixed + variance.T[:, :, None] * np.eye(seen_s.size)
    held = np.linalg.solve(mixed, left.T[:, :, None])[:, :, 0]
    return np.asarray(size[:, None] * (held @ to_all.T))


def _wavering(left: Real, variance: Real, t: Real) -> Real:
    """Equation (2) of ``envelopes``: what is left in the phases beside the noise, (followed,)."""
    weight = np.where(variance < _KNOWN, 1 / variance, 0.0)
    size = max(1, min(round(PIECE_S / float(np.median(np.diff(t)))), t.size))
    pieces = t.size // size

    def summed(values: Real) -> Real:
        return values[t.size - pieces * size :].reshape(pieces, size, -1).sum(axis=1)

    pull, known = summed(weight * left), summed(weight)
    wave = np.sum(pull**2 - known, axis=0) / np.maximum(np.sum(known**2, axis=0), 1e-300)
    return np.asarray(size * np.maximum(wave, max(0.0, float(np.median(wave)))))


def _lost(fitting: _Fitting, seen: list[Seen], *, sure: bool) -> NDArray[np.bool_]:
    known = np.sum([np.diag(each.information) for each in seen], axis=0)
    lost = known < _LEAST_INFORMATION
    return np.asarray(lost)


def _give_up(fitting: _Fitting, lost: NDArray[np.bool_]) -> None:
    peaks = fitting.peaks
    fitting.waves = fitting.waves.without(lost)
    fitting.wavering = fitting.wavering[~lost]
    fitting.peaks = Peaks(
        peaks.numbers[~lost], peaks.rough_hz[~lost], peaks.clear_db[~lost], peaks.standing[~lost]
    )
    fitting.normal = {}


def _result(fitting: _Fitting, start: int) -> Followed:
    fit = fitting.fit
    assert fit is not None
    return Followed(
        fitting.peaks,
        replace(
            fit,
            times_s=fit.times_s[start:],
            course_cents=fit.course_cents[start:],
            phases=fit.phases[:, start:],
        ),
    )
