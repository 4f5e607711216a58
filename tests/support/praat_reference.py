"""What Praat hears of a note: an independent reading, and how far apart its readings lie.

P. Boersma's autocorrelation method (IFA Proceedings 17, 97, 1993) through praat-parselmouth, in a
band about the note. The partials of a real string do not agree to a cent, and the pitch of a note
runs: so Praat is asked of the lower partials, the upper ones and the whole sound, each of several
parts of the note. All of these are answers that somebody may call its pitch.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import parselmouth

PRAAT_ERROR_CENTS = 1.0  # on known plucks (``test_real_recordings``)
SPANS_S = ((0.1, 0.5), (0.5, 1.2), (1.2, 2.0))
_STEP_S, _CANDIDATES, _FEWEST_FRAMES = 0.01, 15, 8


@dataclass(frozen=True)
class Readings:
    """Answers in Hz, the earlier part of the note before the later."""

    lower: Sequence[float]  # of the first four partials
    every: Sequence[float]  # of these, the upper partials, and the whole sound

    @property
    def spread_cents(self) -> float:
        return float(1200 * np.log2(max(self.every) / min(self.every)))


def praat_readings(
    samples: np.ndarray,
    rate_hz: float,
    near_hz: float,
    spans_s: Sequence[tuple[float, float]] = SPANS_S,
) -> Readings:
    """Readings of a note, (n,), that begins at sample 0, within half an octave of ``near_hz``."""
    sound = parselmouth.Sound(samples.astype(np.float64), rate_hz)
    top_hz = 0.49 * rate_hz
    lower, upper, whole = (
        _readings(sound, band_hz, near_hz, spans_s)
        for band_hz in ((0, 4.5 * near_hz), (2.5 * near_hz, top_hz), (0, top_hz))
    )
    return Readings(lower, [*lower, *upper, *whole])


def _readings(sound, band_hz, near_hz, spans_s) -> list[float]:
    low_hz, high_hz = band_hz
    high_hz = min(high_hz, 0.49 * sound.sampling_frequency)
    band = parselmouth.praat.call(sound, "Filter (pass Hann band)", low_hz, high_hz, 0.2 * near_hz)
    pitch = band.to_pitch_ac(
        _STEP_S, 0.75 * near_hz, _CANDIDATES, very_accurate=True, pitch_ceiling=1.5 * near_hz
    )
    times_s, hz = pitch.xs(), pitch.selected_array["frequency"]
    parts = [hz[(times_s > begin) & (times_s < end) & (hz > 0)] for begin, end in spans_s]
    return [float(np.median(part)) for part in parts if part.size >= _FEWEST_FRAMES]
