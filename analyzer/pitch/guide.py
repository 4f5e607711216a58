"""Is there a note, and roughly which: YIN over the whole range, then pYIN in a band about it.

pYIN (M. Mauch and S. Dixon, ICASSP 2014; ``librosa.pyin``) snaps to a grid, and a tone outside
its band comes back voiced and wrong. So the whole range is looked at first with YIN (A. de
Cheveigne and H. Kawahara, J. Acoust. Soc. Am. 111, 1917, 2002; ``librosa.yin``) and the octave is
checked against the spectrum. pYIN then says, within a band about that, how sure the note is and
what its pitch is. The figure that is reported comes from the refinement around it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyzer.compiled import compiled_librosa
from analyzer.pitch.spectrum import LineSpectrum, NoteSpectrum, Real

LOWEST_HZ = 25.0
HIGHEST_HZ = 1600.0
LEAST_VOICED_SHARE = 0.5
_LOOK_RATE_HZ = 16_000.0
_LOOK_FRAME = 3072
_LOOK_S = 0.8  # the look is taken at the start of the note, where it is loud
_BAND_SEMITONES = 2.5  # pYIN's band reaches this far to either side of the look
_FRAME = 128
_PERIODS_A_FRAME = 6.0
_HOP_S = 0.15
_RESOLUTION = 0.5  # semitones; the refinement looks 40 cents to either side
_TRACKED_S = 0.5  # a note dies away into the noise; whether it is one shows in its start
_RAISE_LINES = 14
_RAISE_REACH = 0.02  # of the pitch
_RAISE_FAINT_DB = 40.0  # lines this far below the others are not the note's own
_RAISE_CLEAR_DB = 18.0  # nor are lines that hardly stand out of what lies between them
_ODD_LINES = np.array([1, 3, 5, 7])  # of a pitch; twice the pitch has none of them
_ODD_FEWEST = 2  # one alone is another string's
# From two real notes whose octave was heard: the loudest odd line 17 dB below the loudest of all,
# every one 49 dB clear. Other strings that ring on lie some 30 dB below.
_ODD_LOUD_DB = 25.0
_ODD_CLEAR_DB = 30.0


@dataclass(frozen=True)
class Guide:
    """What the guide saw: a rough pitch, and the share of the loud start that has one."""

    pitch_hz: float
    voiced_share: float


def guide_note(spectrum: NoteSpectrum, lines: LineSpectrum) -> Guide:
    """The rough pitch of a note; ``voiced_share`` is small where there is none."""
    look_hz = _lowered(_raised(_look(spectrum), lines), lines)
    return _track(spectrum, look_hz)


def _look(spectrum: NoteSpectrum) -> float:
    librosa = compiled_librosa()

    samples, rate_hz = spectrum.lowered(_LOOK_RATE_HZ)
    start = round((spectrum.onset_s + 0.05) * rate_hz)
    part = samples[start : start + round(_LOOK_S * rate_hz)]
    if part.size < _LOOK_FRAME:
        part = np.pad(part, (0, _LOOK_FRAME - part.size))
    seen = librosa.yin(
        part,
        fmin=LOWEST_HZ,
        fmax=min(HIGHEST_HZ, rate_hz / 4),
        sr=rate_hz,
        frame_length=_LOOK_FRAME,
        hop_length=_LOOK_FRAME // 2,
        center=False,
    )
    return float(np.median(seen))


def _raised(look_hz: float, lines: LineSpectrum) -> float:
    """YIN errs downwards on high or noisy notes: to a fraction, whose own lines are missing."""
    level_db = _levels_db(look_hz, lines)
    if _has_its_first_line(look_hz, lines, level_db):
        return look_hz
    for multiple in (7, 5, 3, 2, 2, 2):
        if multiple * look_hz > HIGHEST_HZ:
            continue
        if _no_lines_of_its_own(look_hz, multiple, lines, level_db):
            look_hz *= multiple
            level_db = _levels_db(look_hz, lines)
        elif multiple == 2:
            break
    return look_hz


def _has_its_first_line(look_hz: float, lines: LineSpectrum, levels_db: Real) -> bool:
    """Whether the pitch's own first line is clear: it is none of any multiple's."""
    if levels_db[0] < np.max(levels_db) - _RAISE_FAINT_DB:
        return False
    floor_db = float(lines.floor_db(np.array([look_hz]), look_hz)[0])
    return bool(levels_db[0] - floor_db >= _RAISE_CLEAR_DB)


def _levels_db(look_hz: float, lines: LineSpectrum) -> Real:
    """The highest levels about the multiples of a pitch, from 1 on, dB."""
    number = np.arange(1.0, _RAISE_LINES + 1)
    reach = max(1, round(_RAISE_REACH * look_hz / lines.bin_hz))
    index = np.round(number * look_hz / lines.bin_hz).astype(int)[:, None]
    near = np.clip(index + np.arange(-reach, reach + 1), 0, lines.level_db.size - 1)
    return np.asarray(np.max(lines.level_db[near], axis=1))


def _no_lines_of_its_own(
    look_hz: float, multiple: int, lines: LineSpectrum, levels_db: Real
) -> bool:
    """Whether nothing but the lines of ``multiple`` times the pitch is heard."""
    number = np.arange(1.0, multiple * (_RAISE_LINES // multiple) + 1)
    level_db = levels_db[: number.size]
    own = number % multiple != 0
    if float(np.max(level_db[own])) < float(np.max(level_db[~own])) - _RAISE_FAINT_DB:
        return True
    if multiple == 2:
        heard = levels_db[_ODD_LINES - 1] > np.max(levels_db) - _RAISE_FAINT_DB
        heard &= _odd_clear_db(look_hz, lines, levels_db) >= _RAISE_CLEAR_DB
        return int(np.sum(heard)) < _ODD_FEWEST
    loudest_first = np.flatnonzero(own)[np.argsort(-level_db[own])]
    for line in loudest_first:  # of a note that is none of a fraction, the first stands clear
        floor_db = float(lines.floor_db(number[line : line + 1] * look_hz, look_hz)[0])
        if level_db[line] - floor_db >= _RAISE_CLEAR_DB:
            return False
    return True


def _lowered(look_hz: float, lines: LineSpectrum) -> float:
    """YIN errs to the octave where a string's odd lines are weak: they are heard all the same."""
    half_hz = 0.5 * look_hz
    if half_hz < LOWEST_HZ:
        return look_hz
    level_db = _levels_db(half_hz, lines)
    loud = np.max(level_db[_ODD_LINES - 1]) >= np.max(level_db) - _ODD_LOUD_DB
    clear = np.all(_odd_clear_db(half_hz, lines, level_db) >= _ODD_CLEAR_DB)
    return half_hz if loud and clear else look_hz


