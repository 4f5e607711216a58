"""A recording of a steady tone -> its pitch by the recorder's clock, its level, what else there is.

Pitch is in cents from the stated tone. The recorder's clock error follows from it:
tone / measured - 1, positive where its clock is fast, for then it takes more samples of each period
and the tone reads flat. It is known no better than the source is.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from analyzer.channels import best_channel
from analyzer.errors import RecordingError, UnusableInputError
from analyzer.lot.station_check.thresholds import (
    CLIPPED_BELOW,
    CLIPPED_SHARE,
    HIGHEST_SHARE_OF_RATE,
    HIGHEST_TONE_HZ,
    LONGEST_USED_S,
    LOWEST_TONE_HZ,
    MOST_BREAKS,
    NAMED_RATES_HZ,
    RATE_MATCHES,
    SHORTEST_TONE_S,
    STEADY_DB,
)
from analyzer.lot.station_check.tone_breaks import (
    Break,
    find_breaks,
    short_windows,
    sounding_part_s,
)
from analyzer.lot.station_check.tone_phase import Real, ToneFit, fit_tone
from analyzer.lot.station_check.tone_spectrum import ToneSpectrum, flat_top_share, spectrum_of
from analyzer.music import CENTS_PER_NEPER, cents_between
from analyzer.plucks import SILENT_DBFS
from analyzer.recording.limits import TRUSTED, ReadingRules
from analyzer.recording.reading import Recording, open_recording

_PPM = 1e6
_QUIETEST_DB = -300.0  # of what is without noise
_DB_PER_NEPER = 20 / math.log(10)


@dataclass(frozen=True)
class Tone:
    """What was measured of a tone. Levels are in dB of a sine that just reaches full scale.

    ``bound_hz``: the least standard uncertainty that the noise allows (Cramer-Rao bound).
    ``level_change_db``: from the first to the last quarter of ``used_s``. ``clipped_share``: of the
    samples, 0 to 1. ``distortion_db``: harmonics 2 to 10 over the fundamental (IEC 60268-3, from
    memory); ``hum_dbfs``: the first six lines of the mains. ``channel`` counts from 1.
    """

    tone_hz: float
    frequency_hz: float
    standard_uncertainty_hz: float
    bound_hz: float
    level_dbfs: float
    level_standard_uncertainty_db: float
    level_change_db: float
    noise_dbfs: float
    hum_dbfs: float
    distortion_db: float
    offset_percent: float
    clipped_share: float
    breaks: tuple[Break, ...]
    used_s: float
    rate_hz: int
    channel: int
    channels: int

    @property
    def pitch_cents(self) -> float:
        return cents_between(self.tone_hz, self.frequency_hz)

    @property
    def pitch_standard_uncertainty_cents(self) -> float:
        return CENTS_PER_NEPER * self.standard_uncertainty_hz / self.frequency_hz

    @property
    def clock_error_ppm(self) -> float:
        """Of the recorder's clock against the stated tone; positive: it is fast."""
        return (self.tone_hz / self.frequency_hz - 1) * _PPM

    @property
    def signal_to_noise_db(self) -> float:
        return self.level_dbfs - self.noise_dbfs

    @property
    def steady(self) -> bool:
        """Whether its level stays while it is recorded; that of a fork that was struck does not."""
        return abs(self.level_change_db) <= STEADY_DB


def check_tone_hz(tone_hz: float) -> None:
    """Raise UnusableInputError for what no recorder could be checked by."""
    if not LOWEST_TONE_HZ <= tone_hz <= HIGHEST_TONE_HZ:  # no comparison holds for NaN
        raise UnusableInputError(
            "--tone",
            f"is {tone_hz:g} Hz",
            f"Give the tone's frequency, {LOWEST_TONE_HZ:g} to {HIGHEST_TONE_HZ:g} Hz; 440 is good",
        )


def tone_of_recording(
    path: Path, tone_hz: float, channel: int | None = None, rules: ReadingRules = TRUSTED
) -> Tone:
    """Measure a recording of a tone of ``tone_hz``.

    ``channel``, from 1, is the one to use; without it, or where there is no such, it is the one in
    which the tone stands furthest out of the noise.

    Raises RecordingError where the file cannot be read or holds no such tone.
    """
    recording = open_recording(path, rules)
    channels = recording.levels.shape[1]
    chosen = best_channel(recording) if channel is None or channel > channels else channel - 1
    samples = _samples(recording, chosen)
    return measure_tone(
        samples, recording.rate_hz, tone_hz, (chosen + 1, channels), recording.path.name
    )


def _samples(recording: Recording, channel: int) -> Real:
    loudest = float(np.max(recording.levels[:, channel]))
    if loudest <= 10 ** (SILENT_DBFS / 20):
        raise RecordingError(
            recording.path.name,
            f"is silent on channel {channel + 1} (nothing above {SILENT_DBFS:g} dBFS)",
            "Check the source, the cable and the input, and record the tone again",
        )
    length_s = recording.levels.shape[0] * recording.step_s
    return recording.excerpt(0.0, min(length_s, LONGEST_USED_S), channel)


