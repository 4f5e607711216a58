"""File names: what they may say, and what is said where they say nothing that is known."""

from __future__ import annotations

import pytest

from analyzer.errors import RecordingError
from analyzer.instrument.model import Instrument, assumed_instrument
from analyzer.recording.labels import Label, read_label

SIX = assumed_instrument()
RE_ENTRANT = Instrument("four", ("G4", "C4", "E4", "G4"))


@pytest.mark.parametrize(
    ("name", "label"),
    [
        ("s6_open_1.wav", Label(6, "open", 1)),
        ("s6_f12_2.wav", Label(6, "f12", 2)),
        ("S6-OPEN-1.WAV", Label(6, "open", 1)),
        ("s1 f12 03.flac", Label(1, "f12", 3)),
        ("s3_h12_1.wav", Label(3, "h12", 1)),
        ("s3_f5_1.wav", Label(3, "f5", 1)),
        ("s3_open.wav", Label(3, "open", 1)),
        ("E2_open.wav", Label(6, "open", 1)),
        ("e4_f12_2.wav", Label(1, "f12", 2)),
        ("s2_f0_1.wav", Label(2, "open", 1)),
    ],
)
def test_labels(name, label) -> None:
    assert read_label(name, SIX) == label


@pytest.mark.parametrize(
    ("name", "line"),
    [
        ("riff.wav", "neither string nor fret"),
        ("s6_1.wav", "neither string nor fret"),
        ("s6_g12_1.wav", "neither string nor fret"),
        ("s7_open_1.wav", "names string 7. This instrument has strings 6 to 1"),
        ("s0_open_1.wav", "names string 0"),
        ("s6_f99_1.wav", "names fret 99"),
        ("C3_open.wav", "no string of the tuning"),
    ],
)
def test_unknown_labels(name, line) -> None:
    with pytest.raises(RecordingError) as caught:
        read_label(name, SIX)
    assert line in str(caught.value)
    assert str(caught.value).startswith(name)


def test_note_name_must_be_unique() -> None:
    with pytest.raises(RecordingError, match="2 strings of the tuning"):
        read_label("G4_open.wav", RE_ENTRANT)
    assert read_label("C4_open.wav", RE_ENTRANT) == Label(3, "open", 1)
