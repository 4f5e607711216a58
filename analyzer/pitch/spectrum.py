"""One transform of the note, from which every band is cut.

The note is transformed once. A lower-rate copy for the guide and the complex envelope of each
partial are then short inverse transforms of a slice of the spectrum: linear phase, flat noise
inside the band, and no filter to design. The long transforms are in single precision, whose
rounding lies some 140 dB below the note, and which takes half the time of double.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import fft

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]
Single = NDArray[np.float32]

_FADE_S = 0.02
_EDGE_SHARE = 0.1  # of a lowered note's spectrum
BAND_COLOUR = 8 / 3  # noise density in the middle of a band against its mean over the band
_LEVELS_FROM_S = 0.08  # after the onset, past the pick's own noise
_LEVELS_S = 1.2
_LEVELS_TOP_HZ = 11_000.0
_FASTEST_PACE = 1.13  # of a note's own clock


@dataclass(frozen=True)
class NoteSpectrum:
    """The spectrum of a note's samples. Times count from the first sample.

    ``bins`` are those of a real transform of ``size`` samples at ``rate_hz``.
    """

    bins: NDArray[np.complex64]
    size: int
    rate_hz: float
    duration_s: float
    onset_s: float

    @property
    def bin_hz(self) -> float:
        return self.rate_hz / self.size

    def lowered(self, rate_hz: float) -> tuple[Single, float]:
        """The note at a lower sample rate: samples, and the rate that came of it, Hz."""
        wanted = 2 * fft.next_fast_len(round(rate_hz / self.bin_hz / 2), real=True)
        size = min(self.size, wanted)
        kept = self.bins[: size // 2 + 1].copy()
        edge = _edge(round(_EDGE_SHARE * kept.size))
        kept[kept.size - edge.size :] *= edge
        out_rate_hz = size * self.bin_hz
        samples = fft.irfft(kept, size)
        samples *= size / self.size
        return samples[: round(self.duration_s * out_rate_hz)], out_rate_hz

    def at_pace(self, pace: float) -> NoteSpectrum:
        """The same note on a clock that runs ``pace`` times as fast."""
        return replace(
            self,
            rate_hz=self.rate_hz / pace,
            duration_s=self.duration_s * pace,
            onset_s=self.onset_s * pace,
        )

    def envelopes(self, centres_hz: Real, half_hz: float) -> tuple[Complex, Real, Real]:
        """The complex envelopes of bands about ``centres_hz``, at a rate of their full width.

        Returns the envelopes, shape (bands, samples), whose magnitude is the amplitude of the
        partial; the exact frequency that each is taken against, Hz; and their times from the onset.
        """
        cut, middle, half = self._cut(centres_hz, half_hz)
        step_s = 0.5 / half_hz
        before = int(self.onset_s / step_s)
        after = int((self.duration_s - self.onset_s) / step_s)
        times_s = np.asarray(step_s * np.arange(-before, after), dtype=np.float64)
        turn = 2 * np.pi * self.bin_hz
        first_s = self.onset_s + times_s[0]
        turned = turned_sums(cut, turn * first_s, turn * step_s, times_s.size)
        values = turned * np.exp(-1j * turn * half * (self.onset_s + times_s))
        return np.asarray(values), np.asarray(middle * self.bin_hz, dtype=np.float64), times_s

    def strongest(self, centres_hz: Real, half_hz: float, count: int) -> NDArray[np.int_]:
        """Which bands of ``envelopes`` hold the most energy, the most first; (count,) or fewer."""
        cut, _, _ = self._cut(centres_hz, half_hz)
        return np.argsort(-np.sum(cut.real**2 + cut.imag**2, axis=1))[:count]

    def _cut(self, centres_hz: Real, half_hz: float) -> tuple[Complex, NDArray[np.int_], int]:
        """The bins of bands, (bands, 2 half + 1), which is in the middle of each, and half."""
        middle = np.round(centres_hz / self.bin_hz).astype(int)
        half = int(half_hz / self.bin_hz)
        offsets = np.arange(-half, half + 1)
        index = middle[:, None] + offsets
        inside = (index >= 0) & (index < self.bins.size)
        cut = np.where(inside, self.bins[np.minimum(np.maximum(index, 0), self.bins.size - 1)], 0)
        from_centre_hz = (middle * self.bin_hz - centres_hz)[:, None] + offsets * self.bin_hz
        passed = band_response(from_centre_hz / half_hz) * (2 / self.size)
        return np.asarray(cut * passed, dtype=np.complex128), middle, half


@dataclass(frozen=True)
class LowNote:
    """A note's samples, (n,), at the lowest rate that holds all its lines on any clock."""

    samples: Single
    rate_hz: float
    onset_s: float


