"""The law of the stiff string.

H. Fletcher, J. Acoust. Soc. Am. 36, 203 (1964), 2nd-hand: f_n = n f0 sqrt(1 + B n^2) with
B = pi^3 E d^4 / (64 T L^2), pinned ends. Values COMPUTED for plain steel of 200 GPa and 7850 kg/m3
(both from memory) at 647.7 mm.
"""

from __future__ import annotations

import math

import pytest
from made_notes import (
    OPEN_B,
    note,
    octave_of_partials,
    report_of,
)
from pluck_model import (
    PluckModel,
    partial_frequencies_hz,
)
from restrung import instrument_with, steel

from analyzer.frets.fit import harmonic_law_cents
from analyzer.inspection.look import inspect_recording
from analyzer.instrument.string_data import StringData
from analyzer.pitch.note import cut_note
from analyzer.pitch.settle import settle
from analyzer.plucks import find_pluck
from analyzer.recording.reading import open_recording
from analyzer.restring.plan import plan_of
from analyzer.string_model.fretting import FrettedString, Setbacks, error_parts
from analyzer.string_model.from_data import (
    model_string,
)

FLETCHER = "Fletcher, J. Acoust. Soc. Am. 36, 203 (1964), 2nd-hand"
pytestmark = pytest.mark.source(
    FLETCHER, "published formula", "partials, first partial, stiffness B"
)


NONE = Setbacks()


def measure(path):
    recording = open_recording(path)
    return settle(cut_note(recording, find_pluck(recording)))


def off_cents(path, truth_hz: float) -> float:
    return 1200 * math.log2(measure(path).settled_hz / truth_hz)


A2 = PluckModel(110.0, 1e-4, glide_cents=6.0, glide_time_s=0.25)


# COMPUTED, L = 647.7 mm, E = 200 GPa, 7850 kg/m3 (MEMORY): the part of the error at fret 12 that
# comes from stiffness, pinned / pinned and clamped / clamped ends. B is Fletcher's.
@pytest.mark.parametrize(
    ("fletcher_b", "pinned", "hybrid", "clamped"),
    [
        (1.3256e-5, 0.034, 2.003, 3.999),
        (3.9916e-5, 0.104, 3.471, 6.921),
        (1.0835e-4, 0.281, 5.708, 11.360),
    ],
)
def test_how_the_ends_are_held(fletcher_b, pinned, hybrid, clamped) -> None:
    """The columns are to first order in a = sqrt(B) / pi: 1 + a and 1 + 2a at the open string.

    What the second order adds, the formulas say: (1 + pi^2/2) a^2 and (4 + pi^2/2) a^2 at the open
    string, four times that at the fret.
    """
    a = math.sqrt(fletcher_b) / math.pi
    string = FrettedString(647.7, 0.0, a, 0.0, 0.0)
    found = {
        ends: error_parts(string, 12, NONE, ends).stiffness_cents
        for ends in ("pinned", "hybrid", "clamped")
    }
    second = 3 * 1731.234 * a**2
    assert found["pinned"] == pytest.approx(pinned, abs=0.001)
    assert found["hybrid"] == pytest.approx(hybrid + second * (1 + math.pi**2 / 2), abs=0.02)
    assert found["clamped"] == pytest.approx(clamped + second * (4 + math.pi**2 / 2), abs=0.06)


# COMPUTED: inches, pitch -> tension N, Fletcher's B of a plain steel string at 647.7 mm.
@pytest.mark.source(FLETCHER, "published formula", "tension and B of plain steel from its gauge")
@pytest.mark.parametrize(
    ("inches", "pitch_hz", "tension_n", "fletcher_b"),
    [
        (0.010, 329.628, 72.52, 1.3256e-5),
        (0.013, 246.942, 68.79, 3.9916e-5),
        (0.017, 195.998, 74.10, 1.0835e-4),
    ],
)
def test_plain_steel_from_material_alone(inches, pitch_hz, tension_n, fletcher_b) -> None:
    data = StringData(diameter_mm=25.4 * inches, material="steel")
    found, _ = model_string(data, 647.7, pitch_hz)
    assert found is not None
    assert found.tension_n == pytest.approx(tension_n, rel=1e-3)
    assert (math.pi * found.string.stiffness) ** 2 == pytest.approx(fletcher_b, rel=1e-3)


