"""The settled pitch of a pluck: guide, partials, phases and string law, in that order."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from analyzer.errors import RecordingError
from analyzer.pitch.beats import beat_hz
from analyzer.pitch.envelopes import Envelopes, smoothed
from analyzer.pitch.followed import LEAST_SAY, Followed, say_of
from analyzer.pitch.guide import LEAST_VOICED_SHARE, Guide, guide_note
from analyzer.pitch.mending import Mended, mended
from analyzer.pitch.note import Note
from analyzer.pitch.own_clock import on_own_clock
from analyzer.pitch.partials import Peaks, find_partials
from analyzer.pitch.phases import PhaseFit, fit_phases
from analyzer.pitch.second_lines import with_second_lines
from analyzer.pitch.spectrum import Complex, NoteSpectrum, Real, note_spectrum
from analyzer.pitch.stiff_string import StringFit, fit_string
from analyzer.pitch.track import Track, measured_track
from analyzer.plucks import SHORTEST_NOTE_S, Pluck

EARLY_S = (0.1, 0.3)  # after the onset: where the sustain drift starts from
_WIDEST_BAND_HZ = 40.0  # half-width; room for a glide of 10 cents at the highest partial
_FEWEST_SAMPLES = 12  # of an envelope, from which its phase can be followed
_BAND_SHARE = 0.4  # of the distance to the next partial
_FIT_FROM_S = 0.05
_LOUD_DB = 30.0  # a line so far above the noise is a tone; noise alone hardly reaches 15 dB
_RINGING = 1.5  # after this over its half-width, a band has forgotten the onset
_START_S = 0.1
_FEWEST_FOR_STIFFNESS = 3
_LEAST_GLIDE_CENTS = 0.1
_LEAST_SD_CENTS = 0.0005  # no clock and no model is better than this
_SHAPE_SD = 0.004  # of what a glide still has to fall when the note ends: no shape is known better
_HOPELESS_RELATIVE_VARIANCE = 2e-4  # a pitch known to 50 cents either way is no figure
_FAINT_DB = 45.0  # so far below its peak, a note adds nothing to the figure
_LONGEST_S = 7.0  # less than the longest pluck, on any clock
_COURSE_POINTS = 32  # enough to draw it by; they lie closer where a note begins


@dataclass(frozen=True)
class Course:
    """How the fitted pitch runs: cents above the settled one, at seconds after the onset.

    32 points each, which lie closer at the beginning. A clipped note whose start could not be made
    out begins later.
    """

    times_s: tuple[float, ...]
    cents: tuple[float, ...]


@dataclass(frozen=True)
class SettledPitch:
    """What is known of one pluck. Uncertainties are half-widths of 95 % intervals.

    Attributes
    ----------
    settled_hz : frequency of the first partial under the string law, once the glide has died away.
    first_partial_hz : the first partial as measured on its own, settled; NaN where it is not heard.
    misfit_cents : standard deviation of the partials about the string law, beyond their noise.
    sustain_drift_cents : the settled pitch less that from 0.1 s to 0.3 s after the onset.
    glide_cents : how sharp the note starts: its pitch where it is first heard clearly (0.06 s after
        the onset, on a low bass string 0.12 s) over the settled one. NaN, as the drift is, for a
        clipped note whose start could not be made out.
    glide_time_s : when that has fallen to 1/e of its size; NaN where there is no glide to speak of.
    late_slope_cents_per_s : how the pitch still runs in the second half; a string that slips falls.
    stiffness, stiffness_uncertainty : Fletcher's B, a diagnostic; NaN from fewer than 3 partials.
    partials : how many partials the figure rests on.
    beat_hz : the rate at which two polarisations make the first partial beat; NaN where none do.
    clipped : whether the recording was too loud for its recorder.
    course : how the pitch runs to the settled one; None where nothing was fitted.
    track : how the partials show it to run, beside that fit.
    """

    settled_hz: float
    settled_uncertainty_cents: float
    first_partial_hz: float
    misfit_cents: float
    sustain_drift_cents: float
    glide_cents: float
    glide_time_s: float
    late_slope_cents_per_s: float
    stiffness: float
    stiffness_uncertainty: float
    partials: int
    beat_hz: float
    clipped: bool
    course: Course | None = None
    track: Track | None = None


def settle(note: Note) -> SettledPitch:
    """Measure one pluck.

    Raises RecordingError where nothing in it has a pitch.
    """
    return figures_of(follow(note))


def follow(note: Note) -> Followed:
    """All the stages of the measurement of one pluck; raises as ``settle`` does."""
    name, clipped = note.recording.path.name, note.clipping.clipped
    guide = guide_note(note.spectrum, note.lines)
    peaks = find_partials(note.lines, guide.pitch_hz, note.spectrum.rate_hz)
    _check_note(name, guide, peaks)
    paced = on_own_clock(note, peaks)
    spectrum, peaks, pace = paced.spectrum, paced.peaks, paced.pace
    envelopes = _envelopes(spectrum, peaks)
    _check_length(name, envelopes, note.pluck)
    whole = True
    if clipped:
        mend = mended(note.samples, spectrum.rate_hz, spectrum.onset_s, peaks, envelopes)
        whole = mend.whole
        envelopes = _envelopes_of(name, mend, spectrum, peaks)
    phases, rest = fit_phases(envelopes, peaks.standing)
    phases, rest = with_second_lines(envelopes, phases, rest, peaks.standing)
    string = _string(name, peaks, envelopes, phases)
    return Followed(peaks, envelopes, phases, rest, string, pace, clipped, whole)


def figures_of(followed: Followed) -> SettledPitch:
    """What the fits say, in the recorder's time."""
    peaks, envelopes, phases = followed.peaks, followed.envelopes, followed.phases
    string, pace, whole = followed.string, followed.pace, followed.whole
    first_hz = pace * envelopes.centres_hz[0] * (1 + phases.offsets[0])
    times_s, course_cents = phases.times_s / pace, phases.course_cents
    stiff = peaks.numbers.size >= _FEWEST_FOR_STIFFNESS
    return SettledPitch(
        settled_hz=pace * string.f1_hz,
        settled_uncertainty_cents=math.hypot(
            string.uncertainty_cents,
            1.96 * _LEAST_SD_CENTS,
            1.96 * _SHAPE_SD * float(course_cents[-1]),
        ),
        first_partial_hz=float(first_hz) if peaks.numbers[0] == 1 else math.nan,
        misfit_cents=string.misfit_cents,
        sustain_drift_cents=_drift_cents(times_s, course_cents) if whole else math.nan,
        glide_cents=float(course_cents[0]) if whole else math.nan,
        glide_time_s=_glide_time_s(times_s, course_cents) if whole else math.nan,
        late_slope_cents_per_s=_late_slope(times_s, course_cents),
        stiffness=string.stiffness if stiff else math.nan,
        stiffness_uncertainty=string.stiffness_uncertainty if stiff else math.nan,
        partials=peaks.numbers.size,
        beat_hz=pace * beat_hz(followed.rest, peaks),
        clipped=followed.clipped,
        course=_course(times_s, course_cents),
        track=measured_track(phases, followed.rest, envelopes.centres_hz, pace),
    )


