"""How each partial of a note runs by itself, beside the course that the fit gives them all.

What the fit leaves of a partial's envelope turns as fast as the partial departs from the fit. Over
a short window that rate is the angle of the envelope's autocorrelation at a lag of one sample,
weighed by power as it is (S. Kay, IEEE Trans. Acoust. Speech Signal Process. 37, 1987, 1989; from
memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyzer.music import CENTS_PER_NEPER
from analyzer.pitch.followed import Followed
from analyzer.pitch.partials import stretched
from analyzer.pitch.spectrum import Real

_WINDOW_S = 0.15
_HEARD_POWER = 8.0  # over the noise; in fainter windows the angle is the noise's
_LOUD_S = 0.3  # from its beginning: where the level of a partial is taken
_HALF_WIDTH = 1.96  # of a normal distribution's 95 %


@dataclass(frozen=True)
class PartialTrack:
    """One partial, in the recorder's time and hertz.

    ``frequency_hz`` is where it settles, measured by itself; ``law_hz`` where the string law puts
    it, and ``deviation_cents`` the first above the second, with the half-width of its 95 %
    interval from the partial's own noise. ``level_db`` is against the loudest partial at the start.
    ``used``: whether it is in the law, in which it has ``weight`` of all; 0 where it is not.
    ``cents`` at ``times_s`` after the onset is its pitch above the law's, so that all tracks of a
    lawful string fall on one line, and that tends to nought.
    """

    number: int
    frequency_hz: float
    law_hz: float
    deviation_cents: float
    deviation_uncertainty_cents: float
    level_db: float
    over_noise_db: float
    used: bool
    weight: float
    times_s: tuple[float, ...]
    cents: tuple[float, ...]


def tracks_of(followed: Followed) -> tuple[PartialTrack, ...]:
    """Every partial that stands clear of the noise, the lowest first."""
    peaks, string, phases = followed.peaks, followed.string, followed.phases
    found_hz = followed.envelopes.centres_hz * (1 + phases.offsets)
    law_hz = stretched(peaks.numbers, string.f1_hz, string.stiffness)
    deviations = CENTS_PER_NEPER * np.log(found_hz / law_hz)
    half_widths = _HALF_WIDTH * CENTS_PER_NEPER * np.sqrt(np.diag(phases.covariance))
    weights = np.zeros(peaks.numbers.size)
    weights[followed.kept] = string.weights
    levels_db = _levels_db(followed)
    return tuple(
        PartialTrack(
            int(peaks.numbers[place]),
            float(followed.pace * found_hz[place]),
            float(followed.pace * law_hz[place]),
            float(deviations[place]),
            float(half_widths[place]),
            float(levels_db[place]),
            float(peaks.clear_db[place]),
            bool(followed.kept[place]),
            float(weights[place]),
            *_course_of(followed, place, float(deviations[place])),
        )
        for place in range(peaks.numbers.size)
    )


def _levels_db(followed: Followed) -> Real:
    """Root mean square of each partial at its start against the loudest, (partials,)."""
    envelopes = followed.envelopes
    start = envelopes.times_s <= envelopes.times_s[0] + _LOUD_S
    power = np.mean(np.abs(envelopes.values[:, start]) ** 2, axis=1)
    return np.asarray(10 * np.log10(power / np.max(power)))


def _course_of(
    followed: Followed, place: int, deviation_cents: float
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Moments, s, and the partial's pitch above the law's, cents, in windows where it is heard."""
    rest, phases = followed.rest, followed.phases
    step_s = float(rest.times_s[1] - rest.times_s[0])
    size = max(2, round(_WINDOW_S / step_s))
    values = rest.values[place][: rest.values.shape[1] // size * size].reshape(-1, size)
    times_s = rest.times_s[: values.size].reshape(-1, size).mean(axis=1)
    turn = np.angle(np.sum(values[:, 1:] * values[:, :-1].conj(), axis=1)) / step_s
    power = np.mean(np.abs(values) ** 2, axis=1)
    heard = np.logical_and.accumulate(power > _HEARD_POWER * 2 * rest.noise[place])
    beside_cents = CENTS_PER_NEPER * turn / float(followed.envelopes.omega[place, 0])
    course_cents = np.interp(times_s, phases.times_s, phases.course_cents)
    cents = deviation_cents + course_cents + beside_cents
    return tuple((times_s[heard] / followed.pace).tolist()), tuple(cents[heard].tolist())
