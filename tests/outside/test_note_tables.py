"""Note names and frequencies: ISO 16:1975 (A4 = 440 Hz; from memory) and published note tables."""

from __future__ import annotations

import pytest

from analyzer.music import nearest_note, note_hz

TABLE = "A physics department's note table, two decimals"
ISO_16 = "ISO 16:1975, A4 = 440 Hz, equal temperament"
OEIS = "OEIS A329211, E4"
pytestmark = pytest.mark.source(TABLE, "published example", "frequencies of notes by name")


# A physics department's note table, two decimals; E4 also in OEIS A329211.
@pytest.mark.parametrize(
    ("note", "hz"),
    [("E2", 82.41), ("A2", 110.00), ("D3", 146.83), ("G3", 196.00), ("B3", 246.94), ("E4", 329.63)],
)
def test_open_strings(note, hz) -> None:
    assert note_hz(note) == pytest.approx(hz, abs=0.006)


@pytest.mark.source(OEIS, "published example", "frequencies of notes by name")
def test_more_digits() -> None:
    assert note_hz("E4") == pytest.approx(329.6275569128, abs=1e-9)  # OEIS A329211
    assert note_hz("C4") == pytest.approx(261.6255653, abs=1e-6)  # recalled
    assert note_hz("a2", 442.0) == pytest.approx(110.5)


@pytest.mark.source(ISO_16, "from memory", "name of the nearest note")
def test_nearest_note_changes_octave_at_c() -> None:
    assert nearest_note(note_hz("B3")) == ("B3", pytest.approx(0, abs=1e-9))
    name, above = nearest_note(note_hz("C4") * 2 ** (20 / 1200))
    assert (name, above) == ("C4", pytest.approx(20))
