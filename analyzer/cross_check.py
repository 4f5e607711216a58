"""Recordings held against each other: copies, devices, names, tuning, harmonics, strays."""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np

from analyzer.errors import RecordingError
from analyzer.gate import contradicted
from analyzer.instrument.model import Instrument
from analyzer.measure import Measured
from analyzer.music import cents_between, ratio_of_cents
from analyzer.quality import thresholds as limits
from analyzer.quality.model import Caution, Traits
from analyzer.recording.labels import HARMONIC, HIGHEST_FRET, OPEN, TWELFTH_FRET, Label

_NEEDED = (OPEN, TWELFTH_FRET)


def judge_together(
    measured: Sequence[Measured], instrument: Instrument, a4_hz: float
) -> list[Measured]:
    """The same plucks in the same order, those left out or cautioned that contradict others."""
    found = _with_own_takes(list(measured))
    for check in (_copies, _strays):
        for index, error in list(check(found)):
            found[index] = found[index].rejected(error)
    for index, error in list(_misnamed(found, instrument, a4_hz)):
        found[index] = found[index].rejected(error)
    cautions = [
        *_devices(found),
        *_harmonics(found),
        *_out_of_tune(found, instrument, a4_hz),
    ]
    for index, caution in cautions:
        found[index] = found[index].with_cautions([caution])
    return found


def _with_own_takes(found: list[Measured]) -> list[Measured]:
    """Takes of a file with many are numbered on from those of files with names."""
    taken = {each.label for each in found if each.label is not None and each.part_s is None}
    for index, each in enumerate(found):
        if each.label is None or each.part_s is None:
            continue
        label = each.label
        while label in taken:
            label = replace(label, take=label.take + 1)
        taken.add(label)
        found[index] = replace(each, label=label)
    return found


def _by_note(found: Sequence[Measured]) -> dict[tuple[int, str], list[int]]:
    """Indices of what may be used, by string and fret."""
    notes: dict[tuple[int, str], list[int]] = {}
    for index, each in enumerate(found):
        if each.label is not None and each.pitch is not None:
            notes.setdefault((each.label.string, each.label.fret), []).append(index)
    return notes


def _copies(found: Sequence[Measured]) -> Iterator[tuple[int, RecordingError]]:
    gone: set[int] = set()
    strings: dict[int, list[int]] = {}
    for (string, _), indices in _by_note(found).items():
        strings.setdefault(string, []).extend(indices)
    for indices in strings.values():
        for one, other in combinations(sorted(indices), 2):
            if one in gone or other in gone or not _is_copy(found[one], found[other]):
                continue
            gone.add(other)
            yield (
                other,
                RecordingError(
                    found[other].file,
                    f"is the same sound as {found[one].named}",
                    "Delete one of the two, or record another take; one sound counts once",
                ),
            )


def _is_copy(one: Measured, other: Measured) -> bool:
    """Whether the waveforms agree, at any gain and with either start cut off a little."""
    if one.traits is None or other.traits is None or one.pitch is None or other.pitch is None:
        return False
    if one.traits.rate_hz != other.traits.rate_hz:
        return False
    # A copy has the same pitch; this spares the comparison for most pairs.
    apart = abs(cents_between(one.pitch.settled_hz, other.pitch.settled_hz))
    if apart > 1 + one.pitch.settled_uncertainty_cents + other.pitch.settled_uncertainty_cents:
        return False
    return _agreement(one.traits, other.traits) > limits.COPY_CORRELATION


def _agreement(one: Traits, other: Traits) -> float:
    """The highest correlation over shifts of up to a fifth of the shorter piece."""
    from scipy import signal

    size = min(one.print_.size, other.print_.size)
    if size < 100:
        return 0.0
    if np.array_equal(one.print_[:size], other.print_[:size]):
        return 1.0
    first, second = (each.print_[:size].astype(np.float64) for each in (one, other))
    reach = size // 5
    inner = second[reach : size - reach]
    power = np.convolve(first**2, np.ones(inner.size), mode="valid")
    product = signal.correlate(first, inner, mode="valid", method="fft")
    scale = np.sqrt(np.maximum(power, 1e-12) * max(float(np.sum(inner**2)), 1e-12))
    return float(np.max(np.abs(product) / scale))


