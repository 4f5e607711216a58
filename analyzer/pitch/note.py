"""One pluck cut from its recording and transformed: what pitch and quality are read from."""

from __future__ import annotations

from dataclasses import dataclass

from analyzer.pitch.clipping import Clipping, find_clipping
from analyzer.pitch.spectrum import (
    LineSpectrum,
    LowNote,
    NoteSpectrum,
    Real,
    line_spectrum,
    low_note,
    note_spectrum,
)
from analyzer.plucks import Pluck
from analyzer.recording.reading import Recording

_BEFORE_ONSET_S = 0.1


@dataclass(frozen=True)
class Note:
    """A pluck's samples, shape (n,), from 0.1 s before its onset on where there are such.

    ``lines`` are those of its loud part, as far as it is not clipped, and ``low`` the samples that
    they were taken from.
    """

    recording: Recording
    pluck: Pluck
    samples: Real
    spectrum: NoteSpectrum
    low: LowNote
    clipping: Clipping
    lines: LineSpectrum


def cut_note(recording: Recording, pluck: Pluck) -> Note:
    """Cut a pluck from its recording."""
    start_s = max(0.0, pluck.onset_s - _BEFORE_ONSET_S)
    samples = recording.excerpt(start_s, pluck.end_s, pluck.channel)
    spectrum = note_spectrum(samples, recording.rate_hz, pluck.onset_s - start_s)
    clipping = find_clipping(samples, recording.rate_hz)
    low = low_note(spectrum)
    lines = line_spectrum(low, clipping.free_from_s())
    return Note(recording, pluck, samples, spectrum, low, clipping, lines)
