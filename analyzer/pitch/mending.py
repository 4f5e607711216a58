"""A clipped note with its flat tops drawn anew.

What the samples between the tops say of the waves (``between_tops``) says what the recorder would
have written where it could not: the sum of the waves, though never within the level at which it
clipped. Such a note then goes the way of all others. Where the waves cannot be followed back to
the note's start, it is good from where they can.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from analyzer.pitch.between_tops import Fitting, steps_backwards
from analyzer.pitch.envelopes import Envelopes
from analyzer.pitch.partials import Peaks
from analyzer.pitch.spectrum import Complex, Real
from analyzer.pitch.true_samples import Frames, are_true, in_frames, sum_of_waves, what_is_seen
from analyzer.pitch.waves import first_waves, others_of

_BEYOND_S = 1.2  # after the last flat top, which is enough to begin with
_TAIL_SHARE = 0.25  # of the note, where the fit begins if none of it is free,
_FEWEST_FRAMES = 9  # and how much it takes at least
_FREE = 0.95  # share of true samples that is as good as all
_LEAST_TURN, _MOST_TURN = 0.02, 1.0  # radians; how sure a foretold phase can be


@dataclass(frozen=True)
class Mended:
    """``samples`` (n,), and from when on they can be trusted, s from the onset; inf: nowhere.

    ``whole``: whether that is all of the note.
    """

    samples: Real
    good_from_s: float
    whole: bool


def mended(
    samples: Real, rate_hz: float, onset_s: float, peaks: Peaks, clipped: Envelopes
) -> Mended:
    """Draw the flat tops of samples (n,) anew.

    ``clipped`` are the envelopes of ``peaks`` as cut from the clipped note.
    """
    others = others_of(peaks, rate_hz)
    frames = _frames(samples, rate_hz, onset_s, peaks, others[1])
    first = _first_of_tail(frames)
    t = frames.times_s
    late = (clipped.times_s >= t[first]) & (clipped.times_s <= t[-1])
    if np.sum(late) < _FEWEST_FRAMES:
        return Mended(samples, math.inf, whole=False)
    tail = replace(clipped, values=clipped.values[:, late], times_s=clipped.times_s[late])
    free = bool(np.all(frames.true_share[first:] >= _FREE))
    waves = first_waves(peaks, others, tail, onset_s, t, free=free)
    fitting = Fitting(frames, waves, peaks.standing, np.zeros(peaks.numbers.size))
    start = t.size
    for settled in steps_backwards(fitting, first):
        start = settled
    if start == t.size:
        return Mended(samples, float(t[first]) if free else math.inf, whole=False)
    drawn = _drawn(fitting, start, samples, rate_hz, onset_s)
    return Mended(drawn, float(t[start]), whole=start == 0)


def _frames(samples: Real, rate_hz: float, onset_s: float, peaks: Peaks, others_hz: Real) -> Frames:
    """What is clipped of the note, and a little more."""
    highest_hz = max(float(np.max(peaks.rough_hz)), float(np.max(others_hz, initial=0.0)))
    spacing_hz = float(peaks.rough_hz[0] / peaks.numbers[0])
    last = int(np.flatnonzero(~are_true(samples))[-1])
    needed = samples[: last + round(_BEYOND_S * rate_hz)]
    return in_frames(needed, rate_hz, onset_s, spacing_hz, highest_hz)


def _first_of_tail(frames: Frames) -> int:
    """The first frame of the part that is free, or that the fit begins with."""
    count = frames.times_s.size
    gaps = np.flatnonzero(frames.true_share < _FREE)
    free = count - (int(gaps[-1]) + 1 if gaps.size else 0)
    return max(0, count - round(max(_TAIL_SHARE * count, _FEWEST_FRAMES, free)))


def _drawn(fitting: Fitting, start: int, samples: Real, rate_hz: float, onset_s: float) -> Real:
    """Samples with the tops of the frames from ``start`` on drawn by the waves."""
    frames, waves = fitting.frames, fitting.waves
    expected, slopes = waves.expected(), np.gradient(waves.course, waves.times_s)
    turn_sd = np.asarray(np.clip(np.sqrt(fitting.wavering), _LEAST_TURN, _MOST_TURN))
    size = round(frames.from_middle_s.size * frames.block_s * rate_hz)
    s = np.asarray((np.arange(size) - (size - 1) / 2) / rate_hz)
    top = ~are_true(samples)
    drawn = samples.copy()
    for number in range(start, waves.times_s.size):
        first = round((waves.times_s[number] + onset_s) * rate_hz - (size - 1) / 2)
        part = slice(first, first + size)
        if np.any(top[part]):
            sizes = _amplitudes(fitting, number, expected[:, number], turn_sd)
            course, slope = float(waves.course[number]), float(slopes[number])
            wave = sum_of_waves(s, waves.omega, -waves.slope, course, slope, sizes)
            flat = samples[part]
            outer = np.where(flat > 0, np.fmax(wave, flat), np.fmin(wave, flat))
            drawn[part] = np.where(top[part], outer, flat)
    return drawn


def _amplitudes(fitting: Fitting, number: int, expected: Complex, turn_sd: Real) -> Complex:
    """Of one frame's waves; where it has too few true samples, as its neighbours foretell."""
    followed = fitting.waves.followed
    equations = fitting.equations(number)
    if equations is not None:
        return what_is_seen(equations, expected, followed, turn_sd).amplitudes
    return np.where(np.arange(expected.size) < followed, expected, 0.0)
