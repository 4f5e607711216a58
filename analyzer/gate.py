"""Does the sound keep what the label promises? A wrong string must not become a figure."""

from __future__ import annotations

from analyzer.errors import RecordingError
from analyzer.instrument.model import Instrument
from analyzer.music import cents_between, nearest_note, ratio_of_cents
from analyzer.recording.labels import Label

# An instrument that is a semitone down is in tune to itself and passes; the next string is not.
FURTHEST_FROM_NOMINAL_CENTS = 150.0
NEAR_CENTS = 50.0  # near enough to say which note it probably is
MAINS_HZ = (50.0, 60.0)
_HUM_REACH_HZ = 3.0  # loud hum so near to half the note's frequency makes the half of it the pitch


def check_label(
    file_name: str, label: Label, instrument: Instrument, settled_hz: float, a4_hz: float
) -> None:
    """Raise RecordingError where a note lies more than 150 cents from what its label promises."""
    promised_hz = instrument.open_hz(label.string, a4_hz) * ratio_of_cents(100 * label.semitones)
    off_cents = cents_between(promised_hz, settled_hz)
    if abs(off_cents) <= FURTHEST_FROM_NOMINAL_CENTS:
        return
    raise contradicted(file_name, label, instrument, settled_hz, a4_hz)


def contradicted(
    file_name: str,
    label: Label,
    instrument: Instrument,
    settled_hz: float,
    a4_hz: float,
    likelier: Label | None = None,
) -> RecordingError:
    """What is said where a label promises one note and another is heard."""
    promised_hz = instrument.open_hz(label.string, a4_hz) * ratio_of_cents(100 * label.semitones)
    heard, _ = nearest_note(settled_hz, a4_hz)
    promised, _ = nearest_note(promised_hz, a4_hz)
    likely = _likely(label, instrument, settled_hz, a4_hz)
    if likelier is not None:
        likely = f", as {likelier.named}"
    remedy = "Mend its name or the tuning in the instrument file, or record that note"
    return RecordingError(
        file_name,
        f"promises string {label.string} {label.place} ({promised}, {promised_hz:.1f} Hz) "
        f"but sounds {settled_hz:.1f} Hz ({heard}{likely})",
        f"{_hum(settled_hz)}{remedy}",
    )


def _hum(settled_hz: float) -> str:
    for mains_hz in MAINS_HZ:
        if abs(settled_hz - mains_hz) < _HUM_REACH_HZ:
            return f"If it hums ({mains_hz:g} Hz), go away from mains leads and record it again. "
    return ""


def unknown_note(
    file_name: str, instrument: Instrument, heard_hz: float, a4_hz: float
) -> RecordingError:
    """What is said of a pluck in a whole take that is none of the instrument's notes."""
    heard, _ = nearest_note(heard_hz, a4_hz)
    return RecordingError(
        file_name,
        f"sounds {heard_hz:.1f} Hz ({heard}), which is neither an open string nor a 12th fret of "
        f"{' '.join(instrument.tuning)}",
        "If it is one of them, mend the tuning in the instrument file, or list it in takes.csv",
    )


def _likely(label: Label, instrument: Instrument, settled_hz: float, a4_hz: float) -> str:
    """What the sound would be right for: this string elsewhere, or else another string."""
    others = [string for string in instrument.strings if string != label.string]
    for string in (label.string, *others):
        open_hz = instrument.open_hz(string, a4_hz)
        for harmonic, place in ((1, "open"), (2, "at the 12th fret, or its harmonic")):
            off_cents = cents_between(harmonic * open_hz, settled_hz)
            if abs(off_cents) < NEAR_CENTS:
                return f", as string {string} {place}"
    return ""
