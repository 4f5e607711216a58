"""Where a tone begins and ends, and where samples of it are missing.

Looked at in short windows. What is lost shows in three ways: the amplitude falls, samples stand
still, or the phase jumps, by 2 pi f n / rate for n samples lost. Whole periods that are lost
leave no trace in a steady tone, so n is known but for whole periods.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray
from scipy.ndimage import median_filter
from scipy.signal.windows import hann

from analyzer.lot.station_check.thresholds import (
    BREAK_SDS,
    GAP_SHARE,
    LEAST_SLIP_SAMPLES,
    STUCK_PERIODS,
)
from analyzer.lot.station_check.tone_phase import Complex, Real

_PERIODS, _LEAST_WINDOW_S = 8, 0.01
_SIDE = 8  # windows whose phases are averaged before and after a place
_SOUNDING = 0.1  # of the loud part's amplitude: the tone sounds
_EDGE_S = 0.1  # off either end: buttons, strikes
_LOCAL = 101  # windows about a gap
_MAD_TO_SD = 1.4826  # for normal scatter


@dataclass(frozen=True)
class Break:
    """``lost_samples``: by the phase, but for whole periods of the tone; None for a gap."""

    at_s: float
    lost_samples: float | None


@dataclass(frozen=True)
class ShortWindows:
    """z of the tone in windows half a ``window_s`` apart, turned back by ``at_hz``."""

    z: Complex
    times_s: Real
    window_s: float


def short_windows(samples: Real, rate_hz: float, at_hz: float) -> ShortWindows:
    """The tone at ``at_hz`` in samples (n,), in windows of eight periods or more."""
    half = math.ceil(max(_PERIODS / at_hz, _LEAST_WINDOW_S) * rate_hz / 2)
    size = 2 * half
    window = hann(size, sym=False)
    kernel = window * np.exp(-2j * np.pi * at_hz / rate_hz * np.arange(size)) * 2 / np.sum(window)
    parts = sliding_window_view(samples, size)[::half]
    starts = half * np.arange(len(parts))
    z = (parts @ kernel) * np.exp(-2j * np.pi * at_hz / rate_hz * starts)
    middles_s: Real = np.asarray((starts + size / 2) / rate_hz, dtype=np.float64)
    return ShortWindows(z, middles_s, size / rate_hz)


def sounding_part_s(windows: ShortWindows) -> tuple[float, float]:
    """From when to when the tone sounds, without its ends; equal where it does not."""
    amplitudes = np.abs(windows.z)
    loud = np.flatnonzero(amplitudes > _SOUNDING * np.percentile(amplitudes, 90))
    if not loud.size:
        return 0.0, 0.0
    first_s, last_s = windows.times_s[loud[[0, -1]]]
    start_s, end_s = first_s + _EDGE_S, last_s - _EDGE_S
    return (float(start_s), float(end_s)) if end_s > start_s else (0.0, 0.0)


def find_breaks(samples: Real, rate_hz: float, at_hz: float) -> tuple[Break, ...]:
    """Every break of a tone that sounds throughout, in order; ``at_hz`` within a few hundredths."""
    windows = short_windows(samples, rate_hz, at_hz)
    gaps = [*_gaps(windows), *_stuck(samples, rate_hz, at_hz)]
    apart_s = (_SIDE + 2) * windows.window_s / 2
    found: list[Break] = []
    for each in sorted([*_slips(windows, rate_hz, at_hz), *gaps], key=lambda each: each.at_s):
        if found and each.at_s - found[-1].at_s < apart_s:
            # One break seen twice: what stands still says where, the phase says how much.
            lost = found[-1].lost_samples if each.lost_samples is None else each.lost_samples
            found[-1] = Break(found[-1].at_s, lost)
        else:
            found.append(each)
    return tuple(found)


def _gaps(windows: ShortWindows) -> Iterator[Break]:
    amplitudes = np.abs(windows.z)
    about = median_filter(amplitudes, min(_LOCAL, amplitudes.size), mode="nearest")
    for first, last in _runs(amplitudes < GAP_SHARE * about):
        yield Break(float(windows.times_s[(first + last) // 2]), None)


def _stuck(samples: Real, rate_hz: float, at_hz: float) -> Iterator[Break]:
    """Runs of samples that are alike for longer than any part of a sine."""
    least = max(4, math.ceil(STUCK_PERIODS * rate_hz / at_hz))
    for first, last in _runs(np.diff(samples) == 0):
        if last - first + 1 >= least:
            yield Break((first + last + 1) / 2 / rate_hz, None)


def _slips(windows: ShortWindows, rate_hz: float, at_hz: float) -> Iterator[Break]:
    """Places where the mean phase after is not that before."""
    steps = np.angle(windows.z[1:] * np.conj(windows.z[:-1]))
    slope = float(np.median(steps))
    turned = windows.z * np.exp(-1j * slope * np.arange(windows.z.size))
    jumps = _jumps(turned / np.maximum(np.abs(turned), 1e-30))
    if not jumps.size:
        return
    middle = float(np.median(jumps))
    scatter = _MAD_TO_SD * float(np.median(np.abs(jumps - middle)))
    per_sample = 2 * math.pi * at_hz / rate_hz
    least = max(BREAK_SDS * scatter, LEAST_SLIP_SAMPLES * per_sample)
    for first, last in _runs(np.abs(jumps - middle) > least, _SIDE + 2):
        # The window in the middle of those whose mean phases differ is the one that jumps.
        at = first + int(np.argmax(np.abs(jumps[first : last + 1])))
        yield Break(float(windows.times_s[at + _SIDE]), float(jumps[at]) / per_sample)


def _jumps(unit: Complex) -> Real:
    """Mean phase of the windows after a window and its neighbours, less that of those before."""
    if unit.size < 2 * _SIDE + 1:
        return np.zeros(0)
    sums = np.concatenate([[0], np.cumsum(unit)])
    means = sums[_SIDE:] - sums[:-_SIDE]
    return np.asarray(np.angle(means[_SIDE + 1 :] * np.conj(means[: -_SIDE - 1])))


def _runs(mask: NDArray[np.bool_], apart: int = 1) -> Iterator[tuple[int, int]]:
    """First and last place of each run; places up to ``apart`` from each other are one."""
    places = np.flatnonzero(mask)
    if places.size:
        for run in np.split(places, np.flatnonzero(np.diff(places) > apart) + 1):
            yield int(run[0]), int(run[-1])
