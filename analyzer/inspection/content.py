"""What is said of a recording, for the terminal and for the page alike."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from analyzer.inspection.model import Check, Inspection, PluckLine, SoundFile
from analyzer.page.rounding import (
    MINUS,
    MOST_DECIMALS,
    NOT_HAD,
    decimals_for,
    hz_with_interval,
    plain,
    scientific,
    signed,
    with_interval,
)
from analyzer.pitch.partial_tracks import PartialTrack
from analyzer.pitch.settle import EARLY_S, SettledPitch
from analyzer.recording.labels import Label

_MOST_DECIMALS_HZ = 4
_EARLY = f"{EARLY_S[0]:g} s to {EARLY_S[1]:g} s after the pluck"


@dataclass(frozen=True)
class Fact:
    """A name, what is said of it, and the number of the JSON behind it where there is one."""

    name: str
    text: str
    value: float | None = None


@dataclass(frozen=True)
class PartialRow:
    """A partial as it is shown. ``deviation`` is from the string law, in cents."""

    number: str
    frequency_hz: str
    level_db: str
    over_noise_db: str
    deviation: str
    weight: str


def verdict_of(inspection: Inspection) -> str:
    """The verdict of the quality gate in a sentence."""
    if inspection.status == "rejected":
        return f"Rejected: it {inspection.reason}"
    count = len(inspection.cautions)
    if count == 0:
        return "Used: nothing to hold against it."
    return f"Used with {'a caution' if count == 1 else f'{count} cautions'}."


def settled_text(hz: float | None, uncertainty_cents: float | None) -> str:
    """A settled pitch in hertz with the half-width of its interval, rounded to it."""
    if hz is None or uncertainty_cents is None:
        return NOT_HAD
    return f"{hz_with_interval(hz, uncertainty_cents, _MOST_DECIMALS_HZ)} Hz"


def file_facts(sound: SoundFile) -> Iterator[Fact]:
    """What file it is."""
    yield Fact("File", sound.kind)
    used = "" if sound.channels == 1 else f", of which channel {sound.channel} was used"
    channels = "1 channel" if sound.channels == 1 else f"{sound.channels} channels"
    yield Fact("Form", f"{sound.rate_hz} Hz, {channels}{used}; {sound.length_s:.2f} s long")


def head_facts(inspection: Inspection) -> Iterator[Fact]:
    """Which note it is, and how sure."""
    pitch, own_cents = inspection.pitch, inspection.own_uncertainty_cents
    if pitch is not None and own_cents is not None:
        half_cents = pitch.settled_uncertainty_cents
        text = f"{settled_text(pitch.settled_hz, half_cents)} (± {_half(half_cents)} cents)"
        if inspection.cautions:
            text += f"; ± {_half(own_cents)} cents before the cautions"
        yield Fact("Settled pitch", text, pitch.settled_hz)
    if inspection.note is not None and inspection.note_cents is not None:
        a4 = f"A4 = {inspection.a4_hz:g} Hz"
        text = f"{inspection.note} {_cents(inspection.note_cents, pitch)} cents ({a4})"
        yield Fact("Nearest note", text, inspection.note_cents)
    yield from _label_facts(inspection)


def _label_facts(inspection: Inspection) -> Iterator[Fact]:
    if inspection.label is None:
        if inspection.unlabelled is not None:
            yield Fact("Label", f"none: it {inspection.unlabelled} Here it goes by its pitch")
        return
    text = f"{label_text(inspection.label)}, which promises {inspection.promised_hz:.3f} Hz"
    if inspection.promised_cents is not None:
        off = _cents(inspection.promised_cents, inspection.pitch)
        text += f"; it sounds {off} cents from that"
    yield Fact("Label", text, inspection.promised_cents)


def label_text(label: Label) -> str:
    """String, fret and take in words."""
    return f"{label.named}, take {label.take}"


def place_facts(inspection: Inspection) -> Iterator[Fact]:
    """What was taken as the pluck."""
    place = inspection.place
    if place is None:
        return
    yield Fact("Pluck", f"{place.start_s:.2f} s to {place.end_s:.2f} s", place.start_s)
    yield Fact("Early part", f"{place.early_s[0]:.2f} s to {place.early_s[1]:.2f} s")
    if place.fitted_s is not None:
        yield Fact("Fitted", f"{place.fitted_s[0]:.2f} s to {place.fitted_s[1]:.2f} s")
        settled = "it never settles within its interval"
        if place.settled_s is not None:
            settled = f"{place.settled_s[0]:.2f} s to {place.settled_s[1]:.2f} s"
        yield Fact("Settled part", settled)


def figure_facts(inspection: Inspection) -> Iterator[Fact]:
    """Glide, drift, stiffness and the rest."""
    pitch = inspection.pitch
    if pitch is None:
        return
    yield Fact("Glide", _glide(inspection, pitch), _known(pitch.glide_cents))
    drift = pitch.sustain_drift_cents
    yield Fact(
        "Drift",
        _or_not_heard(drift, f"{signed(drift, 2)} cents, settled less {_EARLY}"),
        _known(drift),
    )
    slope = pitch.late_slope_cents_per_s
    yield Fact("Late slope", f"{signed(slope, 2)} cents/s in the second half", slope)
    beat = pitch.beat_hz
    beats = "none heard" if math.isnan(beat) else f"{beat:.2f} a second in the first partial"
    yield Fact("Beating", beats, _known(beat))
    stiff = scientific(_known(pitch.stiffness), _known(pitch.stiffness_uncertainty))
    yield Fact(
        "Stiffness B",
        stiff or "not known (from fewer than 3 partials, or none)",
        _known(pitch.stiffness),
    )
    used = sum(each.used for each in inspection.tracks)
    yield Fact("Partials", f"{used} of {len(inspection.tracks)} found are in the fit", used)
    yield Fact(
        "Misfit",
        f"{_misfit(pitch.misfit_cents)} cents beyond noise, rms about the string law",
        pitch.misfit_cents,
    )
    if not math.isnan(pitch.first_partial_hz):
        first = f"{pitch.first_partial_hz:.4f} Hz by itself"
        yield Fact("First partial", first, pitch.first_partial_hz)
    if pitch.clipped:
        yield Fact("Clipped", "yes; the flat tops were drawn anew from the waves between them")


def _glide(inspection: Inspection, pitch: SettledPitch) -> str:
    if math.isnan(pitch.glide_cents):
        return "not known: the start of the clipped note could not be made out"
    text = f"{signed(pitch.glide_cents, 2)} cents where it is first heard clearly"
    if inspection.place is not None and inspection.place.fitted_s is not None:
        text += f" ({inspection.place.fitted_s[0] - inspection.place.start_s:.2f} s)"
    if not math.isnan(pitch.glide_time_s):
        text += f", 1/e of that {pitch.glide_time_s:.2f} s later"
    return text


def partial_rows(tracks: Sequence[PartialTrack]) -> tuple[PartialRow, ...]:
    """The partials, the lowest first."""
    return tuple(
        PartialRow(
            str(each.number),
            f"{each.frequency_hz:.3f}",
            plain(each.level_db, 1),
            plain(each.over_noise_db, 0),
            with_interval(each.deviation_cents, each.deviation_uncertainty_cents) or NOT_HAD,
            f"{100 * each.weight:.1f}" if each.used else "not used",
        )
        for each in tracks
    )


def check_text(check: Check) -> str:
    """What was found."""
    if check.value is None:
        return "none heard"
    return f"{plain(check.value, 2 if check.unit in {'s', 'cents/s'} else 1)} {check.unit}"


def limit_text(check: Check, limit: float | None) -> str:
    """From where on it would be cautioned or rejected."""
    if limit is None:
        return NOT_HAD
    return f"{'below' if check.least else 'from'} {plain(limit, 1 if limit % 1 else 0)}"


def pluck_text(each: PluckLine) -> str:
    """What a pluck of many was taken for."""
    if each.label is not None:
        return label_text(each.label)
    return "none of the notes"


def _cents(value: float, pitch: SettledPitch | None) -> str:
    half = math.nan if pitch is None else pitch.settled_uncertainty_cents
    return signed(value, min(decimals_for(half), 2))


def _half(half_cents: float) -> str:
    return f"{half_cents:.{decimals_for(half_cents, 4)}f}"


def _misfit(cents: float) -> str:
    return f"{cents:.3f}" if cents >= 10.0**-MOST_DECIMALS else "less than 0.001"


def _known(value: float) -> float | None:
    return None if math.isnan(value) else value


def _or_not_heard(value: float, text: str) -> str:
    return "not known" if math.isnan(value) else text


def in_ascii(text: str) -> str:
    """The same for a terminal that has ASCII only."""
    for sign, plain_sign in ((MINUS, "-"), ("±", "+/-"), (NOT_HAD, "-"), (" × 10", " x 10^")):
        text = text.replace(sign, plain_sign)
    return text.translate(str.maketrans("⁻⁰¹²³⁴⁵⁶⁷⁸⁹", "-0123456789"))