def _course(times_s: Real, course_cents: Real) -> Course:
    """The course, (samples,) each, at a few moments: as fine as a drawing shows."""
    share = np.linspace(0, 1, _COURSE_POINTS) ** 2
    at_s = times_s[0] + (times_s[-1] - times_s[0]) * share
    cents = np.interp(at_s, times_s, course_cents)
    return Course(tuple(np.round(at_s, 4).tolist()), tuple(np.round(cents, 4).tolist()))


def _check_note(name: str, guide: Guide, peaks: Peaks) -> None:
    # In loud noise pYIN may give up a tone whose line stands far above it.
    heard = guide.voiced_share >= LEAST_VOICED_SHARE or np.max(peaks.clear_db, initial=0) > _LOUD_DB
    if not heard or peaks.numbers.size == 0:
        raise RecordingError(
            name,
            f"holds no steady note (only {100 * guide.voiced_share:.0f} % of it has a pitch)",
            "Record one plucked string, the others damped, and let it ring for three seconds",
        )


def _check_length(name: str, envelopes: Envelopes, pluck: Pluck) -> None:
    """The bands of a low string are narrow, and slow to follow it."""
    if envelopes.times_s.size < _FEWEST_SAMPLES:
        raise RecordingError(
            name,
            f"holds {pluck.duration_s:.2f} s of a note, too little for one so low",
            "Let it ring for three seconds",
        )


