"""Note names and frequencies: ISO 16:1975 (A4 = 440 Hz; from memory) and published note tables."""

from __future__ import annotations

import pytest

from analyzer.instrument.threads import thread_pitch_mm
from analyzer.music import cents_between, nearest_note, note_hz


# A physics department's note table, two decimals; E4 also in OEIS A329211.
@pytest.mark.parametrize(
    ("note", "hz"),
    [("E2", 82.41), ("A2", 110.00), ("D3", 146.83), ("G3", 196.00), ("B3", 246.94), ("E4", 329.63)],
)
def test_open_strings(note, hz) -> None:
    assert note_hz(note) == pytest.approx(hz, abs=0.006)


def test_more_digits() -> None:
    assert note_hz("E4") == pytest.approx(329.6275569128, abs=1e-9)  # OEIS A329211
    assert note_hz("C4") == pytest.approx(261.6255653, abs=1e-6)  # recalled
    assert note_hz("a2", 442.0) == pytest.approx(110.5)


@pytest.mark.parametrize(
    ("one", "other"), [("F#3", "Gb3"), ("Fs3", "F♯3"), ("Bb2", "A#2"), ("Cb4", "B3")]
)
def test_spellings_agree(one, other) -> None:
    assert note_hz(one) == pytest.approx(note_hz(other), rel=1e-12)


@pytest.mark.parametrize("text", ["", "H2", "E", "E2x", "22", "Ebb2", "E2 A2"])
def test_what_is_no_note(text) -> None:
    with pytest.raises(ValueError, match="not a note name"):
        note_hz(text)


def test_nearest_note_changes_octave_at_c() -> None:
    assert nearest_note(note_hz("B3")) == ("B3", pytest.approx(0, abs=1e-9))
    name, above = nearest_note(note_hz("C4") * 2 ** (20 / 1200))
    assert (name, above) == ("C4", pytest.approx(20))


def test_octave_is_1200_cents_upwards() -> None:
    assert cents_between(220.0, 440.0) == 1200.0
    assert cents_between(440.0, 220.0) == -1200.0


# Size tables of general CAD parts after ISO 4026, ISO 4762 and ASME B18.3.
@pytest.mark.parametrize(
    ("thread", "pitch_mm"),
    [
        ("M2", 0.40),
        ("M2.5", 0.45),
        ("M3", 0.50),
        ("M4", 0.70),
        ("4-40 UNC", 0.635),
        ("6-32 UNC", 0.79375),
        ("8-32", 0.79375),
        ("m3", 0.50),
        ("M3x0.35", 0.35),
    ],
)
def test_thread_pitch(thread, pitch_mm) -> None:
    assert thread_pitch_mm(thread) == pytest.approx(pitch_mm, rel=1e-12)


@pytest.mark.parametrize("thread", ["M3.2", "6-23", "6-32 UNF", "coarse", "", "M3x0.9", "32"])
def test_unknown_thread(thread) -> None:
    with pytest.raises(ValueError, match="not a known thread"):
        thread_pitch_mm(thread)
