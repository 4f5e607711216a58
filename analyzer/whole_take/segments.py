"""The plucks of a long take: between speech, handling noise, other strings' ringing and silence.

Everything that is struck begins a part; it ends where the string is damped, where it has died
away, or where the next thing is struck. A part is a pluck where it begins loud, decays, and holds
one pitch: a spoken word moves by more than a semitone within a few tenths of a second, and a knock
has no pitch at all. Which note it is, the whole measurement says later.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from analyzer.channels import best_channel
from analyzer.compiled import compiled_librosa
from analyzer.onsets import onsets_between
from analyzer.pitch.guide import HIGHEST_HZ, LOWEST_HZ
from analyzer.pitch.spectrum import Real, note_spectrum
from analyzer.plucks import (
    BEFORE_NEXT_S,
    LONGEST_USED_S,
    SHORTEST_NOTE_S,
    SILENT_DBFS,
    Levels,
    Pluck,
    levels_db,
    smoothed_db,
    steepest,
)
from analyzer.recording.reading import Recording

_LOUDEST_PERCENTILE = 99.5  # of the levels: one knock does not set the scale
_AUDIBLE_DB = 35.0  # a part this far below the loudest is no pluck of a string to be measured
_FADED_DB = 38.0  # a note is followed down to this far below its start
_DAMPED_DB, _DAMPED_IN_S = 12.0, 0.1  # a string that loses so much so fast has been damped
_FLOOR_MARGIN_DB = 6.0
_LOOK_FROM_S, _LOOK_S = 0.06, 1.0  # after the onset, past the pick's own noise
_LOOK_RATE_HZ, _LOOK_FRAME, _LOOK_HOP = 16_000.0, 3072, 512
_STEADY_CENTS = 35.0  # a string glides by 15 at most; a word's pitch runs over several semitones
_STEADY_SHARE = 0.75  # of the looks: some of a sound note's fall an octave or two away
_OTHER_DB = 20.0  # what is no pluck is counted when it is this near the loudest


@dataclass(frozen=True)
class Plucks:
    """What was found: the plucks in order of time, and how much else was loud but no pluck."""

    plucks: tuple[Pluck, ...]
    other_sounds: int


def find_plucks(recording: Recording, start_s: float = 0.0, end_s: float = math.inf) -> Plucks:
    """Every pluck of a recording, or of the part of it from ``start_s`` to ``end_s``."""
    channel = best_channel(recording)
    step_s = recording.step_s
    first = round(start_s / step_s)
    last = min(recording.levels.shape[0], round(min(end_s, 1e6) / step_s))
    level_db = levels_db(recording, channel)[first:last]
    if level_db.size == 0 or np.max(level_db) < SILENT_DBFS:
        return Plucks((), 0)
    struck_s = onsets_between(
        recording, channel, first * step_s, last * step_s, float(np.max(level_db))
    )
    found, others = [], 0
    loudest_db = float(np.percentile(level_db, _LOUDEST_PERCENTILE))
    for onset, end, peak_db in _parts(level_db, struck_s - first * step_s, step_s):
        long_enough = (end - onset) * step_s >= SHORTEST_NOTE_S
        onset_s, stop_s = (first + onset) * step_s, (first + end) * step_s
        audible = peak_db > loudest_db - _AUDIBLE_DB
        if long_enough and audible and holds_one_pitch(recording, channel, onset_s, stop_s):
            found.append(Pluck(onset_s, min(stop_s, onset_s + LONGEST_USED_S), channel, 0))
        else:
            others += peak_db > loudest_db - _OTHER_DB
    return Plucks(tuple(found), others)


def _parts(level_db: Levels, struck_s: Real, step_s: float) -> Iterator[tuple[int, int, float]]:
    """(onset, end) of whatever is struck, in steps, and its level at the start, dB."""
    onsets = [steepest(level_db, round(each / step_s), step_s)[0] for each in struck_s]
    if not onsets:
        return
    smooth_db = smoothed_db(level_db, step_s)
    floor_db = float(np.percentile(level_db, 5)) + _FLOOR_MARGIN_DB
    before = round(BEFORE_NEXT_S / step_s)
    nexts = [*(each - before for each in onsets[1:]), level_db.size]
    for onset, limit in zip(onsets, nexts, strict=True):
        inside = smooth_db[onset : max(limit, onset + 1)]
        peak_db = float(np.max(inside[: round(0.2 / step_s)]))
        yield onset, onset + _end(inside, peak_db, floor_db, step_s), peak_db


def _end(smooth_db: Levels, peak_db: float, floor_db: float, step_s: float) -> int:
    """Where a part has died away or was damped, in steps from its onset."""
    settled = round(0.15 / step_s)
    gone = smooth_db < max(peak_db - _FADED_DB, min(floor_db, peak_db - _FLOOR_MARGIN_DB))
    ahead = round(_DAMPED_IN_S / step_s)
    fall_db = smooth_db[:-ahead] - smooth_db[ahead:]
    gone[: fall_db.size] |= fall_db > _DAMPED_DB
    gone[:settled] = False
    return int(np.argmax(gone)) if np.any(gone) else smooth_db.size


def holds_one_pitch(recording: Recording, channel: int, onset_s: float, end_s: float) -> bool:
    """Whether a part keeps one pitch, octaves aside, as YIN sees it from look to look."""
    librosa = compiled_librosa()

    stop_s = min(end_s, onset_s + _LOOK_FROM_S + _LOOK_S)
    samples = recording.excerpt(onset_s + _LOOK_FROM_S, stop_s, channel)
    spectrum = note_spectrum(samples, recording.rate_hz, 0.0)
    lowered, rate_hz = spectrum.lowered(min(_LOOK_RATE_HZ, recording.rate_hz))
    if lowered.size < _LOOK_FRAME + 4 * _LOOK_HOP:
        return False
    seen_hz = librosa.yin(
        lowered,
        fmin=LOWEST_HZ,
        fmax=min(HIGHEST_HZ, rate_hz / 4),
        sr=rate_hz,
        frame_length=_LOOK_FRAME,
        hop_length=_LOOK_HOP,
        center=False,
    )
    return bool(np.mean(_off_cents(seen_hz) < _STEADY_CENTS) >= _STEADY_SHARE)


def _off_cents(seen_hz: Real) -> Real:
    """How far each look lies from the commonest pitch, octaves aside, cents."""
    octaves = np.log2(seen_hz)
    apart = octaves[:, None] - octaves
    cents = 1200 * np.abs(apart - np.round(apart))
    middle = int(np.argmax(np.sum(cents < _STEADY_CENTS, axis=1)))
    return np.asarray(cents[middle])
