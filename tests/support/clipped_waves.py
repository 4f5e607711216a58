"""A short clipped note of four partials whose phases, decays and glide are known, in frames."""

from __future__ import annotations

import numpy as np

from analyzer.pitch.between_tops import Fitting
from analyzer.pitch.partials import stretched
from analyzer.pitch.true_samples import Frames, Seen, in_frames
from analyzer.pitch.waves import Waves

RATE_HZ, ONSET_S, F1_HZ, STIFFNESS = 8000.0, 0.05, 196.0, 2e-4
FOLLOWED = 3
NUMBERS = np.array([1.0, 2.0, 3.0, 4.0, 0.0])  # the last is the recorder's offset
OMEGA = np.append(2 * np.pi * stretched(NUMBERS[:4], F1_HZ, STIFFNESS), 0.0)
LEVEL = np.array([-0.5, -1.2, -1.6, -2.5, -12.0])
SLOPE = np.array([-1.0, -1.6, -2.2, -3.0, 0.0])
STARTS = np.array([0.4, -1.0, 2.0, 1.2])
GLIDE, TAU_S = 3e-3, 0.2  # relative sharpness at the onset, 5 cents


def integral(t, glide: float = GLIDE):
    """Of the glide's course from the onset, s."""
    return glide * TAU_S * (1 - np.exp(-t / TAU_S))


def note(glide: float = 0.0, seconds: float = 1.0, noise: float = 1e-5):
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ - ONSET_S
    sizes = np.exp(LEVEL[:4, None] + SLOPE[:4, None] * t)
    waves = sizes * np.cos(STARTS[:, None] + OMEGA[:4, None] * (t + integral(t, glide)))
    noise_there = noise * np.random.default_rng(1).normal(size=t.size)
    return np.where(t >= 0, np.sum(waves, axis=0), 0.0) + noise_there


def in_its_frames(samples) -> Frames:
    return in_frames(samples, RATE_HZ, ONSET_S, F1_HZ, float(OMEGA[3] / (2 * np.pi)))


def free_frames(glide: float = 0.0) -> Frames:
    """Two spikes before the first frame, so that all of the note lies between the tops."""
    samples = note(glide)
    samples[:2] = 10.0, -10.0
    return in_its_frames(samples)


TIMES_S = free_frames().times_s


def phases_of(glide: float = 0.0, off: float = 0.0):
    """Of the followed, against centres ``off`` (relative) beside where they settle."""
    omega = OMEGA[:FOLLOWED, None]
    turned = omega * (integral(TIMES_S, glide) - off * TIMES_S)
    return STARTS[:FOLLOWED, None] + turned


def believed(*, course=None, phases=None, off=0.0, level=LEVEL, slope=SLOPE) -> Waves:
    return Waves(
        NUMBERS,
        OMEGA.copy(),
        OMEGA[:FOLLOWED] * (1 + off),
        phases_of() if phases is None else phases,
        np.zeros((FOLLOWED, TIMES_S.size)),
        level.copy(),
        slope.copy(),
        np.zeros(TIMES_S.size) if course is None else course,
        TIMES_S,
    )


def fitting_of(waves: Waves | None = None, frames: Frames | None = None) -> Fitting:
    waves = believed() if waves is None else waves
    frames = free_frames() if frames is None else frames
    return Fitting(frames, waves, np.ones(waves.followed), np.zeros(waves.followed))


def all_seen(fitting: Fitting, information, score, bump=0.0) -> list[Seen]:
    """The same said by every frame, of amplitudes e^``bump`` over the expected ones."""
    expected = fitting.waves.expected()
    gains = np.zeros(expected.shape)
    gains[:FOLLOWED] += bump
    amplitudes = (expected * np.exp(gains)).T
    return [Seen(information, score, each, 1e-14) for each in amplitudes]
