"""What the quality gate looks at, each with its limits: the same numbers as it judges by."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from analyzer.inspection.model import Check
from analyzer.pitch.note import Note
from analyzer.pitch.settle import SettledPitch
from analyzer.plucks import SHORTEST_NOTE_S
from analyzer.quality import thresholds as limits
from analyzer.quality.course import pitch_course
from analyzer.quality.lines import look_between
from analyzer.quality.sound import fall_cents_per_s, levels_of


def checks_of(note: Note, pitch: SettledPitch) -> tuple[Check, ...]:
    """Every check of one pluck by itself, in the order in which they are made."""
    return tuple(_checks(note, pitch))


def _checks(note: Note, pitch: SettledPitch) -> Iterator[Check]:
    between = look_between(note.lines, pitch)
    course = pitch_course(note.spectrum, pitch)
    on_partial = between.hum_off_hz < limits.HUM_ON_PARTIAL_HZ
    loudest_dbfs = float(np.max(levels_of(note.recording, note.pluck)))
    yield Check("loudest 5 ms", "dBFS", loudest_dbfs, limits.QUIET_DBFS, None, least=True)
    yield Check(
        "sounds for", "s", note.pluck.duration_s, limits.SHORT_S, SHORTEST_NOTE_S, least=True
    )
    yield Check("over noise", "dB", between.snr_db, limits.NOISY_DB, limits.DROWNED_DB, least=True)
    yield Check(
        "mains hum, close to a partial" if on_partial else "mains hum",
        "dB",
        _heard(between.hum_db),
        limits.HUM_ON_PARTIAL_DB if on_partial else limits.HUM_DB,
        None,
    )
    yield Check(
        "another note",
        "dB",
        _heard(between.other_db),
        limits.OTHER_NOTE_DB,
        limits.OTHER_NOTE_LOUDER_DB,
    )
    yield Check(
        "vibrato",
        "cents",
        course.vibrato_cents,
        limits.VIBRATO_CENTS,
        limits.MOST_VIBRATO_CENTS,
    )
    yield Check(
        "pitch rises", "cents", course.rise_cents, limits.RISE_CENTS, limits.MOST_RISE_CENTS
    )
    yield Check(
        "falls at end",
        "cents/s",
        max(fall_cents_per_s(pitch, course), 0.0),
        limits.UNSETTLED_CENTS_PER_S,
        limits.MOST_UNSETTLED_CENTS_PER_S,
    )


def _heard(level_db: float) -> float | None:
    return level_db if math.isfinite(level_db) else None