def _envelopes(spectrum: NoteSpectrum, peaks: Peaks) -> Envelopes:
    """The partials' envelopes, without the ends at which the band's filter rings."""
    half_hz = _band_half_hz(peaks)
    values, centres_hz, times_s = spectrum.envelopes(peaks.rough_hz, half_hz)
    ringing_s = _RINGING / half_hz
    last_s = spectrum.duration_s - spectrum.onset_s - ringing_s
    end_s = min(last_s, _faint_from_s(values, times_s), _LONGEST_S)
    # A band forgets the onset in whole steps: rounding must not choose whether the last one counts.
    a_hair_s = 1e-6 * ringing_s
    kept = (times_s >= max(_FIT_FROM_S, ringing_s) - a_hair_s) & (times_s <= end_s + a_hair_s)
    return Envelopes(values[:, kept], centres_hz, times_s[kept], half_hz, end_s)


def _faint_from_s(values: Complex, times_s: Real) -> float:
    """When the partials, (partials, samples), have died away: the note's end on its own clock."""
    power = smoothed(np.sum(np.abs(values) ** 2, axis=0)[None], times_s)[0]
    return float(times_s[np.flatnonzero(power > 10 ** (-_FAINT_DB / 10) * np.max(power))[-1]])


def _envelopes_of(name: str, mend: Mended, spectrum: NoteSpectrum, peaks: Peaks) -> Envelopes:
    """The envelopes of a mended note, from where it can be trusted."""
    again = note_spectrum(mend.samples, spectrum.rate_hz, spectrum.onset_s)
    envelopes = _envelopes(again, peaks)
    if mend.whole:
        return envelopes
    ringing_s = _RINGING / _band_half_hz(peaks)
    good = envelopes.times_s >= mend.good_from_s + ringing_s
    if np.sum(good) * envelopes.step_s < SHORTEST_NOTE_S:
        raise RecordingError(
            name,
            "is clipped so heavily that its partials cannot be followed",
            "Record it again more quietly",
        )
    return replace(envelopes, values=envelopes.values[:, good], times_s=envelopes.times_s[good])


def _band_half_hz(peaks: Peaks) -> float:
    spacing_hz = float(peaks.rough_hz[0] / peaks.numbers[0])
    return min(_WIDEST_BAND_HZ, _BAND_SHARE * spacing_hz)


def _string(name: str, peaks: Peaks, envelopes: Envelopes, phases: PhaseFit) -> StringFit:
    """The string law over the partials that could be followed; those about to be lost fade."""
    variance = np.diag(phases.covariance)
    if np.min(variance) > _HOPELESS_RELATIVE_VARIANCE:
        raise RecordingError(
            name,
            "holds no partial that can be followed through its noise",
            "Record it again closer to the string and without noise",
        )
    say = say_of(phases)
    kept = say > LEAST_SAY
    frequencies_hz = envelopes.centres_hz * (1 + phases.offsets)
    covariance = phases.covariance + np.diag(variance * (1 / np.maximum(say, LEAST_SAY) - 1))
    return fit_string(
        peaks.numbers[kept],
        frequencies_hz[kept],
        covariance[np.ix_(kept, kept)],
        (say * peaks.standing)[kept],
    )


def _drift_cents(times_s: Real, course_cents: Real) -> float:
    """Less the mean of the course over the early part; (samples,) each.

    On a low string the bands forget the onset later than the early part begins. The course is
    then drawn out backwards as the exponential that its beginning shows.
    """
    early_s = np.linspace(*EARLY_S, 41)
    course = np.interp(early_s, times_s, course_cents)
    start, later = course_cents[0], np.interp(times_s[0] + _START_S, times_s, course_cents)
    if start > later > 0:
        before_s = np.maximum(times_s[0] - early_s, 0.0)
        course = course * (start / later) ** (before_s / _START_S)
    return -float(np.mean(course))


def _glide_time_s(times_s: Real, course_cents: Real) -> float:
    """From the first moment measured until the course has fallen to 1/e."""
    if course_cents[0] < _LEAST_GLIDE_CENTS:
        return math.nan
    fallen = np.flatnonzero(course_cents <= course_cents[0] / math.e)
    return float(times_s[fallen[0]] - times_s[0]) if fallen.size else math.nan


def _late_slope(times_s: Real, course_cents: Real) -> float:
    late = times_s >= 0.5 * (times_s[0] + times_s[-1])
    return slope_of(times_s[late], course_cents[late])


def slope_of(times_s: Real, values: Real) -> float:
    """The slope of the straight line through values at times, (n,) each."""
    centred = times_s - np.mean(times_s)
    return float(centred @ values / (centred @ centred))
