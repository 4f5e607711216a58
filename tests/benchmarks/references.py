"""Pitch trackers of general-purpose libraries, each as its documentation recommends for one note.

Each is told which note it is and where it begins, and looks in a band about that. Its figure is the
median of its frames from 1.0 s to 2.0 s after the onset: of the parts tried (from 0.3, 0.6, 1.0 and
1.5 s on) the best one for the references as a whole at 55 and 22 dB, after the glide and before the
noise. Frames come every 10 ms, or a quarter of a frame. What the documentation does not settle was
tried on plucks other than the benchmark's, and the best kept: frames of 16 periods for YIN on the
whole sound and 64 on the first partial, of 8 and 32 for pYIN. *First partial*: a band-pass about it
goes before (Butterworth, fourth order to either side, forwards and backwards), since the others
pull a tracker up.
"""

from __future__ import annotations

import importlib.util
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import signal

PART_S = (1.0, 2.0)  # after the onset
_STEP_S = 0.01

Frames = tuple[np.ndarray, np.ndarray]  # times, s, and frequencies, Hz; 0 or NaN where unvoiced


@dataclass(frozen=True)
class Take:
    """A recorded pluck, (n,), and what a reference is told of it."""

    samples: np.ndarray
    rate_hz: int
    note_hz: float
    onset_s: float


@dataclass(frozen=True)
class Reference:
    """A tracker: the package that it needs, and how it is used."""

    name: str
    package: str
    setting: str
    track: Callable[[Take], Frames]

    @property
    def missing(self) -> bool:
        return importlib.util.find_spec(self.package) is None

    def pitch_hz(self, take: Take) -> float:
        """The median of the frames of the steady part; NaN where there are none."""
        times_s, hz = self.track(take)
        since_s = times_s - take.onset_s
        inside = (since_s >= PART_S[0]) & (since_s < PART_S[1]) & np.isfinite(hz) & (hz > 0)
        return float(np.median(hz[inside])) if np.any(inside) else np.nan


def first_partial(track: Callable[[Take], Frames]) -> Callable[[Take], Frames]:
    """The same tracker after a band-pass about the first partial."""

    def filtered(take: Take) -> Frames:
        band = 0.6 * take.note_hz, 1.4 * take.note_hz
        filters = signal.butter(4, band, "bandpass", fs=take.rate_hz, output="sos")
        samples = np.ascontiguousarray(signal.sosfiltfilt(filters, take.samples))
        return track(Take(samples, take.rate_hz, take.note_hz, take.onset_s))

    return filtered


def _frame(take: Take, periods: int) -> tuple[int, int]:
    """Samples of a frame of so many periods, and from one frame to the next."""
    frame = int(2 ** np.ceil(np.log2(periods * take.rate_hz / take.note_hz)))
    return frame, max(frame // 4, round(_STEP_S * take.rate_hz))


def yin(periods: int) -> Callable[[Take], Frames]:
    def track(take: Take) -> Frames:
        import librosa

        frame, hop = _frame(take, periods)
        hz = librosa.yin(
            take.samples,
            fmin=take.note_hz * 2 ** (-3 / 12),
            fmax=take.note_hz * 2 ** (3 / 12),
            sr=take.rate_hz,
            frame_length=frame,
            hop_length=hop,
        )
        return np.arange(hz.size) * hop / take.rate_hz, hz

    return track


def pyin(periods: int) -> Callable[[Take], Frames]:
    def track(take: Take) -> Frames:
        import librosa

        frame, hop = _frame(take, periods)
        hz, _, _ = librosa.pyin(
            take.samples,
            fmin=take.note_hz * 2 ** (-1 / 12),
            fmax=take.note_hz * 2 ** (1 / 12),
            sr=take.rate_hz,
            frame_length=frame,
            hop_length=hop,
            resolution=0.01,  # "0.01 corresponds to cents"
            # It refuses a step of more bins than its band has; its default is 35.92.
            max_transition_rate=min(35.92, 0.9 / 12 * take.rate_hz / hop),
        )
        return np.arange(hz.size) * hop / take.rate_hz, hz

    return track


def praat(method: str) -> Callable[[Take], Frames]:
    def track(take: Take) -> Frames:
        import parselmouth

        sound = parselmouth.Sound(take.samples, take.rate_hz)
        pitch = getattr(sound, f"to_pitch_{method}")(
            _STEP_S, 0.75 * take.note_hz, 15, very_accurate=True, pitch_ceiling=1.5 * take.note_hz
        )
        return pitch.xs(), pitch.selected_array["frequency"]

    return track


def world(method: str, octaves: float, *, refined: bool) -> Callable[[Take], Frames]:
    def track(take: Take) -> Frames:
        import pyworld

        hz, times_s = getattr(pyworld, method)(
            take.samples,
            take.rate_hz,
            f0_floor=take.note_hz * 2**-octaves,
            f0_ceil=take.note_hz * 2**octaves,
            frame_period=1000 * _STEP_S,
        )
        if refined:
            hz = pyworld.stonemask(take.samples, hz, times_s, take.rate_hz)
        return times_s, hz

    return track


_AC = "very accurate, 0.75 to 1.5 times the note"
REFERENCES = (
    Reference("librosa pYIN", "librosa", "±1 semitone, 1 cent, 8 periods", pyin(8)),
    Reference(
        "librosa pYIN, first partial", "librosa", "the same, 32 periods", first_partial(pyin(32))
    ),
    Reference("librosa YIN", "librosa", "±3 semitones, 16 periods", yin(16)),
    Reference(
        "librosa YIN, first partial", "librosa", "the same, 64 periods", first_partial(yin(64))
    ),
    Reference("Praat autocorrelation", "parselmouth", _AC, praat("ac")),
    Reference(
        "Praat autocorrelation, first partial", "parselmouth", _AC, first_partial(praat("ac"))
    ),
    Reference("Praat cross-correlation", "parselmouth", _AC, praat("cc")),
    Reference(
        "WORLD Harvest, StoneMask", "pyworld", "±3 semitones", world("harvest", 0.25, refined=True)
    ),
    Reference("WORLD DIO", "pyworld", "±6 semitones", world("dio", 0.5, refined=False)),
    Reference(
        "WORLD DIO, first partial",
        "pyworld",
        "±6 semitones",
        first_partial(world("dio", 0.5, refined=False)),
    ),
)
