"""The power of a tone, its harmonics, hum and noise, from an averaged spectrum (Welch).

Densities are one-sided, full scale squared per Hz. A line is what lies within the main lobe of the
window (Kaiser, six bins either way, side lobes 130 dB down) about it, noise there included; so a
distortion or a hum is never less than the noise in its own bins, and never nothing.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from scipy.signal import welch
from scipy.special import gammaincinv

from analyzer.lot.station_check.thresholds import (
    CLEAR_DB,
    HARMONICS,
    HUM_FAMILIES_HZ,
    HUM_LINES,
    SEARCHED_CENTS,
)
from analyzer.lot.station_check.tone_phase import Real
from analyzer.music import ratio_of_cents

_WINDOW_S = 1.0
_KAISER_BETA = 18.0  # scipy.signal.windows.kaiser
_LOBE = 6  # bins either way
_ABOUT = 60  # bins either way of a line, of which the median is the noise about it
_FEWEST_ABOUT = 8
_LEAST_DENSITY = 1e-24  # below the rounding of any samples: what is without noise has this


@dataclass(frozen=True)
class ToneSpectrum:
    """``density`` (n,) at multiples of ``bin_hz``, the mean of so many windows' ``averages``."""

    density: Real
    bin_hz: float
    averages: int

    def strongest_hz(self, low_hz: float, high_hz: float) -> float | None:
        """The strongest line from ``low_hz`` to ``high_hz`` that stands out clearly, or None."""
        first = max(_LOBE, math.ceil(low_hz / self.bin_hz))
        last = min(self.density.size - 2, math.floor(high_hz / self.bin_hz))
        if last < first:
            return None
        at = first + int(np.argmax(self.density[first : last + 1]))
        if 10 * math.log10(self.density[at] / self.noise_about(at * self.bin_hz)) < CLEAR_DB:
            return None
        left, middle, right = np.log(self.density[at - 1 : at + 2] + _LEAST_DENSITY)
        bend = left - 2 * middle + right
        off = 0.5 * (left - right) / bend if bend < 0 else 0.0
        return float((at + min(max(off, -1.0), 1.0)) * self.bin_hz)

    def near(self, tone_hz: float) -> float | None:
        """The line at a stated tone, or None."""
        ratio = ratio_of_cents(SEARCHED_CENTS)
        room_hz = 2 * self.bin_hz  # so that a line beside it is not taken by its flank
        found = self.strongest_hz(tone_hz / ratio - room_hz, tone_hz * ratio + room_hz)
        if found is None or not 1 / ratio <= found / tone_hz <= ratio:
            return None
        return found

    def noise_about(self, line_hz: float) -> float:
        """The density about a line: a median, so other lines do not matter."""
        places = np.arange(self.density.size)
        off = np.abs(places - line_hz / self.bin_hz)
        about = self.density[(off > _LOBE + 1) & (off <= _ABOUT) & (places > _LOBE)]
        if about.size < _FEWEST_ABOUT:
            about = self.density[_LOBE:]
        # The mean of K windows follows a gamma distribution, whose median is below its mean.
        median_of_mean = float(gammaincinv(self.averages, 0.5)) / self.averages
        return max(float(np.median(about)) / median_of_mean, _LEAST_DENSITY)

    def line_power(self, line_hz: float) -> float:
        """The power within the lobe about a line."""
        return float(np.sum(self.density[self._lobe(line_hz)])) * self.bin_hz

    def harmonics_hz(self, tone_hz: float) -> list[float]:
        """From the second on, as far as the spectrum goes."""
        top_hz = (self.density.size - 1 - _LOBE) * self.bin_hz
        return [k * tone_hz for k in range(2, HARMONICS + 1) if k * tone_hz < top_hz]

    def hum_power(self, tone_hz: float) -> float:
        """Of the stronger of the two mains families, off the tone and its harmonics."""
        taken = [tone_hz, *self.harmonics_hz(tone_hz)]
        return max(
            sum(self.line_power(each) for each in self._clear_of(family, taken))
            for family in HUM_FAMILIES_HZ
        )

    def noise_power(self, tone_hz: float) -> float:
        """Of all that is neither tone, harmonics, hum nor offset; filled in under these."""
        noise = np.ones(self.density.size, dtype=bool)
        noise[: _LOBE + 1] = False
        hum = [family * k for family in HUM_FAMILIES_HZ for k in range(1, HUM_LINES + 1)]
        for line_hz in [tone_hz, *self.harmonics_hz(tone_hz), *hum]:
            noise[self._lobe(line_hz)] = False
        whole = self.density.size * self.bin_hz
        return max(float(np.mean(self.density[noise])), _LEAST_DENSITY) * whole

    def _clear_of(self, family_hz: float, taken_hz: Iterable[float]) -> list[float]:
        lines = [family_hz * k for k in range(1, HUM_LINES + 1)]
        apart_hz = (2 * _LOBE + 1) * self.bin_hz
        taken = list(taken_hz)
        return [
            each
            for each in lines
            if all(abs(each - other) > apart_hz for other in taken)
            and each < (self.density.size - _LOBE) * self.bin_hz
        ]

    def _lobe(self, line_hz: float) -> slice:
        at = round(line_hz / self.bin_hz)
        return slice(max(0, at - _LOBE), at + _LOBE + 1)


def spectrum_of(samples: Real, rate_hz: float) -> ToneSpectrum:
    """Of samples (n,), in windows of a second (or of all there is) with half overlap."""
    size = min(samples.size, round(_WINDOW_S * rate_hz))
    window = ("kaiser", _KAISER_BETA)
    frequencies, density = welch(samples, rate_hz, window, size, detrend="constant")
    averages = max(1, 2 * samples.size // size - 1)
    return ToneSpectrum(np.asarray(density, dtype=np.float64), float(frequencies[1]), averages)


def flat_top_share(samples: Real, amplitude: float, below: float, times: float) -> float:
    """The share of samples (n,) on a flat top or bottom; 0 where a sine would have as many.

    ``amplitude`` is that of the fundamental. A side is flat where it stays lower than ``below``
    times that, and has ``times`` as many samples within a thousandth of its top as a sine.
    """
    centred = samples - np.median(samples)
    of_sine = math.acos(0.999) / math.pi
    total = 0.0
    for side in (centred, -centred):
        top = float(np.max(side))
        share = float(np.mean(side >= 0.999 * top))
        if top < below * amplitude and share > times * of_sine:
            total += share
    return total