def _strays(found: Sequence[Measured]) -> Iterator[tuple[int, RecordingError]]:
    """In a take of many plucks a steady voice may have hit a note."""
    for indices in _by_note(found).values():
        hz = [pitch.settled_hz for i in indices if (pitch := found[i].pitch) is not None]
        if len(hz) < 3:
            continue
        middle_hz = statistics.median(hz)
        for index, each_hz in zip(indices, hz, strict=True):
            off = cents_between(middle_hz, each_hz)
            if found[index].part_s is not None and abs(off) > limits.STRAY_CENTS:
                yield (
                    index,
                    RecordingError(
                        found[index].file,
                        f"lies {off:+.0f} cents from the other takes of the same note "
                        f"({limits.STRAY_CENTS:g} is the most)",
                        "If it was a pluck and not something else, record that note again",
                    ),
                )


def _off_cents(each: Measured, instrument: Instrument, a4_hz: float) -> float:
    """How far a pluck lies above what its label promises."""
    if each.label is None or each.pitch is None:
        return math.nan
    promised_hz = instrument.open_hz(each.label.string, a4_hz) * ratio_of_cents(
        100 * each.label.semitones
    )
    return cents_between(promised_hz, each.pitch.settled_hz)


def _misnamed(
    found: Sequence[Measured], instrument: Instrument, a4_hz: float
) -> Iterator[tuple[int, RecordingError]]:
    """A neighbour in a close tuning is no more than a semitone off, which no label excludes."""
    off = [_off_cents(each, instrument, a4_hz) for each in found]
    known = [value for value in off if math.isfinite(value)]
    common = statistics.median(known) if known else 0.0
    for index, each in enumerate(found):
        if each.label is None or each.pitch is None:
            continue
        off_cents, heard_hz = off[index] - common, each.pitch.settled_hz
        if abs(off_cents) <= limits.OUT_OF_TUNE_CENTS:
            continue
        if each.label.fret in _NEEDED:
            likelier = _nearest_place(heard_hz / ratio_of_cents(common), instrument, a4_hz)
        else:
            likelier = _nearest_fret(each.label, off_cents)
        if likelier is not None:
            error = contradicted(each.file, each.label, instrument, heard_hz, a4_hz, likelier)
            yield index, error


def _nearest_place(hz: float, instrument: Instrument, a4_hz: float) -> Label | None:
    """The open string or 12th fret whose note lies just there."""
    for string in instrument.strings:
        for fret in _NEEDED:
            label = Label(string, fret)
            note_hz = instrument.open_hz(string, a4_hz) * ratio_of_cents(100 * label.semitones)
            if abs(cents_between(note_hz, hz)) < limits.BETTER_FIT_CENTS:
                return label
    return None


def _nearest_fret(label: Label, off_cents: float) -> Label | None:
    """The fret of the same string whose note is nearer; None where it is the label's own."""
    fret = label.semitones + round(off_cents / 100)
    if fret == label.semitones or not 0 <= fret <= HIGHEST_FRET:
        return None
    return Label(label.string, f"f{fret}" if fret else OPEN)


def _devices(found: Sequence[Measured]) -> Iterator[tuple[int, Caution]]:
    notes = _by_note(found)
    noise_dbfs = _noise_by_file(found)
    for string in dict.fromkeys(number for number, _ in notes):
        indices = [index for fret in _NEEDED for index in notes.get((string, fret), [])]
        traits = {found[i].file: each for i in indices if (each := found[i].traits) is not None}
        words = _difference(list(traits.values()), [noise_dbfs[file] for file in traits])
        if words:
            caution = Caution(
                f"the recordings of string {string} seem to come from two devices ({words}), whose "
                "clocks differ. Record both notes with one.",
                limits.DEVICES_ADDED_CENTS,
            )
            yield from ((index, caution) for index in indices)


