"""One pluck alone: level, length, noise, hum, another note, vibrato, bends, a pitch that runs."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from analyzer.errors import RecordingError
from analyzer.music import nearest_note
from analyzer.pitch.guide import HIGHEST_HZ
from analyzer.pitch.note import Note
from analyzer.pitch.settle import SettledPitch
from analyzer.pitch.spectrum import Real
from analyzer.plucks import Pluck, levels_db
from analyzer.quality import thresholds as limits
from analyzer.quality.course import Course, pitch_course
from analyzer.quality.lines import Between, look_between
from analyzer.quality.model import PRINT_STEPS, Caution, DrownedError, Traits
from analyzer.recording.reading import Recording

_PRINT_S = 0.25
_QUIET_FROM_S = 0.3  # of silence before the pluck, from which its noise can be told


def judge_pluck(
    note: Note, pitch: SettledPitch, a4_hz: float
) -> tuple[tuple[Caution, ...], Traits]:
    """The cautions on a pluck, and what it is compared with others by.

    Raises RecordingError where it is too bad to be used.
    """
    recording, pluck = note.recording, note.pluck
    between = look_between(note.lines, pitch)
    course = pitch_course(note.spectrum, pitch)
    _reject(recording.path.name, pitch, between, course, a4_hz)
    cautions = (
        *_level_and_length(recording, pluck, pitch),
        *_noise(between),
        *_other_note(between, a4_hz),
        *_running(pitch, course),
    )
    onset = round(note.spectrum.onset_s * recording.rate_hz)
    traits = Traits(
        recording.rate_hz,
        recording.levels.shape[1],
        recording.path.suffix.lower(),
        _noise_dbfs(recording, pluck),
        between.half_lines,
        _print(note.samples[onset:], recording.rate_hz),
    )
    return cautions, traits


def _reject(name: str, pitch: SettledPitch, between: Between, course: Course, a4_hz: float) -> None:
    if between.multiple > 1:
        heard_hz = between.multiple * pitch.settled_hz
        raise RecordingError(
            name,
            f"sounds near {heard_hz:.0f} Hz ({nearest_note(heard_hz, a4_hz)[0]}); notes are "
            f"measured up to {HIGHEST_HZ:g} Hz",
            "Mend its name, or record the note that it promises",
        )
    if between.snr_db < limits.DROWNED_DB:
        raise DrownedError(
            name,
            f"holds more noise than note ({between.snr_db:.0f} dB between them, "
            f"{limits.DROWNED_DB:g} is the least)",
            "Go nearer to the string, or to a quieter place, and record it again",
        )
    if between.other_db > limits.OTHER_NOTE_LOUDER_DB:
        raise RecordingError(
            name,
            f"holds another note as well, louder than its own, near {between.other_hz:.0f} Hz "
            f"({nearest_note(between.other_hz, a4_hz)[0]})",
            "Damp the other strings and record it again",
        )
    if course.vibrato_cents > limits.MOST_VIBRATO_CENTS:
        raise RecordingError(
            name,
            f"has a vibrato of {course.vibrato_cents:.0f} cents either way "
            f"({limits.MOST_VIBRATO_CENTS:g} is the most)",
            "Hold the finger still, or let the string ring alone, and record it again",
        )
    if course.rise_cents > limits.MOST_RISE_CENTS:
        raise RecordingError(
            name,
            f"is bent: its pitch rises by {course.rise_cents:.0f} cents while it sounds "
            f"({limits.MOST_RISE_CENTS:g} is the most)",
            "Press straight down, keep still, and record it again",
        )
    fall = fall_cents_per_s(pitch, course)
    if fall > limits.MOST_UNSETTLED_CENTS_PER_S:
        raise RecordingError(
            name,
            f"never settles: its pitch still falls by {fall:.0f} cents a second at its "
            f"end ({limits.MOST_UNSETTLED_CENTS_PER_S:g} is the most)",
            "See that the string does not slip, pluck more gently, and record it again",
        )


def _level_and_length(recording: Recording, pluck: Pluck, pitch: SettledPitch) -> Iterator[Caution]:
    loudest_dbfs = float(np.max(levels_of(recording, pluck)))
    if loudest_dbfs < limits.QUIET_DBFS:
        yield Caution(
            f"is very quiet (loudest {loudest_dbfs:.0f} dBFS). Set the level higher.",
            limits.QUIET_ADDED_CENTS,
        )
    if pitch.clipped:
        yield Caution(
            "was too loud for its recorder (clipped). Record it again more quietly.",
            limits.CLIPPED_ADDED_CENTS,
        )
    if pluck.duration_s < limits.SHORT_S:
        yield Caution(
            f"sounds for {pluck.duration_s:.1f} s only, hardly longer than it takes to settle. Let "
            "it ring for three seconds.",
            limits.SHORT_ADDED_CENTS,
        )


def _noise(between: Between) -> Iterator[Caution]:
    if between.snr_db < limits.NOISY_DB:
        yield Caution(
            f"is noisy (the note is only {between.snr_db:.0f} dB above the noise). Go nearer to "
            "the string, or to a quieter place.",
            limits.NOISY_ADDED_CENTS,
        )
    on_partial = between.hum_off_hz < limits.HUM_ON_PARTIAL_HZ
    if between.hum_db > (limits.HUM_ON_PARTIAL_DB if on_partial else limits.HUM_DB):
        yield Caution(
            f"hums at {between.hum_hz:.0f} Hz ({between.hum_db:.0f} dB against the note"
            f"{', close to one of its own partials' if on_partial else ''}). Move away from mains "
            "leads and lamps, or run the recorder on its battery.",
            limits.HUM_ON_PARTIAL_ADDED_CENTS if on_partial else limits.HUM_ADDED_CENTS,
        )


def _other_note(between: Between, a4_hz: float) -> Iterator[Caution]:
    if between.other_db > limits.OTHER_NOTE_DB:
        note, _ = nearest_note(between.other_hz, a4_hz)
        yield Caution(
            f"has something else sounding near {between.other_hz:.0f} Hz ({note}, "
            f"{between.other_db:.0f} dB against the note). Damp the other strings.",
            limits.OTHER_NOTE_ADDED_CENTS,
        )


def _running(pitch: SettledPitch, course: Course) -> Iterator[Caution]:
    if course.vibrato_cents > limits.VIBRATO_CENTS:
        yield Caution(
            f"has a vibrato of {course.vibrato_cents:.1f} cents either way. Keep the hand still.",
            course.vibrato_cents,
        )
    if course.rise_cents > limits.RISE_CENTS:
        yield Caution(
            f"rises by {course.rise_cents:.0f} cents while it sounds. Press straight down and keep "
            "still.",
            0.5 * course.rise_cents,
        )
    fall = fall_cents_per_s(pitch, course)
    if fall > limits.UNSETTLED_CENTS_PER_S:
        yield Caution(
            f"still falls by {fall:.1f} cents a second at its end. Pluck more gently, let it ring "
            "for three seconds, and see that the string does not slip.",
            limits.UNSETTLED_ADDED_S * fall,
        )


def fall_cents_per_s(pitch: SettledPitch, course: Course) -> float:
    """How fast the pitch falls throughout the second half; less at its end where it is settling."""
    return min(-pitch.late_slope_cents_per_s, course.end_fall_cents_per_s)


def levels_of(recording: Recording, pluck: Pluck) -> Real:
    """The level of a pluck in steps of 5 ms, (steps,), dB of full scale."""
    first, last = (round(each / recording.step_s) for each in (pluck.onset_s, pluck.end_s))
    return levels_db(recording, pluck.channel)[first : max(last, first + 1)]


def _noise_dbfs(recording: Recording, pluck: Pluck) -> float:
    """The level just before the pluck; NaN where there is nothing, or no sound at all."""
    last = round((pluck.onset_s - 0.05) / recording.step_s)
    first = last - round(_QUIET_FROM_S / 2 / recording.step_s)
    if first < 0:
        return math.nan
    level = float(np.median(levels_db(recording, pluck.channel)[first:last]))
    return level if level > -120 else math.nan


def _print(samples: Real, rate_hz: float) -> NDArray[np.int8]:
    """Differenced twice, high partials and noise count as much as the loud low ones."""
    piece = np.diff(samples[: round(_PRINT_S * rate_hz)], 2)
    size = float(np.sqrt(np.mean(piece**2))) if piece.size else 0.0
    steps = piece * (PRINT_STEPS / size) if size else piece
    return np.clip(np.round(steps), -127, 127).astype(np.int8)
