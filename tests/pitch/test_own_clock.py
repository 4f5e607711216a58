"""A note on a clock of its own: made notes of known pitch, and how they are cut on it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from analyzer.pitch.clipping import Clipping
from analyzer.pitch.note import Note
from analyzer.pitch.own_clock import Paced, on_own_clock
from analyzer.pitch.partials import Peaks, find_partials, stretched
from analyzer.pitch.spectrum import line_spectrum, low_note, note_spectrum

RATE_HZ, ONSET_S = 16_000.0, 0.1
NUMBERS = np.arange(1.0, 9.0)
FREE, CLIPPED = Clipping(np.zeros(30)), Clipping(np.append(np.full(4, 0.4), np.zeros(26)))


def note_of(f1_hz: float, clipping: Clipping = FREE, lines_hz=None) -> Note:
    """Decaying partials at ``lines_hz``, or by the law, in noise 80 dB down."""
    lines_hz = stretched(NUMBERS, f1_hz, 1e-4) if lines_hz is None else lines_hz
    t = np.arange(round(1.6 * RATE_HZ)) / RATE_HZ - ONSET_S
    waves = np.sin(2 * np.pi * lines_hz[:, None] * t + lines_hz[:, None]) * np.exp(-t / 0.8)
    noise = 1e-4 * np.random.default_rng(1).normal(size=t.size)
    samples = np.where(t >= 0, np.sum(waves, axis=0), 0.0) + noise
    spectrum = note_spectrum(samples, RATE_HZ, ONSET_S)
    low = low_note(spectrum)
    lines = line_spectrum(low, clipping.free_from_s())
    return Note(None, None, samples, spectrum, low, clipping, lines)


def paced(note: Note, f1_hz: float) -> tuple[Paced, Peaks]:
    peaks = find_partials(note.lines, f1_hz, RATE_HZ)
    return on_own_clock(note, peaks), peaks


def reference_hz(f1_hz: float) -> float:
    """The nearest of three an octave, of which one lies half a semitone above A4."""
    first = 440 * 2 ** (1 / 24)
    return first * 2 ** (round(3 * math.log2(f1_hz / first)) / 3)


@pytest.mark.parametrize("f1_hz", [82.4, 110.0, 155.6, 246.9])
def test_a_note_runs_at_the_reference_on_its_clock(f1_hz) -> None:
    """On that clock it is looked for again, and paced by what is found; to a tenth of a cent."""
    found, _ = paced(note_of(f1_hz), f1_hz)
    assert found.peaks.numbers.tolist() == NUMBERS.tolist()
    assert found.peaks.rough_hz[0] == pytest.approx(reference_hz(f1_hz), rel=1e-12)
    assert found.pace == pytest.approx(f1_hz / reference_hz(f1_hz), rel=5e-5)
    expected = stretched(NUMBERS, f1_hz, 1e-4)
    assert found.pace * found.peaks.rough_hz == pytest.approx(expected, abs=0.05)


def test_the_spectrum_is_on_that_clock() -> None:
    note = note_of(110.0)
    found, _ = paced(note, 110.0)
    assert found.spectrum.rate_hz == pytest.approx(RATE_HZ / found.pace, rel=1e-12)
    assert found.spectrum.onset_s == pytest.approx(ONSET_S * found.pace, rel=1e-12)
    assert found.spectrum.duration_s == pytest.approx(1.6 * found.pace, rel=1e-12)


@pytest.mark.parametrize("cents", [-35.0, 12.0, 40.0])
def test_a_note_a_little_sharper_is_cut_alike(cents) -> None:
    """Its partials lie where the other's do, on its clock: the law alone moves none."""
    one, _ = paced(note_of(220.0), 220.0)
    sharper_hz = 220.0 * 2 ** (cents / 1200)
    other, _ = paced(note_of(sharper_hz), sharper_hz)
    assert other.pace / one.pace == pytest.approx(sharper_hz / 220.0, rel=5e-5)
    assert other.peaks.rough_hz == pytest.approx(one.peaks.rough_hz, abs=0.05)


def strayed(f1_hz: float):
    """Two upper partials off the law by more than a line can be off by itself, and in reach."""
    lines_hz = stretched(np.arange(1.0, 14.0), f1_hz, 1e-4)
    lines_hz[[4, 11]] *= 1.004
    return lines_hz


@pytest.mark.parametrize(("clipping", "off_hz"), [(FREE, True), (CLIPPED, False)])
def test_a_clipped_notes_lines_are_the_laws(clipping, off_hz) -> None:
    """Of the first lookup and of the second; what is not clipped stays as it is heard."""
    lines_hz = strayed(196.0)
    found, _ = paced(note_of(196.0, clipping, lines_hz), 196.0)
    law_hz = stretched(found.peaks.numbers, 196.0, 1e-4)
    off = found.pace * found.peaks.rough_hz - law_hz
    own = np.isin(found.peaks.numbers, [5, 12])
    assert np.sum(own) == 2
    assert off[~own] == pytest.approx(0, abs=0.1)
    assert off[own] == pytest.approx(0.004 * law_hz[own] if off_hz else 0, abs=0.1)


def test_lines_of_a_clipped_note_are_looked_for_where_it_is_free() -> None:
    """A note of another pitch before 0.2 s, which the second look must not hear."""
    f1_hz = 196.0
    note = note_of(f1_hz, CLIPPED)
    t = np.arange(note.samples.size) / RATE_HZ
    early = np.sum(np.sin(2 * np.pi * 1.006 * f1_hz * NUMBERS[:, None] * t), axis=0)
    samples = np.where(t < 0.2, 3 * early, note.samples)
    spectrum = note_spectrum(samples, RATE_HZ, ONSET_S)
    note = replace(note, spectrum=spectrum, low=low_note(spectrum))
    found, _ = paced(note, f1_hz)
    assert found.pace == pytest.approx(f1_hz / reference_hz(f1_hz), rel=5e-5)


def test_where_nothing_is_found_again_the_first_lines_stay() -> None:
    note = note_of(130.8)
    peaks = find_partials(note.lines, 130.8, RATE_HZ)
    noise = np.random.default_rng(2).normal(size=note.samples.size)
    spectrum = note_spectrum(noise, RATE_HZ, ONSET_S)
    found = on_own_clock(replace(note, spectrum=spectrum, low=low_note(spectrum)), peaks)
    pace = peaks.rough_hz[0] / reference_hz(130.8)
    assert found.pace == pytest.approx(pace)
    assert found.peaks.rough_hz == pytest.approx(peaks.rough_hz / pace)
    assert found.spectrum.rate_hz == pytest.approx(RATE_HZ / pace)
