"""What is believed of a clipped note's waves while they are fitted: phases, sizes, course.

The waves are the partials that are followed, the others that the string law lets expect, of which
nothing but the size is believed, and one of frequency 0 for a recorder's offset.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analyzer.music import CENTS_PER_NEPER
from analyzer.pitch.envelopes import Envelopes
from analyzer.pitch.partials import Peaks, stretched
from analyzer.pitch.phases import PhaseFit, fit_phases
from analyzer.pitch.spectrum import Complex, Real
from analyzer.pitch.stiff_string import StringFit, fit_string
from analyzer.pitch.true_samples import Frames, Seen

_MOST = 30  # partials of the string that are looked for
_HIGHEST_SHARE_OF_RATE = 0.47
_ROUGH_VARIANCE = 1e-8  # relative, of a line's frequency
_REACH = 1.2e-3  # relative, and in Hz: how far a line may be from where its phase says
_REACH_HZ = 0.3
_TURNS = np.linspace(-1, 1, 121)  # of the reach
_HEARD_POWER = 8.0  # over the noise; frames with more show how a wave decays
_FEWEST_HEARD = 5
_FREE = 0.8  # share of true samples from which a frame shows it, unless half have fewer


@dataclass(frozen=True)
class Waves:
    """``numbers`` and ``omega`` (waves,): of the partials, 0 for the offset, and 1/s, settled.

    The first of them have ``phases`` (followed, frames), against ``centres`` (followed,) times t,
    and ``gains``, the same shape, of the logarithms of their amplitudes over straight decays.
    ``level`` and ``slope`` (waves,) are lines through the logarithms of the amplitudes over t,
    ``course`` (frames,) is the pitch above the settled one, relative, both over ``times_s``.
    """

    numbers: Real
    omega: Real
    centres: Real
    phases: Real
    gains: Real
    level: Real
    slope: Real
    course: Real
    times_s: Real

    @property
    def followed(self) -> int:
        return self.centres.size

    def sizes(self) -> Real:
        """Amplitudes that are expected, (waves, frames)."""
        return np.asarray(np.exp(self.level[:, None] + self.slope[:, None] * self.times_s))

    def expected(self) -> Complex:
        """The same with the phases of those that are followed."""
        values = self.sizes().astype(np.complex128)
        turned = self.phases + self.centres[:, None] * self.times_s - 1j * self.gains
        values[: self.followed] *= np.exp(1j * turned)
        return values

    def heard_over_sizes(self, seen: Sequence[Seen], at: NDArray[np.int64]) -> Real:
        """Amplitudes seen in frames ``at``, over the lines: (frames, followed)."""
        heard = np.abs(np.stack([each.amplitudes[: self.followed] for each in seen]))
        return np.asarray((heard + 1e-300) / self.sizes()[: self.followed, at].T)

    def without(self, lost: NDArray[np.bool_]) -> Waves:
        """``lost`` (followed,) are followed no more, and their sizes alone are expected."""
        rest = np.arange(self.followed, self.omega.size)
        order = np.concatenate([np.flatnonzero(~lost), np.flatnonzero(lost), rest])
        return replace(
            self,
            numbers=self.numbers[order],
            omega=self.omega[order],
            centres=self.centres[~lost],
            phases=self.phases[~lost],
            gains=self.gains[~lost],
            level=self.level[order],
            slope=self.slope[order],
        )


def rough_string(peaks: Peaks) -> StringFit:
    """The string behind lines as the spectrum shows them."""
    variance = _ROUGH_VARIANCE * np.eye(peaks.numbers.size)
    return fit_string(peaks.numbers, peaks.rough_hz, variance, peaks.standing)


def others_of(peaks: Peaks, rate_hz: float) -> tuple[Real, Real]:
    """Numbers and frequencies (Hz) of partials that are not among ``peaks``."""
    string = rough_string(peaks)
    numbers = np.setdiff1d(np.arange(1.0, _MOST + 1), peaks.numbers)
    at_hz = stretched(numbers, string.f1_hz, string.stiffness)
    inside = at_hz < _HIGHEST_SHARE_OF_RATE * rate_hz
    return numbers[inside], at_hz[inside]


def first_waves(
    peaks: Peaks,
    others: tuple[Real, Real],
    tail: Envelopes,
    onset_s: float,
    times_s: Real,
    *,
    free: bool,
) -> Waves:
    """From the bands of ``peaks`` where they are clipped least, or are ``free`` of it.

    ``times_s`` (frames,) is where the waves are wanted.
    """
    numbers, at_hz = others
    level, slope = _decays(tail.times_s, np.log(np.abs(tail.values) + 1e-300))
    centres = 2 * np.pi * peaks.rough_hz
    phases, slopes, course = _first_phases(tail, peaks.standing, times_s, free=free)
    # The envelopes are against their own centres, counted from the excerpt's start.
    phases = phases + tail.omega * (times_s + onset_s) - centres[:, None] * times_s
    return Waves(
        np.concatenate([peaks.numbers, numbers, [0.0]]),
        np.concatenate([tail.omega[:, 0] + slopes, 2 * np.pi * at_hz, [0.0]]),
        centres,
        phases,
        np.zeros_like(phases),
        np.concatenate([level, np.interp(numbers, peaks.numbers, level), [np.min(level)]]),
        np.concatenate([slope, np.interp(numbers, peaks.numbers, slope), [0.0]]),
        course,
        times_s,
    )


def _steady_lines(tail: Envelopes) -> tuple[Real, Real]:
    """The straight line by which each envelope turns: its middle (radians) and slope (1/s)."""
    from_middle_s = tail.times_s - np.mean(tail.times_s)
    turned = tail.values / (np.abs(tail.values) + 1e-300)
    turns = (_REACH * tail.omega + 2 * np.pi * _REACH_HZ) * _TURNS
    against = np.exp(-1j * turns[:, :, None] * from_middle_s)
    sums = np.einsum("kn,kjn->kj", turned, against)
    row, best = np.arange(turned.shape[0]), np.argmax(np.abs(sums), axis=1)
    return np.angle(sums[row, best]), turns[row, best]


def _first_phases(
    tail: Envelopes, standing: Real, times_s: Real, *, free: bool
) -> tuple[Real, Real, Real]:
    """Phases of the envelopes over ``times_s``, their settled slopes, 1/s, and the course."""
    if not free:
        middle, slopes = _steady_lines(tail)
        phases = middle[:, None] + slopes[:, None] * (times_s - np.mean(tail.times_s))
        return phases, slopes, np.zeros(times_s.size)
    fit, _ = fit_phases(tail, standing)
    slopes = tail.omega[:, 0] * fit.offsets
    phases = np.stack([np.interp(times_s, fit.times_s, row) for row in fit.phases])
    before_s = np.minimum(times_s - fit.times_s[0], 0.0)
    phases = phases + slopes[:, None] * before_s
    course = np.interp(times_s, fit.times_s, fit.course_cents) / CENTS_PER_NEPER
    return phases, slopes, course


def renewed(
    waves: Waves, fit: PhaseFit, seen: Sequence[Seen], at: NDArray[np.int64], frames: Frames
) -> Waves:
    """After a fit to what was ``seen`` in the frames numbered ``at``."""
    level, slope = _sizes_seen(waves, seen, at, frames)
    omega = np.concatenate([waves.centres * (1 + fit.offsets), waves.omega[waves.followed :]])
    return replace(
        waves,
        omega=omega,
        phases=fit.phases,
        course=fit.course_cents / CENTS_PER_NEPER,
        level=level,
        slope=slope,
    )


def by_the_law(waves: Waves, offsets: Real, covariance: Real, standing: Real) -> Waves:
    """The waves that are not followed, where the string behind the others lets expect them.

    ``offsets`` (followed,), relative to the centres, with ``covariance``.
    """
    followed = waves.numbers[: waves.followed]
    at_hz = waves.centres * (1 + offsets) / (2 * np.pi)
    string = fit_string(followed, at_hz, covariance, standing)
    rest = stretched(waves.numbers[waves.followed :], string.f1_hz, string.stiffness)
    return replace(waves, omega=np.concatenate([waves.omega[: waves.followed], 2 * np.pi * rest]))


def _sizes_seen(
    waves: Waves, seen: Sequence[Seen], at: NDArray[np.int64], frames: Frames
) -> tuple[Real, Real]:
    share = frames.true_share[at]
    free = share >= min(_FREE, float(np.quantile(share, 0.5)))
    power = np.abs(np.stack([each.amplitudes for each in seen])[free]) ** 2
    noise = np.array([each.noise for each in seen])[free]
    noise = 4 * noise / (share[free] * frames.from_middle_s.size)
    t = frames.times_s[at][free]
    level = np.full(waves.omega.size, 0.5 * np.log(np.median(noise)))
    slope = np.zeros(waves.omega.size)
    for number, row in enumerate(power.T):
        heard = row > _HEARD_POWER * noise
        if np.sum(heard) >= _FEWEST_HEARD:
            line = _decays(t[heard], 0.5 * np.log(row[heard])[None])
            level[number], slope[number] = line[0][0], line[1][0]
    return level, slope


def _decays(t: Real, logs: Real) -> tuple[Real, Real]:
    """Levels at t = 0 and slopes of lines through ``logs`` (waves, t) that do not rise."""
    middle = float(np.mean(t))
    centred = t - middle
    slope = np.minimum(logs @ centred / np.maximum(np.sum(centred**2), 1e-12), 0.0)
    return np.mean(logs, axis=1) - slope * middle, slope
