"""A clock for each note that runs with its pitch, so that being sharp moves no cut between pieces.

Blocks, bands and windows last so many seconds. A recording played a little faster would be cut at
other places of its course, and a note that wanders by cents would come out as another one. On a
clock that runs so much faster it is cut into the same pieces, and its pitch is found to be higher
by just that much.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from analyzer.music import ISO16_A4_HZ
from analyzer.pitch.note import Note
from analyzer.pitch.partials import Peaks, find_again, lawful
from analyzer.pitch.spectrum import NoteSpectrum, line_spectrum

_REFERENCES_AN_OCTAVE = 3
_FROM_A4_OCTAVES = 1 / 24  # so that the border between two of them falls between two notes


@dataclass(frozen=True)
class Paced:
    """A note and its partials on a clock that runs ``pace`` times as fast as the recorder's."""

    spectrum: NoteSpectrum
    peaks: Peaks
    pace: float


def on_own_clock(note: Note, peaks: Peaks) -> Paced:
    """The note on its own clock; its partials are looked for again, over a piece cut by that."""
    if note.clipping.clipped:
        peaks = lawful(peaks)
    rough = _pace(peaks)
    own = note.spectrum.at_pace(rough)
    lines = line_spectrum(note.low, note.clipping.free_from_s(), rough)
    again = find_again(lines, peaks.at_pace(rough), own.rate_hz)
    if again.numbers.size == 0:
        return Paced(own, peaks.at_pace(rough), rough)
    if note.clipping.clipped:
        again = lawful(again)
    fine = _pace(again)
    return Paced(own.at_pace(fine), again.at_pace(fine), rough * fine)


def _pace(peaks: Peaks) -> float:
    """How much faster than a reference pitch nearby the note runs."""
    octaves = math.log2(peaks.rough_hz[0] / peaks.numbers[0] / ISO16_A4_HZ) - _FROM_A4_OCTAVES
    return float(2 ** (octaves - round(_REFERENCES_AN_OCTAVE * octaves) / _REFERENCES_AN_OCTAVE))