@dataclass(frozen=True)
class LineSpectrum:
    """Level of the loud part of the note at each bin, dB. ``level_db`` has shape (bins,)."""

    level_db: Real
    bin_hz: float

    def floor_db(self, at_hz: Real, spacing_hz: float) -> Real:
        """Median level within half a spacing to either side of each frequency, dB."""
        half = max(4, round(0.5 * spacing_hz / self.bin_hz))
        last = self.level_db.size - 1
        around = np.round(at_hz / self.bin_hz).astype(int)[:, None] + np.arange(-half, half + 1)
        levels = self.level_db[np.minimum(np.maximum(around, 0), last)]
        return np.asarray(np.partition(levels, half, axis=1)[:, half])  # odd: one in the middle


def note_spectrum(samples: Real, rate_hz: float, onset_s: float) -> NoteSpectrum:
    """Transform a note, shape (n,), with its end faded so that the cut does not splash."""
    count = samples.size
    size = 2 * fft.next_fast_len((count + round(0.1 * rate_hz) + 1) // 2, real=True)
    padded = np.zeros(size, dtype=np.float32)
    np.subtract(samples, np.mean(samples), out=padded[:count], casting="same_kind")
    fade = min(round(_FADE_S * rate_hz), count // 4)
    padded[count - fade : count] *= 0.5 + 0.5 * np.cos(np.pi * np.arange(fade) / fade)
    return NoteSpectrum(fft.rfft(padded), size, rate_hz, count / rate_hz, onset_s)


def low_note(spectrum: NoteSpectrum) -> LowNote:
    """The samples that lines are looked for in."""
    rate_hz = min(spectrum.rate_hz, 2 * _LEVELS_TOP_HZ * _FASTEST_PACE)
    return LowNote(*spectrum.lowered(rate_hz), spectrum.onset_s)


def line_spectrum(note: LowNote, not_before_s: float = 0.0, pace: float = 1.0) -> LineSpectrum:
    """The spectrum in which lines are looked for: from 0.08 s after the onset, 1.2 s long.

    It begins later, at ``not_before_s`` of the recording's time, where what comes before cannot be
    trusted. All else is on a clock that runs ``pace`` times as fast.
    """
    rate_hz = note.rate_hz / pace
    latest_s = note.samples.size / rate_hz - 0.5 * _LEVELS_S
    begin_s = max(pace * note.onset_s + _LEVELS_FROM_S, min(pace * not_before_s, latest_s))
    start = round(begin_s * rate_hz)
    part = note.samples[start : start + round(_LEVELS_S * rate_hz)]
    size = fft.next_fast_len(2 * part.size, real=True)
    bin_hz = rate_hz / size
    magnitude = np.abs(fft.rfft(part * _hann(part.size), size)[: round(_LEVELS_TOP_HZ / bin_hz)])
    level_db = 20 * np.log10(magnitude + np.float32(1e-12))
    return LineSpectrum(level_db.astype(np.float64), bin_hz)


@lru_cache(maxsize=4)
def _hann(size: int) -> Single:
    """A Hann window, which is as long for every note at one sample rate."""
    return np.hanning(size).astype(np.float32)


def turned_sums(values: Real | Complex, first: float, step: float, count: int) -> Complex:
    """Sums over n of ``values`` (rows, n) times e^(i n (first + k step)), k from 0: (rows, count).

    L. Bluestein's chirp transform, by n k = (n^2 + k^2 - (k - n)^2) / 2, as ``scipy.signal.czt``
    has it, whose own checks take as long as the transform.
    """
    length = values.shape[1]
    size = fft.next_fast_len(length + count - 1)
    chirp = np.exp(0.5j * step * np.arange(max(length, count)) ** 2)
    kernel = np.zeros(size, dtype=np.complex128)
    kernel[:count] = chirp[:count].conj()
    kernel[size - length + 1 :] = chirp[length - 1 : 0 : -1].conj()
    spread = fft.fft(values * (chirp[:length] * np.exp(1j * first * np.arange(length))), size)
    turned = fft.ifft(spread * fft.fft(kernel))[:, :count] * chirp[:count]
    return np.asarray(turned, dtype=np.complex128)


def band_response(offset: Real) -> Real:
    """What a band passes of an amplitude, by the distance from its middle over its half-width.

    A raised cosine: its response dies away soonest after an onset.
    """
    return np.asarray(0.5 + 0.5 * np.cos(np.pi * np.minimum(np.maximum(offset, -1), 1)))


def _edge(size: int) -> Single:
    """How a lowered note's highest bins fall away, so that it does not ring."""
    return np.asarray(0.5 + 0.5 * np.cos(np.pi * (np.arange(size) + 1) / size), dtype=np.float32)