def _noise_by_file(found: Sequence[Measured]) -> dict[str, float]:
    """The quietest moment of each file; between the plucks of a long take other strings ring."""
    noise_dbfs: dict[str, float] = {}
    for each in found:
        if each.traits is not None:
            known_dbfs = noise_dbfs.get(each.file, math.nan)
            noise_dbfs[each.file] = float(np.fmin(known_dbfs, each.traits.noise_dbfs))
    return noise_dbfs


def _difference(traits: Sequence[Traits], noise_dbfs: Sequence[float]) -> str:
    rates = sorted({each.rate_hz for each in traits})
    if len(rates) > 1:
        return f"{rates[0]} Hz and {rates[-1]} Hz"
    kinds = sorted({each.suffix for each in traits})
    if len(kinds) > 1:
        return f"{kinds[0]} and {kinds[-1]}"
    channels = sorted({each.channels for each in traits})
    if len(channels) > 1:
        return f"{channels[0]} and {channels[-1]} channels"
    noise = [each for each in noise_dbfs if math.isfinite(each)]
    if noise and max(noise) - min(noise) > limits.DEVICES_NOISE_DB:
        return f"noise at {min(noise):.0f} dBFS and {max(noise):.0f} dBFS"
    return ""


def _harmonics(found: Sequence[Measured]) -> Iterator[tuple[int, Caution]]:
    """A note named f12 that is where the harmonic is, with a rest of the whole string under it.

    The harmonic's partials are the open string's even ones, 2j f0 sqrt(1 + 4 B j^2): those of a
    string with four times the open B at twice its pitch. The string stopped at half its length has
    four times the B as well (B goes with 1/L^2), so neither B nor the pitch tells them apart, only
    what is left of the odd partials does. A clean harmonic is not recognised.
    """
    notes = _by_note(found)
    for (string, fret), indices in notes.items():
        opens = [pitch for i in notes.get((string, OPEN), []) if (pitch := found[i].pitch)]
        if fret != TWELFTH_FRET or not opens:
            continue
        open_hz = statistics.median(each.settled_hz for each in opens)
        stiffness = statistics.median(max(each.stiffness, 0.0) for each in opens)
        stiffness = 0.0 if math.isnan(stiffness) else stiffness
        harmonic_hz = 2 * open_hz * math.sqrt((1 + 4 * stiffness) / (1 + stiffness))
        for index in indices:
            pitch, traits = found[index].pitch, found[index].traits
            if pitch is None or traits is None or not traits.half_lines:
                continue
            if abs(cents_between(harmonic_hz, pitch.settled_hz)) < limits.HARMONIC_CENTS:
                yield (
                    index,
                    Caution(
                        f"sounds like the harmonic of string {string}, not like its 12th fret: the "
                        "whole string is heard under it. Press the string down behind the 12th "
                        f"fret, or name it s{string}_{HARMONIC}.",
                        limits.HARMONIC_ADDED_CENTS,
                    ),
                )


def _out_of_tune(
    found: Sequence[Measured], instrument: Instrument, a4_hz: float
) -> Iterator[tuple[int, Caution]]:
    off = {
        index: _off_cents(each, instrument, a4_hz)
        for index, each in enumerate(found)
        if each.label is not None and each.pitch is not None and each.label.fret in _NEEDED
    }
    strings = {each.label.string for i in off if (each := found[i]).label is not None}
    if len(strings) < 3:
        return
    common = statistics.median(off.values())
    for index, value in off.items():
        if abs(value - common) > limits.OUT_OF_TUNE_CENTS:
            yield (
                index,
                Caution(
                    f"lies {value - common:+.0f} cents from where the other strings are tuned. "
                    "Tune it and record both its notes again.",
                    limits.OUT_OF_TUNE_ADDED_CENTS,
                ),
            )
