"""The law of the stiff string.

H. Fletcher, J. Acoust. Soc. Am. 36, 203 (1964), 2nd-hand: f_n = n f0 sqrt(1 + B n^2) with
B = pi^3 E d^4 / (64 T L^2), pinned ends. Values computed for plain steel of 200 GPa and 7850 kg/m3
(both from memory) at 647.7 mm.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import soundfile
from compensation_tables import TABLES
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
from analyzer.instrument.string_data import MATERIALS, StringData
from analyzer.pitch.note import cut_note
from analyzer.pitch.partials import stretched
from analyzer.pitch.settle import settle
from analyzer.plucks import find_pluck
from analyzer.recording.reading import open_recording
from analyzer.restring.plan import plan_of
from analyzer.string_model.fretting import FrettedString, Setbacks, error_parts
from analyzer.string_model.from_data import (
    model_string,
)

AB24_AND_FLETCHER = "Anderson, Beausoleil 2024 in the notation of Fletcher 1964"
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


# Computed, L = 647.7 mm, E = 200 GPa, 7850 kg/m3 (recalled): the part of the error at fret 12 that
# comes from stiffness, by how the ends are held. B is Fletcher's. The values are to first order in
# a = sqrt(B) / pi: 1 + a for the hybrid, 1 + 2a for clamped ends, at the open string. The second
# order adds (1 + pi^2/2) a^2 and (4 + pi^2/2) a^2 there, by the formulas, and four times that at
# the fret.
def stiffness_cents(fletcher_b: float, ends: str) -> float:
    string = FrettedString(647.7, 0.0, math.sqrt(fletcher_b) / math.pi, 0.0, 0.0)
    return error_parts(string, 12, NONE, ends).stiffness_cents


def second_order_cents(fletcher_b: float, factor: float) -> float:
    return 3 * 1731.234 * fletcher_b / math.pi**2 * (factor + math.pi**2 / 2)


@pytest.mark.source(AB24_AND_FLETCHER, "published formula", "error by stiffness, pinned saddle")
@pytest.mark.parametrize(
    ("b", "pinned", "hybrid"),
    [(1.3256e-5, 0.034, 2.003), (3.9916e-5, 0.104, 3.471), (1.0835e-4, 0.281, 5.708)],
)
def test_how_the_ends_are_held(b, pinned, hybrid) -> None:
    """Both ends pinned by Fletcher's law; saddle pinned and fret clamped by [AB24]'s hybrid."""
    assert stiffness_cents(b, "pinned") == pytest.approx(pinned, abs=0.001)
    expected = hybrid + second_order_cents(b, 1)
    assert stiffness_cents(b, "hybrid") == pytest.approx(expected, abs=0.02)


@pytest.mark.source(FLETCHER, "from memory", "error by stiffness, both ends clamped")
@pytest.mark.parametrize(
    ("b", "clamped"), [(1.3256e-5, 3.999), (3.9916e-5, 6.921), (1.0835e-4, 11.360)]
)
def test_clamped_ends(b, clamped) -> None:
    expected = clamped + second_order_cents(b, 4)
    assert stiffness_cents(b, "clamped") == pytest.approx(expected, abs=0.06)


# Computed: inches, pitch -> tension N, Fletcher's B of a plain steel string at 647.7 mm.
@pytest.mark.source(FLETCHER, "published formula", "tension and B of steel by gauge, E from memory")
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


@pytest.mark.source(FLETCHER, "published formula", "tension and B of steel by gauge, E from memory")
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
    """At one pitch a = sqrt(B) / pi goes with the diameter; 0.010 in has B 1.3256e-5 (computed).

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


def test_partials_by_the_law() -> None:
    """Computed: partial 10 at B = 1e-4 sits 8.53 cents over ten times the first."""
    f1_hz, b = 82.407, 1e-4
    first, tenth = stretched(np.array([1.0, 10.0]), f1_hz, b)
    assert first == pytest.approx(f1_hz)  # f1 = f0 sqrt(1 + B) is what the pitch is
    assert 1200 * math.log2(tenth / (10 * f1_hz)) == pytest.approx(8.53, abs=0.005)


@pytest.mark.parametrize("b", [1e-5, 1e-4, 5e-4])
def test_first_partial_and_stiffness_of_a_string_made_here(tmp_path, b) -> None:
    """Partials k f0 sqrt(1 + B k^2), summed in this test: f0 sqrt(1 + B) is the pitch, B is B."""
    f0_hz, rate_hz = 110.0, 44_100
    t_s = np.arange(3 * rate_hz) / rate_hz
    k = np.arange(1, 16)[:, None]
    partials = (
        np.exp(-t_s * (0.5 + 0.1 * k))
        / k
        * np.sin(2 * np.pi * k * f0_hz * np.sqrt(1 + b * k**2) * t_s + k)
    )
    noise = np.random.default_rng(1).normal(0, 1e-4, t_s.size + rate_hz // 4)
    noise[rate_hz // 4 :] += 0.2 * partials.sum(axis=0)
    soundfile.write(tmp_path / "p.wav", noise, rate_hz, subtype="PCM_24")
    found = measure(tmp_path / "p.wav")
    assert found.stiffness == pytest.approx(b, abs=max(0.01 * b, 2e-7))
    off = 1200 * math.log2(found.settled_hz / (f0_hz * math.sqrt(1 + b)))
    assert abs(off) < 0.01


@pytest.mark.source(AB24_AND_FLETCHER, "published formula", "Fletcher's B from string data")
@pytest.mark.parametrize(
    ("row", "b"),
    [
        *zip(
            TABLES["normal nylon"],
            (3.563e-5, 4.777e-5, 8.942e-5, 3.638e-5, 5.638e-5, 1.0170e-4),
            strict=True,
        )
    ],
)
def test_both_notations_of_stiffness(row, b) -> None:
    """B = pi^2 B0^2 (computed). B0 is printed to three digits, R to 0.1: together 1 %."""
    data = StringData(2 * row.radius_mm, tension_n=row.tension_n, stretch_response=row.response)
    found, _ = model_string(data, 650.0, 100.0)
    assert found is not None
    assert (math.pi * found.string.stiffness) ** 2 == pytest.approx(b, rel=0.01)


@pytest.mark.parametrize(
    ("b_open", "b_fret_12"),
    [(1.3256e-5, 5.3023e-5), (3.9916e-5, 1.5966e-4), (1.0835e-4, 4.3342e-4)],
)
def test_stiffness_at_fret_12_is_that_of_half_the_string(b_open, b_fret_12) -> None:
    """Computed: four times as stiff. What goes with the law raises nothing, what does not does."""

    def causes(at_fret: float) -> set[str]:
        notes = [
            note(place, stiffness=b, stiffness_uncertainty=0.01 * b)
            for place, b in (("4 open", b_open), ("4 f12", at_fret))
        ]
        return {finding.cause for finding in report_of(*notes).findings}

    assert causes(b_fret_12) == set()
    assert (
        causes(b_fret_12 / 2.5)
        == causes(b_fret_12 * 2.5)
        == {"open and fretted notes of two strings"}
    )


@pytest.mark.source("Handbook values of materials", "from memory", "steel and nylon")
def test_materials() -> None:
    """Steel wire 200 to 210 GPa and 7850 kg/m3, nylon 1140 kg/m3."""
    assert 200 <= MATERIALS["steel"].modulus_gpa <= 210
    assert MATERIALS["steel"].density_kg_per_m3 == 7850
    assert MATERIALS["nylon"].density_kg_per_m3 == 1140
