"""The settled pitch of a pluck: guide, partials, phases and string law, in that order."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analyzer.errors import RecordingError
from analyzer.pitch.guide import LEAST_VOICED_SHARE, Guide, guide_note
from analyzer.pitch.partials import Peaks, find_partials
from analyzer.pitch.phases import Envelopes, PhaseFit, fit_phases
from analyzer.pitch.spectrum import BAND_COLOUR, NoteSpectrum, Real, line_spectrum, note_spectrum
from analyzer.pitch.stiff_string import StringFit, fit_string
from analyzer.plucks import Pluck
from analyzer.recording.reading import Recording

EARLY_S = (0.1, 0.3)  # after the onset: where the sustain drift starts from
_BEFORE_ONSET_S = 0.1
_WIDEST_BAND_HZ = 40.0  # half-width; room for a glide of 10 cents at the highest partial
_BAND_SHARE = 0.4  # of the distance to the next partial
_FIT_FROM_S = 0.05
_RINGING = 1.5  # after this over its half-width, a band has forgotten the onset
# The course of a glide is known to a share of its size only: its candidates are near the truth and
# not it. Seen on synthetic plucks with the glide tied to partials that the recording does not hold.
_COURSE_SHARE = 0.0015
_LEAST_SD_CENTS = 0.0005
_LOST_RELATIVE_VARIANCE = 1e-6  # a partial less sure by 1.7 cents than the best is lost


@dataclass(frozen=True)
class SettledPitch:
    """What is known of one pluck.

    ``settled_hz`` is the frequency of the first partial under the string law once the glide has
    died away; uncertainties are half-widths of 95 % intervals. ``sustain_drift_cents`` is the
    settled pitch less that from 0.1 s to 0.3 s after the onset. ``stiffness`` (Fletcher's B) is a
    diagnostic, and NaN where fewer than three partials were heard.
    """

    settled_hz: float
    settled_uncertainty_cents: float
    sustain_drift_cents: float
    stiffness: float
    partials: int


def settle(recording: Recording, pluck: Pluck) -> SettledPitch:
    """Measure one pluck of a recording.

    Raises RecordingError where nothing in it has a pitch.
    """
    start_s = max(0.0, pluck.onset_s - _BEFORE_ONSET_S)
    samples = recording.excerpt(start_s, pluck.end_s, pluck.channel)
    spectrum = note_spectrum(samples, recording.rate_hz, pluck.onset_s - start_s)
    lines = line_spectrum(spectrum)
    guide = guide_note(spectrum, lines)
    peaks = find_partials(lines, guide.pitch_hz, spectrum.rate_hz)
    _check_note(recording.path.name, guide, peaks)
    envelopes = _cut(spectrum, peaks)
    phases = fit_phases(envelopes)
    string = _string(recording.path.name, peaks, envelopes, phases)
    return SettledPitch(
        string.f1_hz,
        _uncertainty_cents(string, phases),
        _drift_cents(phases.times_s, phases.course_cents),
        string.stiffness,
        peaks.numbers.size,
    )


def _check_note(name: str, guide: Guide, peaks: Peaks) -> None:
    if guide.voiced_share < LEAST_VOICED_SHARE or peaks.numbers.size == 0:
        raise RecordingError(
            name,
            f"holds no steady note (only {100 * guide.voiced_share:.0f} % of it has a pitch)",
            "Record one plucked string, the others damped, and let it ring for three seconds",
        )


def _cut(spectrum: NoteSpectrum, peaks: Peaks) -> Envelopes:
    """The partials' envelopes, without the ends at which the band's filter rings."""
    spacing_hz = float(peaks.rough_hz[0] / peaks.numbers[0])
    half_hz = min(_WIDEST_BAND_HZ, _BAND_SHARE * spacing_hz)
    values, centres_hz, rate_hz = spectrum.envelopes(peaks.rough_hz, half_hz)
    times_s = np.arange(values.shape[1]) / rate_hz - spectrum.onset_s
    ringing_s = _RINGING / half_hz
    kept = (times_s >= max(_FIT_FROM_S, ringing_s)) & (times_s <= times_s[-1] - ringing_s)
    values = values[:, kept]
    late = values[:, -max(8, values.shape[1] // 10) :]
    noise = 0.5 * np.mean(np.abs(late) ** 2, axis=1)
    return Envelopes(values, centres_hz, times_s[kept], noise, BAND_COLOUR, half_hz)


def _string(name: str, peaks: Peaks, envelopes: Envelopes, phases: PhaseFit) -> StringFit:
    """The string law over the partials whose phase could be followed."""
    variance = np.diag(phases.covariance)
    kept = variance - np.min(variance) < _LOST_RELATIVE_VARIANCE
    if not np.any(kept):
        raise RecordingError(
            name,
            "holds no partial that can be followed through its noise",
            "Record it again closer to the string and without noise",
        )
    frequencies_hz = envelopes.centres_hz * (1 + phases.offsets)
    return fit_string(
        peaks.numbers[kept], frequencies_hz[kept], phases.covariance[np.ix_(kept, kept)]
    )


def _uncertainty_cents(string: StringFit, phases: PhaseFit) -> float:
    """The fit's own interval, widened by what no fit can know."""
    unknown_course = _COURSE_SHARE * float(phases.course_cents[0])
    return math.hypot(string.uncertainty_cents, 1.96 * unknown_course, 1.96 * _LEAST_SD_CENTS)


def _drift_cents(times_s: Real, course_cents: Real) -> float:
    early = (times_s >= EARLY_S[0]) & (times_s <= EARLY_S[1])
    return -float(np.mean(course_cents[early])) if np.any(early) else float("nan")
