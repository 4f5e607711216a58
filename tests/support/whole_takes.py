"""Long takes whose truth is known: plucks one after another, strings that ring on, spoken words.

Words come from two sources: the speech synthesiser in Praat (through praat-parselmouth), and pulses
of a gliding pitch through two moving formants (the source-filter model of speech, G. Fant 1960;
formants and pitches are from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import numpy as np
import parselmouth
import soundfile
from pluck_model import PluckModel, pluck
from scipy import signal

RATE_HZ = 44_100
RINGING_DB = -30.0
_DAMPED_IN_S = 0.02
WORDS = ("string six, open", "now the twelfth fret", "next", "okay", "once more", "um, and again")
VOICES = ("Female1", "Male1", "Male3", "Female4")
_VOWELS_HZ = ((700, 1150), (300, 2200), (500, 1800), (320, 800), (600, 1000))


@dataclass(frozen=True)
class Played:
    """A pluck in a take: what, when, and how long until its string is damped.

    ``seed`` is that of its phases and the scatter of its partials: it sounds the same elsewhere.
    """

    string: int
    fret: str
    model: PluckModel
    start_s: float
    rings_s: float
    seed: int


@dataclass
class WholeTake:
    """The samples of a take, and what was played in it."""

    samples: np.ndarray
    played: list[Played]
    words_s: list[float] = field(default_factory=list)


@cache
def spoken_words() -> tuple[np.ndarray, ...]:
    """Each of the words by each of Praat's voices, at ``RATE_HZ``, peak 1."""
    found = []
    for voice in VOICES:
        speaker = parselmouth.praat.call(
            "Create SpeechSynthesizer", "English (Great Britain)", voice
        )
        for text in WORDS:
            (sound,) = parselmouth.praat.call(speaker, "To Sound", text, "no")
            samples = sound.resample(RATE_HZ).values[0]
            found.append(samples / np.max(np.abs(samples)))
    return tuple(found)


def spoken_word(rng: np.random.Generator, duration_s: float, rate_hz: int = RATE_HZ) -> np.ndarray:
    """Two or three syllables, peak 1."""
    t_s = np.arange(round(duration_s * rate_hz)) / rate_hz
    low_hz = rng.uniform(90, 210)
    run = np.cumsum(rng.normal(0, 1, 4))
    semitones = np.interp(t_s / duration_s, np.linspace(0, 1, 4), 4 * (run - run[0]) / 2)
    semitones += rng.choice([-6, 5]) * t_s / duration_s
    phase = np.cumsum(low_hz * 2 ** (semitones / 12)) / rate_hz
    source = np.diff(np.floor(phase), prepend=0.0) + 0.01 * rng.standard_normal(t_s.size)
    vowels = np.array(_VOWELS_HZ)[rng.permutation(len(_VOWELS_HZ))[:3]]
    out = np.zeros_like(t_s)
    pieces = np.array_split(np.arange(t_s.size), 12)
    for number in range(2):
        state = np.zeros(2)
        for piece in pieces:
            centre = np.interp(piece[0] / t_s.size, np.linspace(0, 1, 3), vowels[:, number])
            b, a = signal.iirpeak(centre, 8, fs=rate_hz)
            part, state = signal.lfilter(b, a, source[piece], zi=state)
            out[piece] += part
    syllables = 0.15 + np.abs(np.sin(np.pi * (2 + rng.integers(0, 2)) * t_s / duration_s))
    out *= syllables * np.sin(np.pi * np.clip(t_s / duration_s, 0, 1)) ** 0.5
    return out / np.max(np.abs(out))


def whole_take(
    plan: Sequence[tuple[int, str, PluckModel]],
    rng: np.random.Generator,
    *,
    gaps_s: tuple[float, float] = (0.3, 2.0),
    rings_s: tuple[float, float] = (1.8, 3.0),
    ringing_db: float | None = RINGING_DB,
    words_every: int = 6,
    words: Sequence[np.ndarray] = (),
    noise_db: float = -60.0,
    peak: float = 0.4,
) -> WholeTake:
    """Play the plan with gaps between the notes, and a word in about every sixth of the gaps.

    Each string is damped down to ``ringing_db`` below the next pluck and rings on under it; one
    that is played again itself is stopped by that. ``words`` are spoken ones to use in place of
    made ones.
    """
    now_s, played, spoken = 0.4, [], []
    for index, (string, fret, model) in enumerate(plan):
        length_s = rng.uniform(*rings_s)
        played.append(Played(string, fret, model, now_s, length_s, int(rng.integers(2**31))))
        now_s += length_s + rng.uniform(*gaps_s)
        if words_every and index % words_every == words_every // 2:
            word = spoken_word(rng, rng.uniform(0.4, 0.9))
            if words:
                word = words[rng.integers(len(words))]
            spoken.append((now_s, word))
            now_s += word.size / RATE_HZ + rng.uniform(0.3, 0.6)
    out = rng.normal(0, peak * 10 ** (noise_db / 20), round((now_s + 1) * RATE_HZ))
    for index, each in enumerate(played):
        after = played[index + 1] if index + 1 < len(played) else None
        _add(out, peak * _rendered(each, after, ringing_db), each.start_s)
    for start_s, word in spoken:
        _add(out, 0.25 * peak * word, start_s)
    return WholeTake(out, played, [start_s for start_s, _ in spoken])