def measure_tone(
    samples: Real, rate_hz: int, tone_hz: float, channel: tuple[int, int], name: str
) -> Tone:
    """The same for samples (n,), full scale = 1; ``channel`` is its number and of how many.

    Raises RecordingError, with ``name`` for the place, where there is no such tone in them.
    """
    if tone_hz > HIGHEST_SHARE_OF_RATE * rate_hz:
        raise RecordingError(
            name,
            f"has a rate of {rate_hz} Hz, too low for a tone of {tone_hz:g} Hz",
            f"Record at {tone_hz / HIGHEST_SHARE_OF_RATE:.0f} Hz or more, or use a lower tone",
        )
    _check_length(samples.size / rate_hz, name)
    near_hz = _line(spectrum_of(samples, rate_hz), tone_hz, rate_hz, name)
    start_s, end_s = sounding_part_s(short_windows(samples, rate_hz, near_hz))
    part = samples[round(start_s * rate_hz) : round(end_s * rate_hz)]
    _check_length(part.size / rate_hz, name)
    spectrum = spectrum_of(part, rate_hz)
    near_hz = spectrum.near(tone_hz) or near_hz
    breaks = find_breaks(part, rate_hz, near_hz)
    if len(breaks) > MOST_BREAKS:
        raise RecordingError(
            name,
            f"breaks off {len(breaks)} times ({MOST_BREAKS} is the most that is measured)",
            "Samples are lost: look for an overloaded computer, a hub, or a loose plug",
        )
    fit = fit_tone(
        part, rate_hz, near_hz, spectrum.noise_about(near_hz), [each.at_s for each in breaks]
    )
    if not fit.steady_pitch:
        raise RecordingError(
            name,
            f"holds no steady tone near {tone_hz:g} Hz: its pitch wanders",
            "Use a tuning generator or a fork, and keep source and microphone still",
        )
    placed = tuple(Break(start_s + each.at_s, each.lost_samples) for each in breaks)
    return _told(part, rate_hz, tone_hz, fit, spectrum, placed, channel)


def _check_length(length_s: float, name: str) -> None:
    if length_s < SHORTEST_TONE_S:
        raise RecordingError(
            name,
            f"holds {length_s:.1f} s of the tone ({SHORTEST_TONE_S:g} s is the least)",
            "Record ten seconds of it",
        )


def _line(spectrum: ToneSpectrum, tone_hz: float, rate_hz: int, name: str) -> float:
    near_hz = spectrum.near(tone_hz)
    if near_hz is not None:
        return near_hz
    heard_hz = spectrum.strongest_hz(LOWEST_TONE_HZ, HIGHEST_SHARE_OF_RATE * rate_hz)
    if heard_hz is None:
        raise RecordingError(
            name,
            f"holds no tone that stands out of its noise, at {tone_hz:g} Hz or elsewhere",
            "Check the source and the level, and record it again",
        )
    own_hz = rate_hz * tone_hz / heard_hz
    for each in NAMED_RATES_HZ:
        if each != rate_hz and abs(own_hz / each - 1) < RATE_MATCHES:
            raise RecordingError(
                name,
                f"has its tone at {heard_hz:.2f} Hz, not {tone_hz:g}, as if it were recorded at "
                f"{each} Hz and said {rate_hz}",
                "Set recorder and program to one sample rate; or give the tone that the source has",
            )
    raise RecordingError(
        name,
        f"has its strongest tone near {heard_hz:.2f} Hz, and none at {tone_hz:g} Hz",
        "Give the frequency that the source makes with --tone, or record the right source",
    )


def _told(
    part: Real,
    rate_hz: int,
    tone_hz: float,
    fit: ToneFit,
    spectrum: ToneSpectrum,
    breaks: tuple[Break, ...],
    channel: tuple[int, int],
) -> Tone:
    at_hz = fit.frequency_hz
    power = fit.amplitude**2 / 2
    harmonics = sum(spectrum.line_power(each) for each in spectrum.harmonics_hz(at_hz))
    length_s = part.size / rate_hz
    relative = math.sqrt(2 * spectrum.noise_about(at_hz) / length_s) / fit.amplitude
    return Tone(
        tone_hz,
        at_hz,
        fit.standard_uncertainty_hz,
        fit.bound_hz,
        _db(2 * power),
        _DB_PER_NEPER * relative,
        fit.change_db,
        _db(2 * spectrum.noise_power(at_hz)),
        _db(2 * spectrum.hum_power(at_hz)),
        _db(harmonics / power),
        100 * _offset(part, rate_hz, at_hz),
        flat_top_share(part, fit.amplitude, CLIPPED_BELOW, CLIPPED_SHARE),
        breaks,
        length_s,
        rate_hz,
        *channel,
    )


def _offset(part: Real, rate_hz: int, at_hz: float) -> float:
    """The mean over whole periods of the tone."""
    period = rate_hz / at_hz
    whole = round(math.floor(part.size / period) * period)
    return float(np.mean(part[:whole]))


def _db(power: float) -> float:
    return 10 * math.log10(power) if power > 10 ** (_QUIETEST_DB / 10) else _QUIETEST_DB