def _odd_clear_db(look_hz: float, lines: LineSpectrum, levels_db: Real) -> Real:
    """How far the first odd lines of a pitch stand out of what lies between its lines, dB."""
    floor_db = lines.floor_db(_ODD_LINES * look_hz, look_hz)
    return np.asarray(levels_db[_ODD_LINES - 1] - floor_db)


def _track(spectrum: NoteSpectrum, look_hz: float) -> Guide:
    librosa = compiled_librosa()

    samples, rate_hz = spectrum.lowered(_FRAME / _PERIODS_A_FRAME * look_hz)
    hop = max(_FRAME // 4, round(_HOP_S * rate_hz))
    onset = round(spectrum.onset_s * rate_hz)
    found, voiced, _ = librosa.pyin(
        samples[onset : onset + round(_TRACKED_S * rate_hz)],
        fmin=look_hz * 2 ** (-_BAND_SEMITONES / 12),
        fmax=min(look_hz * 2 ** (_BAND_SEMITONES / 12), rate_hz / 2.2),
        sr=rate_hz,
        frame_length=_FRAME,
        hop_length=hop,
        resolution=_RESOLUTION,
        # In octaves a second; pYIN refuses a step of more bins than its band has.
        max_transition_rate=_BAND_SEMITONES / 24 * rate_hz / hop,
        fill_na=np.nan,
        center=False,  # every frame is full of the note
    )
    pitch_hz = float(np.nanmedian(found)) if np.any(voiced) else look_hz
    return Guide(pitch_hz, float(np.mean(voiced)))
