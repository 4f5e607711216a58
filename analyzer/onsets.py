"""Where something is struck: a sudden rise over many bands of the spectrum at once.

The level alone does not tell: a string plucked again, or another plucked while the first rings
on, may be no louder than what sounds already. But what has rung for a while has lost its high
partials and a new pluck brings them back, so the rise is looked for in each band on its own
(spectral flux; J. P. Bello et al., IEEE Trans. Speech Audio Process. 13, 1035, 2005; recalled).
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import fft, ndimage

from analyzer.compiled import compiled_librosa
from analyzer.recording.reading import Recording

Real = NDArray[np.float64]
Single = NDArray[np.float32]

HOP_S = 0.02
# Mean rise over the bands from which on it is a pluck. Once struck, the 54 real notes of the tests
# rise by 0.5 at most, synthetic ones in noise by 0.7; plucks half a second and more apart rise
# by 2.8 and more in noise 22 dB down, by 4.8 without it (a choice between).
ONSET_DB = 2.5
ONSETS_APART_S = 0.12
_WINDOW_S = 0.046
_BANDS = 32
_LOWEST_HZ, _HIGHEST_HZ = 80.0, 8000.0
_ENOUGH_HZ = 20_000.0  # sample rate
_HEARD_DB = 60.0  # what lies further below the loudest is taken for silence
_MOST_DB = 20.0  # of one band: a rise out of silence is no more of a pluck than this
_BLOCK_S = 20.0  # so much is in memory at a time
_FRAMES_AT_ONCE = 32  # what they take stays in the cache
_BEFORE_FRAMES = (2, 5)  # a frame is held against the loudest of these before it


def onsets_between(
    recording: Recording, channel: int, start_s: float, end_s: float, loudest_db: float
) -> Real:
    """Times in a recording at which something is struck, seconds, shape (onsets,), in order.

    ``loudest_db`` is the highest level of the recording, dB of full scale.
    """
    strengths = [np.zeros(0)]
    hops_before = _BEFORE_FRAMES[1] + 3
    for first in range(round(start_s / HOP_S), round(end_s / HOP_S), round(_BLOCK_S / HOP_S)):
        last = min(first + round(_BLOCK_S / HOP_S), round(end_s / HOP_S))
        lead = min(hops_before, first - round(start_s / HOP_S))
        begin_s = (first - lead) * HOP_S
        samples = recording.excerpt(begin_s, last * HOP_S + _WINDOW_S, channel)
        strength = onset_strength_db(samples, recording.rate_hz, loudest_db)
        strengths.append(strength[lead : lead + last - first])
    return start_s + onset_times_s(np.concatenate(strengths))


def onset_strength_db(samples: Real, rate_hz: float, loudest_db: float) -> Real:
    """How far the bands rise, on average, every ``HOP_S``; shape (frames,), dB.

    ``loudest_db`` is the highest level of the recording, dB of full scale.
    """
    fewer, rate_hz = _at_enough_hz(samples, rate_hz)
    size = fft.next_fast_len(round(_WINDOW_S * rate_hz), real=True)
    window, bands = _filters(size, rate_hz)
    # Silence is set before it, so that a note that a file begins with is one; none is set behind
    # it, for the end of a file that breaks off would pass for another.
    padded = np.concatenate([np.zeros(size // 2, np.float32), fewer])
    if padded.size < size:
        return np.zeros(0)
    power = _band_power(padded, round(HOP_S * rate_hz), window, bands)
    level_db = 10 * np.log10(np.maximum(power, 10 ** ((loudest_db - _HEARD_DB) / 10)))
    nearest, furthest = _BEFORE_FRAMES
    before = np.concatenate([np.repeat(level_db[:1], furthest, axis=0), level_db[:-nearest]])
    # The maximum over frames furthest to nearest before each, by a filter that looks forward.
    span = furthest - nearest + 1
    highest = ndimage.maximum_filter1d(before, span, axis=0, origin=-(span // 2))
    rise_db = np.clip(level_db - highest[: level_db.shape[0]], 0, _MOST_DB)
    return np.asarray(np.mean(rise_db, axis=1), dtype=np.float64)


def _at_enough_hz(samples: Real, rate_hz: float) -> tuple[Single, float]:
    """Samples (n,) at a lower rate that holds the bands, and that rate, Hz.

    Means over so many samples let some of what lies above the bands through into them. It is
    struck at the same moments, and a level against one before is all that is asked.
    """
    together = max(1, int(rate_hz / _ENOUGH_HZ))
    whole = samples[: samples.size // together * together].astype(np.float32)
    fewer = whole[::together].copy()
    for place in range(1, together):
        fewer += whole[place::together]
    return fewer / np.float32(together), rate_hz / together


def _band_power(samples: Single, hop: int, window: Single, bands: Single) -> Single:
    """Power of a sine in each band, of frames ``hop`` samples apart; (frames, bands)."""
    frames = np.lib.stride_tricks.sliding_window_view(samples, window.size)[::hop]
    power = np.empty((frames.shape[0], bands.shape[0]), np.float32)
    for first in range(0, frames.shape[0], _FRAMES_AT_ONCE):
        some = slice(first, first + _FRAMES_AT_ONCE)
        lines = fft.rfft(frames[some] * window)[:, : bands.shape[1]]
        power[some] = (lines.real**2 + lines.imag**2) @ bands.T
    power *= (2 / np.sum(window)) ** 2
    return power


@lru_cache(maxsize=4)
def _filters(size: int, rate_hz: float) -> tuple[Single, Single]:
    """The frame's window, shape (size,), and the bands, (bands, bins up to the highest)."""
    librosa = compiled_librosa()

    top_hz = min(_HIGHEST_HZ, 0.45 * rate_hz)
    bands = librosa.filters.mel(
        sr=rate_hz, n_fft=size, n_mels=_BANDS, fmin=_LOWEST_HZ, fmax=top_hz, norm=None
    )
    highest = int(np.flatnonzero(np.any(bands, axis=0))[-1])
    return np.hanning(size).astype(np.float32), np.ascontiguousarray(bands[:, : highest + 1])


def onset_times_s(strength_db: Real) -> Real:
    """Times of the onsets in a course of strengths, seconds from its start; shape (onsets,)."""
    padded = np.concatenate([[0.0], strength_db, [0.0]])  # the first frame may be a peak, too
    apart = round(ONSETS_APART_S / HOP_S)
    from scipy.signal import find_peaks  # takes a third of a second, also where nothing is heard

    peaks, _ = find_peaks(padded, height=ONSET_DB, distance=apart)
    return np.asarray((peaks - 1) * HOP_S, dtype=np.float64)
