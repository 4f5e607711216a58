"""How the pitch runs while the note sounds: vibrato, rises that no free string makes, falls."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyzer.music import CENTS_PER_NEPER
from analyzer.pitch.partials import stretched
from analyzer.pitch.settle import SettledPitch, slope_of
from analyzer.pitch.spectrum import NoteSpectrum, Real, turned_sums

_PARTIALS = 8
_STRONGEST = 4
_WIDEST_BAND_HZ, _BAND_SHARE = 40.0, 0.4
_FROM_S, _UNTIL_S = 0.25, 4.0
_HEARD_DB = 25.0  # a note is followed down to this far below its start
_SMOOTHING_S = 0.08
_VIBRATO_HZ = (3.0, 8.0)  # of a finger; common knowledge of players
_VIBRATO_STEP_HZ = 0.1
_SHORTEST_S = 0.6
_END_SHARE = 0.25  # of the course; a glide that is dying away falls less there than before
_RUN = 3  # the order of the slow run that is taken out before vibrato is looked for


@dataclass(frozen=True)
class Course:
    """``vibrato_cents`` is the amplitude about the mean, ``rise_cents`` the largest rise.

    ``end_fall_cents_per_s`` is how fast the pitch falls in the last quarter of what is heard well.
    """

    vibrato_cents: float
    vibrato_hz: float
    rise_cents: float
    end_fall_cents_per_s: float


def pitch_course(spectrum: NoteSpectrum, pitch: SettledPitch) -> Course:
    """The course of the pitch, as most of its strong partials show it alike."""
    times_s, cents = _course_cents(spectrum, pitch)
    if times_s.size < 8 or times_s[-1] - times_s[0] < _SHORTEST_S:
        return Course(0.0, 0.0, 0.0, 0.0)
    slow = np.polyval(np.polyfit(times_s, cents, _RUN), times_s)
    rates_hz = np.arange(_VIBRATO_HZ[0], _VIBRATO_HZ[1] + 0.01, _VIBRATO_STEP_HZ)
    window = np.hanning(times_s.size)
    hertz = -2 * np.pi * float(times_s[1] - times_s[0])
    swing = ((cents - slow) * window)[None]
    sums = turned_sums(swing, hertz * _VIBRATO_HZ[0], hertz * _VIBRATO_STEP_HZ, rates_hz.size)
    amplitude = 2 * np.abs(sums[0]) / np.sum(window)
    strongest = int(np.argmax(amplitude))
    smooth = _smoothed(cents, times_s)
    rise = smooth - np.minimum.accumulate(smooth)
    late = slice(-max(4, round(_END_SHARE * times_s.size)), None)
    end_fall = -slope_of(times_s[late], cents[late])
    return Course(
        float(amplitude[strongest]), float(rates_hz[strongest]), float(np.max(rise)), end_fall
    )


def _course_cents(spectrum: NoteSpectrum, pitch: SettledPitch) -> tuple[Real, Real]:
    """Times from the onset, s, and the pitch against the settled one, cents; shape (n,) each."""
    stiffness = pitch.stiffness if pitch.stiffness > 0 else 0.0
    centres_hz = stretched(np.arange(1.0, _PARTIALS + 1), pitch.settled_hz, stiffness)
    centres_hz = centres_hz[centres_hz < 0.4 * spectrum.rate_hz]
    half_hz = min(_WIDEST_BAND_HZ, _BAND_SHARE * pitch.settled_hz)
    strong = spectrum.strongest(centres_hz, half_hz, _STRONGEST)
    values, centres_hz, times_s = spectrum.envelopes(centres_hz[strong], half_hz)
    turned = np.angle(values[:, 1:] * values[:, :-1].conj())
    hz = turned / (2 * np.pi * (times_s[1] - times_s[0]))
    cents = CENTS_PER_NEPER * hz / centres_hz[:, None]
    middle_s = 0.5 * (times_s[1:] + times_s[:-1])
    total = np.sum(np.abs(values[:, 1:]) ** 2, axis=0)
    after = middle_s >= _FROM_S
    loud = total > np.max(total[after], initial=0) * 10 ** (-_HEARD_DB / 10)
    until_s = min(_UNTIL_S, middle_s[-1] - 2 / half_hz)
    faded = np.flatnonzero(after & ~loud)
    if faded.size:
        until_s = min(until_s, float(middle_s[faded[0]]))
    kept = after & (middle_s < until_s)
    ordered = np.sort(cents[:, kept], axis=0)
    middle = 0.5 * (ordered[(strong.size - 1) // 2] + ordered[strong.size // 2])
    return middle_s[kept], middle


def _smoothed(cents: Real, times_s: Real) -> Real:
    """A running median, then a mean: a beat's slip of phase is no bend."""
    from scipy import ndimage

    samples = max(3, round(_SMOOTHING_S / float(times_s[1] - times_s[0])))
    calm = ndimage.median_filter(cents, 2 * samples + 1, mode="nearest")
    return np.asarray(ndimage.uniform_filter1d(calm, samples, mode="nearest"))
