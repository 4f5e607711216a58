"""Note names and frequencies: ISO 16:1975 (A4 = 440 Hz; from memory) and published note tables."""

from __future__ import annotations

import pytest

from analyzer.music import nearest_note, note_hz

TABLE = "A physics department's note table, two decimals"
ISO_16 = "ISO 16:1975, A4 = 440 Hz, equal temperament"
TWELFTHS = "Equal temperament, 440 Hz times powers of 2^(1/12)"
OEIS = "OEIS A329211, E4"
pytestmark = pytest.mark.source(TABLE, "published example", "frequencies of notes by name")


# A physics department's note table, two decimals; E4 also in OEIS A329211.
@pytest.mark.parametrize(
    ("note", "hz"),
    [
        ("E2", 82.41),
        ("A2", 110.00),
        ("D3", 146.83),
        ("G3", 196.00),
        ("B3", 246.94),
        ("E4", 329.63),
        ("E5", 659.26),
    ],
)
def test_open_strings(note, hz) -> None:
    assert note_hz(note) == pytest.approx(hz, abs=0.006)


@pytest.mark.source(OEIS, "published example", "frequencies of notes by name")
def test_more_digits() -> None:
    assert note_hz("E4") == pytest.approx(329.6275569128, abs=1e-9)  # OEIS A329211


@pytest.mark.source(ISO_16, "from memory", "frequencies of notes by name")
def test_digits_recalled() -> None:
    assert note_hz("A4") == 440.0
    assert note_hz("C4") == pytest.approx(261.6255653, abs=1e-6)
    assert note_hz("a2", 442.0) == pytest.approx(110.5)


@pytest.mark.source(TWELFTHS, "published formula", "frequencies of notes by name")
@pytest.mark.parametrize(
    ("note", "hz"),
    [
        ("E2", 82.406889),
        ("A2", 110.0),
        ("D3", 146.832384),
        ("G3", 195.997718),
        ("B3", 246.941651),
        ("E4", 329.627557),
        ("E5", 659.255114),
        ("C3", 130.812783),  # several tables print 130.82
    ],
)
def test_open_strings_to_six_decimals(note, hz) -> None:
    """Computed: 440 times powers of the twelfth root of two, and not of rounded values."""
    assert note_hz(note) == pytest.approx(hz, abs=6e-7)


@pytest.mark.source(ISO_16, "from memory", "name of the nearest note")
def test_nearest_note_changes_octave_at_c() -> None:
    assert nearest_note(note_hz("B3")) == ("B3", pytest.approx(0, abs=1e-9))
    name, above = nearest_note(note_hz("C4") * 2 ** (20 / 1200))
    assert (name, above) == ("C4", pytest.approx(20))
