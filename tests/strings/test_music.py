"""Note names and threads: spellings, and what is neither."""

from __future__ import annotations

import pytest

from analyzer.instrument.threads import thread_pitch_mm
from analyzer.music import note_hz


@pytest.mark.parametrize(
    ("one", "other"), [("F#3", "Gb3"), ("Fs3", "F♯3"), ("Bb2", "A#2"), ("Cb4", "B3")]
)
def test_spellings_agree(one, other) -> None:
    assert note_hz(one) == pytest.approx(note_hz(other), rel=1e-12)


@pytest.mark.parametrize("text", ["", "H2", "E", "E2x", "22", "Ebb2", "E2 A2"])
def test_what_is_no_note(text) -> None:
    with pytest.raises(ValueError, match="not a note name"):
        note_hz(text)


@pytest.mark.parametrize("thread", ["M3.2", "6-23", "6-32 UNF", "coarse", "", "M3x0.9", "32"])
def test_unknown_thread(thread) -> None:
    with pytest.raises(ValueError, match="not a known thread"):
        thread_pitch_mm(thread)