@pytest.mark.source(FLETCHER, "published formula", "tension and B of plain steel from its gauge")
def test_only_the_core_of_a_wound_string_pulls_and_bends() -> None:
    """By hand: E A / T and sqrt(kappa) r / 2L with the core's 0.4 mm, whatever lies around it."""
    data = StringData(1.1, 0.4, "steel", None, 6.0)
    found, _ = model_string(data, 650.0, 82.407)
    assert found is not None
    tension_n = 0.006 * (1.3 * 82.407) ** 2
    kappa = 200e9 * math.pi * 0.0002**2 / tension_n
    assert found.string.kappa == pytest.approx(kappa)
    assert found.string.stiffness == pytest.approx(math.sqrt(kappa) * 0.2 / 1300)


@pytest.mark.source(FLETCHER, "published formula", "change of error by another gauge")
@pytest.mark.parametrize("inches", [0.013, 0.008])
def test_gauge_of_plain_steel_by_hand(inches) -> None:
    """At one pitch a = sqrt(B) / pi goes with the diameter; 0.010 in has B 1.3256e-5 (COMPUTED).

    On strings that lie on the frets only stiffness is left: first order 1 + a open, 1 + 2a at 12.
    """
    flat = {"height_at_fret_1_mm": 0.0, "height_at_fret_12_mm": 0.0}
    instrument = instrument_with({1: steel(0.010, **flat)}, length_mm=647.7)
    (found,) = plan_of(instrument, {1: steel(inches, **flat)}, 440.0).strings

    def error_cents(a: float) -> float:
        second = 1 + math.pi**2 / 2
        return 1200 * math.log2((1 + 2 * a + 4 * second * a**2) / (1 + a + second * a**2))

    a = math.sqrt(1.3256e-5) / math.pi
    change = error_cents(a * inches / 0.010) - error_cents(a)
    assert found.error_change_cents == pytest.approx(change, abs=0.005)
    # Pinned ends change by hundredths, clamped ones by twice as much: the half-width holds both.
    assert found.error_change_uncertainty_cents == pytest.approx(abs(change), rel=0.15)
    assert (found.saddle_move_mm > 0) == (inches > 0.010)


@pytest.mark.source(FLETCHER, "published formula", "harmonic over fret 12 against the open note")
def test_harmonic_by_the_string_law() -> None:
    for b in (1e-5, 5e-5, 4e-4):
        assert harmonic_law_cents(b) == pytest.approx(octave_of_partials(b))
    law = octave_of_partials(OPEN_B)
    (found,) = report_of(note("5 open"), note("5 h12", law)).frets
    assert found.harmonic_cents == pytest.approx(law)
    assert found.harmonic_law_cents == pytest.approx(law)


@pytest.mark.source(FLETCHER, "published formula", "pitch with a weak first partial")
def test_stretched_partials_do_not_pull_the_figure_up(write_pluck) -> None:
    # Partial 10 at B = 1e-4 sits 8.53 cents high: 1200 log2 sqrt((1 + 100 B) / (1 + B)).
    assert 1200 * math.log2(math.sqrt((1 + 100e-4) / (1 + 1e-4))) == pytest.approx(8.53, abs=0.01)
    weak_first = PluckModel(82.407, 1e-4, first_partial_db=-25, glide_cents=0)
    assert abs(off_cents(write_pluck("p.wav", weak_first), 82.407)) < 0.1


def test_partials_are_those_of_the_string(write_pluck) -> None:
    found = inspect_recording(write_pluck("s5_open_1.wav", A2, duration_s=3.0, snr_db=60))
    truth_hz = partial_frequencies_hz(A2)
    assert len(found.tracks) >= 15
    for each in found.tracks:
        off_cents = 1200 * math.log2(each.frequency_hz / truth_hz[each.number - 1])
        assert abs(off_cents) < max(0.02, 1.5 * each.deviation_uncertainty_cents), each.number
        assert abs(each.deviation_cents) < max(0.02, 1.5 * each.deviation_uncertainty_cents)
    assert abs(found.pitch.stiffness - A2.stiffness) < found.pitch.stiffness_uncertainty + 1e-8
    assert sum(each.weight for each in found.tracks) == pytest.approx(1)