def alone(each: Played, rng: np.random.Generator, peak: float = 0.4) -> np.ndarray:
    """The same pluck in a file of its own: silence, the note, noise."""
    out = rng.normal(0, peak * 1e-3, round((each.rings_s + 0.5) * RATE_HZ))
    _add(out, peak * _rendered(each, None, None), 0.25)
    return out


def joined(
    notes: Sequence[np.ndarray],
    rng: np.random.Generator,
    *,
    rings_s: tuple[float, float] = (2.0, 3.0),
    ringing_db: float = RINGING_DB,
    noise_db: float = -50.0,
) -> tuple[np.ndarray, list[np.ndarray], list[float]]:
    """Recorded notes one after another, words between: the take, each note alone, when it begins.

    Each is damped as in ``whole_take``, and alone it is cut where it is damped. The noise is that
    of a made room: its power falls with the square of the frequency above 200 Hz.
    """
    words, now_s = spoken_words(), 0.5
    total_s = 6.0 * len(notes) + 4.0
    out, singly, starts_s = np.zeros(round(total_s * RATE_HZ)), [], []
    for number, recorded in enumerate(notes):
        note = 0.4 * recorded / np.max(np.abs(recorded))
        rings = round(rng.uniform(*rings_s) * RATE_HZ)
        _add(out, _damped(note, rings, ringing_db), now_s)
        singly.append(
            np.pad(_damped(note[: rings + RATE_HZ // 10], rings, None), (RATE_HZ // 4, 0))
        )
        starts_s.append(now_s)
        now_s += rings / RATE_HZ + rng.uniform(0.3, 2.0)
        if number % 3 == 1:
            word = words[rng.integers(len(words))]
            _add(out, 0.1 * word, now_s)
            now_s += word.size / RATE_HZ + rng.uniform(0.3, 0.6)
    out = out[: round((now_s + 1.0) * RATE_HZ)]
    return out + _room_noise(rng, out.size, 0.4 * 10 ** (noise_db / 20)), singly, starts_s


def _room_noise(rng: np.random.Generator, size: int, level: float) -> np.ndarray:
    b, a = signal.butter(1, 200, fs=RATE_HZ)
    noise = signal.lfilter(b, a, rng.standard_normal(size))
    return level * noise / np.sqrt(np.mean(noise**2))


def _damped(note: np.ndarray, rings: int, ringing_db: float | None) -> np.ndarray:
    """A recorded note that goes down, or on, at ``ringing_db`` below its start; None: silence."""
    loud = np.sqrt(np.mean(note[: RATE_HZ // 4] ** 2))
    later = np.sqrt(np.mean(note[rings : rings + RATE_HZ // 4] ** 2))
    rest = 0.0 if ringing_db is None else min(1.0, 10 ** (ringing_db / 20) * loud / later)
    level = np.full(note.size, rest)
    level[:rings] = 1.0
    fade = np.linspace(1, rest, round(_DAMPED_IN_S * RATE_HZ))
    level[rings : rings + fade.size] = fade[: max(0, note.size - rings)]
    return note * level


def _rendered(each: Played, after: Played | None, ringing_db: float | None) -> np.ndarray:
    rings_on = after is not None and after.string != each.string and ringing_db is not None
    total_s = each.rings_s + (
        4.0 + after.start_s - each.start_s - each.rings_s if rings_on else 0.1
    )
    note = pluck(each.model, total_s, RATE_HZ, np.random.default_rng(each.seed))
    damped = round(each.rings_s * RATE_HZ)
    level = np.ones(note.size)
    rest = 0.0
    if rings_on:
        begin = round((after.start_s - each.start_s) * RATE_HZ)
        loud = np.sqrt(np.mean(note[: RATE_HZ // 4] ** 2))
        later = np.sqrt(np.mean(note[begin : begin + RATE_HZ // 4] ** 2))
        rest = min(1.0, 10 ** (ringing_db / 20) * loud / later)
    fade = np.linspace(0, 1, round(_DAMPED_IN_S * RATE_HZ))
    level[damped:] = rest
    level[damped : damped + fade.size] = 1 + (rest - 1) * fade[: level.size - damped]
    return note * level


def _add(out: np.ndarray, part: np.ndarray, start_s: float) -> None:
    first = round(start_s * RATE_HZ)
    part = part[: max(0, out.size - first)]
    out[first : first + part.size] += part


def plan_of(made, repeats: int) -> list[tuple[int, str, PluckModel]]:
    """String by string, open then 12th fret, each so often."""
    return [
        (string, fret, made.models[string, fret])
        for string in made.instrument.strings
        for fret in ("open", "f12")
        for _ in range(repeats)
    ]


def written(path: Path, samples: np.ndarray, rate_hz: int = RATE_HZ) -> Path:
    soundfile.write(path, samples, rate_hz, subtype="PCM_24")
    return path
