"""How the partials of a clipped note run, from the samples between its flat tops.

Equation (1) of ``phases`` is fitted to what the frames of ``true_samples`` say, by Gauss and
Newton: each frame tells, with an information matrix over the partials, how far their phases are
from what is believed, and the fit to all frames renews the belief. A phase is known but for whole
turns, and a frame with gaps sees only small turns aright. So the fit begins with the note's end,
where least is clipped and the bands are a fair guess, and goes backwards in steps: what has been
fitted foretells the phases in the frames before (``steps_backwards``).

What a partial does by itself, as beating polarisations make it do, is smoothed and kept beside
the common fit, so that it is foretold as well.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from analyzer.pitch.coupled import coupled_terms, with_waves
from analyzer.pitch.envelopes import PIECE_S, Envelopes
from analyzer.pitch.glide import candidate_shapes, closer_time_constants, first_time_constants
from analyzer.pitch.phases import PhaseFit, averaged
from analyzer.pitch.spectrum import Real
from analyzer.pitch.true_samples import Frames, Normal, Seen, normal_equations, what_is_seen
from analyzer.pitch.wander import wander_over
from analyzer.pitch.waves import Waves, by_the_law, renewed

_GROWTH = 1.5  # of the part that is fitted, from step to step
_TURNED = 0.02  # radians at a frame's ends, from which its waves are drawn anew
_SETTLED = 0.1  # radians, root mean square over the frames, of the partial that moves most
_NEAR = 0.5  # with more after all rounds, the step is not taken
_FAR = 0.3  # with more, the next round is held back
_HOLD = 25.0  # radians^-2 for each phase of a frame: about 0.2 radians
_ROUNDS = 12  # at a step
_LEAST_INFORMATION = 300.0  # radians^-2 over all frames; a fainter partial is not followed
_PATIENT_ROUNDS = 4  # before one that follows a line not its own is given up:
_UNSTEADY = 0.25  # radians squared that it wavers by,
_MORE_UNSTEADY = 9.0  # and more than the others, by variance
_FEWEST_SEEN = 5  # frames
_GAIN_SD = 0.3  # of an amplitude's logarithm, about a straight decay
_KNOWN = 0.1  # radians squared; a phase known so well shows how it wavers
_UNKNOWN = 1e-2  # radians^-2, the least that is known of a phase,
_ROUNDING = 1e-11  # and the share of all that is, below which nothing can be told


@dataclass
class Fitting:
    """The belief, and what it takes to renew it.

    ``standing`` (followed,) is as in ``Peaks``. ``wavering`` (followed,) is the variance of a
    partial's phase by itself, radians squared; ``normal`` keeps the frames' equations while the
    waves stay as they are. ``moved`` is what the last round changed, radians.
    """

    frames: Frames
    waves: Waves
    standing: Real
    wavering: Real
    log_tau: Real = field(default_factory=first_time_constants)
    normal: dict[int, Normal | None] = field(default_factory=dict)
    moved: float = np.inf

    def equations(self, number: int) -> Normal | None:
        """Those of one frame under the present belief; None with too few true samples."""
        waves, kept = self.waves, self.normal.get(number)
        course = float(waves.course[number])
        omega = waves.omega * (1 + course)
        half_s = self.frames.from_middle_s[-1]
        stale = kept is not None and np.max(np.abs(kept.omega - omega)) * half_s > _TURNED
        if stale or number not in self.normal:
            slope = float(np.gradient(waves.course, waves.times_s)[number])
            self.normal[number] = normal_equations(
                self.frames, number, waves.omega, -waves.slope, course, slope
            )
        return self.normal[number]


def steps_backwards(fitting: Fitting, first: int) -> Iterator[int]:
    """Fit the frames from ``first`` on, then earlier and earlier ones.

    Yields the first frame of each step that settled, and ends where one does not.
    """
    count = fitting.frames.times_s.size
    start = first
    while _fit_from(fitting, start):
        yield start
        if start == 0:
            return
        start = max(0, count - round(_GROWTH * (count - start)))


def _fit_from(fitting: Fitting, start: int) -> bool:
    """Renew the belief by the frames from ``start`` on until it settles; whether it did."""
    for number in range(_ROUNDS):
        numbers, seen = _look(fitting, start)
        if len(seen) < _FEWEST_SEEN:
            return False
        fit = _renew(fitting, numbers, seen)
        lost = _lost(fitting, seen, patient=number < _PATIENT_ROUNDS)
        if np.all(lost):
            return False
        if np.any(lost):
            _give_up(fitting, lost)
            fitting.waves = by_the_law(
                fitting.waves,
                fit.offsets[~lost],
                fit.covariance[np.ix_(~lost, ~lost)],
                fitting.standing,
            )
        elif fitting.moved < _SETTLED:
            fitting.waves = by_the_law(fitting.waves, fit.offsets, fit.covariance, fitting.standing)
            return True
    return fitting.moved < _NEAR


def _look(fitting: Fitting, start: int) -> tuple[NDArray[np.int64], list[Seen]]:
    """Which frames from ``start`` on say anything, and what."""
    expected = fitting.waves.expected()
    numbers, seen = [], []
    for number in range(start, fitting.frames.times_s.size):
        equations = fitting.equations(number)
        if equations is not None:
            numbers.append(number)
            seen.append(what_is_seen(equations, expected[:, number], fitting.waves.followed))
    return np.array(numbers, dtype=np.int64), seen


def _renew(fitting: Fitting, numbers: NDArray[np.int64], seen: list[Seen]) -> PhaseFit:
    """Fit to what was ``seen`` in frames ``numbers``, and believe it."""
    information = np.stack([each.information for each in seen])
    score = np.stack([each.score for each in seen])
    before, t = fitting.waves.phases[:, numbers], fitting.waves.times_s
    fit = _fit(fitting, numbers, information, score)
    left, variance = _left(information, score, fit.phases[:, numbers] - before)
    fitting.wavering = _wavering(left, variance, t[numbers])
    own = _own_course(left, variance, fitting.wavering, t[numbers], t)
    waves = renewed(fitting.waves, fit, seen, numbers, fitting.frames)
    gain = np.log(waves.heard_over_sizes(seen, numbers))
    gains = _own_course(gain, variance, np.full(waves.followed, _GAIN_SD**2), t[numbers], t)
    fitting.waves = replace(waves, phases=fit.phases + own, gains=gains)
    turned = fitting.waves.phases[:, numbers] - before
    fitting.moved = float(np.max(np.sqrt(np.mean(turned**2, axis=1))))
    settled = fitting.moved < _SETTLED
    likely = fit.probabilities[1:-1]
    fitting.log_tau = (
        closer_time_constants(fitting.log_tau, likely) if settled else first_time_constants()
    )
    return fit


def _fit(fitting: Fitting, numbers: NDArray[np.int64], information: Real, score: Real) -> PhaseFit:
    """Equation (1) of ``phases``, over all frames."""
    waves, t = fitting.waves, fitting.waves.times_s
    information, score = with_waves(information, score, fitting.wavering)
    if fitting.moved > _FAR:
        information = information + _HOLD * np.eye(waves.followed)
    wander = wander_over(t)
    shapes = candidate_shapes(fitting.log_tau, np.sum(waves.sizes() ** 2, axis=0)[None], t)
    rows = np.concatenate([wander.integrals, shapes.integrals])[:, numbers]
    expected, hats = waves.phases[:, numbers], wander.integrals.shape[0]
    terms, lines = coupled_terms(
        information, score, expected, waves.centres, t[numbers], rows, hats
    )
    centres_hz = waves.centres / (2 * np.pi)
    nothing = Envelopes(np.zeros((waves.followed, 0), np.complex128), centres_hz, t, None)
    return averaged(terms, lines, nothing, shapes, wander)


def _left(information: Real, score: Real, turned: Real) -> tuple[Real, Real]:
    """Phases seen less those fitted, and their variances, (frames, followed)."""
    least = _UNKNOWN + _ROUNDING * np.trace(information, axis1=1, axis2=2)
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
        kept = values[t.size - pieces * size :].reshape(pieces, size, -1)
        return np.asarray(np.sum(kept, axis=1))

    pull, known = summed(weight * left), summed(weight)
    wave = np.sum(pull**2 - known, axis=0) / np.maximum(np.sum(known**2, axis=0), 1e-300)
    return np.asarray(size * np.maximum(wave, max(0.0, float(np.median(wave)))))


def _lost(fitting: Fitting, seen: list[Seen], *, patient: bool) -> NDArray[np.bool_]:
    """Partials that are too faint, or that keep the others from settling: (followed,)."""
    known = np.sum([np.diag(each.information) for each in seen], axis=0)
    lost = np.asarray(known < _LEAST_INFORMATION)
    if patient or fitting.moved < _SETTLED:
        return lost
    alone = _MORE_UNSTEADY * float(np.median(fitting.wavering))
    return np.asarray(lost | (fitting.wavering > max(_UNSTEADY, alone)))


def _give_up(fitting: Fitting, lost: NDArray[np.bool_]) -> None:
    """Follow the ``lost`` (followed,) no more."""
    fitting.waves = fitting.waves.without(lost)
    fitting.wavering = fitting.wavering[~lost]
    fitting.standing = fitting.standing[~lost]
    fitting.normal = {}
