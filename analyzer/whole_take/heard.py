"""What each part of a long take turns out to be, once its pitch is known.

A word spoken while a string still rings faintly looks like a pluck: it begins suddenly, and when it
is over the string's steady pitch is left. Two things tell it apart. What is not the string's own
is loud at the start and soon gone; and the string's own partials are far quieter than at the pluck
that they are left from, for nothing has brought them back.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from analyzer.errors import RecordingError
from analyzer.music import cents_between
from analyzer.pitch.partials import stretched
from analyzer.pitch.settle import SettledPitch, settle
from analyzer.plucks import Pluck
from analyzer.quality.model import Caution, DrownedError, Traits
from analyzer.quality.sound import judge_pluck
from analyzer.recording.reading import Recording

_PARTIALS = 12
_LOOK_FROM_S, _LOOK_S = 0.05, 0.45
_WIDTH_BINS = 2.0  # of a Hann window's line, to either side
_GLIDE = 0.012  # of the frequency: a note that starts 20 cents sharp still counts as its own
# Of 800 synthetic plucks none had more foreign power than 0.02 that fell by more than 1 dB; in
# noise at -20 dB it was up to 0.2, and stayed. Of words it mostly was 0.3 to 0.8, and fell by 10 dB
# to 40 dB.
_FOREIGN, _FOREIGN_FALLS_DB = 0.3, 6.0
# A string that is damped to -20 dB and less; a player's plucks of one note differ by some decibels.
_LEFT_OVER_DB = 10.0
_SAME_CENTS = 30.0  # a glide of 15 and as much again


@dataclass(frozen=True)
class OwnLines:
    """The note's own partials in the first half second, and the rest beside them.

    ``level_db`` is on a scale of its own; ``foreign`` is the rest's share of the power, and
    ``falls_db`` how much quieter the rest is at the end of the part.
    """

    level_db: float
    foreign: float
    falls_db: float


@dataclass(frozen=True)
class Heard:
    """A pluck of a whole take before it has its name; ``reason`` where it cannot be used."""

    pluck: Pluck
    pitch: SettledPitch
    own: OwnLines
    cautions: tuple[Caution, ...] = ()
    traits: Traits | None = None
    reason: str | None = None


def hear(recording: Recording, plucks: Sequence[Pluck], a4_hz: float) -> list[Heard]:
    """The parts that are plucks, measured and judged, in their order."""
    heard = [each for pluck in plucks if (each := _heard(recording, pluck, a4_hz)) is not None]
    return list(_struck(heard))


def _heard(recording: Recording, pluck: Pluck, a4_hz: float) -> Heard | None:
    """None for what turns out to be no pluck: a word may hold its pitch for a while."""
    try:
        pitch = settle(recording, pluck)
    except RecordingError:
        return None
    own = own_lines(recording, pluck, pitch)
    if own.foreign > _FOREIGN and own.falls_db > _FOREIGN_FALLS_DB:
        return None
    try:
        cautions, traits = judge_pluck(recording, pluck, pitch, a4_hz)
    except DrownedError:
        return None
    except RecordingError as error:
        return Heard(pluck, pitch, own, reason=error.reason)
    return Heard(pluck, pitch, own, cautions, traits)


def _struck(heard: Sequence[Heard]) -> Iterator[Heard]:
    """Without those that are only what is left of an earlier pluck."""
    before: list[Heard] = []
    for each in heard:
        hz = each.pitch.settled_hz
        same = [b for b in before if abs(cents_between(b.pitch.settled_hz, hz)) < _SAME_CENTS]
        if same and each.own.level_db < same[-1].own.level_db - _LEFT_OVER_DB:
            continue
        before.append(each)
        yield each


def own_lines(recording: Recording, pluck: Pluck, pitch: SettledPitch) -> OwnLines:
    """How much of the sound at the start of a part, and at its end, is its note's own."""
    begin_s = pluck.onset_s + _LOOK_FROM_S
    look_s = min(_LOOK_S, 0.5 * (pluck.end_s - begin_s))
    start, end = (
        _powers(recording.excerpt(first_s, first_s + look_s, pluck.channel), recording, pitch)
        for first_s in (begin_s, pluck.end_s - look_s)
    )
    rest, whole = start[1], sum(start)
    return OwnLines(_db(start[0]), rest / max(whole, 1e-30), _db(rest) - _db(end[1]))


def _powers(samples: np.ndarray, recording: Recording, pitch: SettledPitch) -> tuple[float, float]:
    """Power of the partials' bands and of what lies between them; differenced against rumble."""
    piece = np.diff(samples)
    power = np.abs(np.fft.rfft(piece * np.hanning(piece.size))) ** 2 / piece.size**2
    bin_hz = recording.rate_hz / piece.size
    stiffness = pitch.stiffness if pitch.stiffness > 0 else 0.0
    partials_hz = stretched(np.arange(1.0, _PARTIALS + 1), pitch.settled_hz, stiffness)
    partials_hz = partials_hz[partials_hz < 0.45 * recording.rate_hz]
    hz = bin_hz * np.arange(power.size)
    off_hz = np.abs(hz[:, None] - partials_hz)
    own = np.any(off_hz < _WIDTH_BINS * bin_hz + _GLIDE * partials_hz, axis=1)
    half_hz = 0.5 * pitch.settled_hz
    inside = (hz > half_hz) & (hz < partials_hz[-1] + half_hz)
    return float(np.sum(power[own & inside])), float(np.sum(power[~own & inside]))


def _db(power: float) -> float:
    return 10 * math.log10(max(power, 1e-30))
