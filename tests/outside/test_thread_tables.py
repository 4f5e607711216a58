"""Pitches of screw threads, and what a turn of them does.

Size tables of general CAD parts after ISO 4026, ISO 4762 and ASME B18.3. ISO 261, ISO 262 and
ASME B1.1 themselves were not read.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from made_bridges import own_screws
from made_notes import CLEAN

from analyzer.bridge.effect import LengthEffect
from analyzer.bridge.problem import Need
from analyzer.bridge.setting import PartSetting, set_bridge
from analyzer.bridge.steps import turns_for
from analyzer.instrument.model import Instrument, Screw
from analyzer.instrument.threads import thread_pitch_mm
from analyzer.measure import Measured
from analyzer.recording.labels import Label
from analyzer.report.build import build_report

THREADS = "ISO 261/262 and ASME B1.1 threads, by size tables of CAD parts"
pytestmark = pytest.mark.source(THREADS, "standard", "pitch of a thread by its designation")


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
        ("8-32 UNC", 0.79375),
        ("8-32", 0.79375),
    ],
)
def test_thread_pitch(thread, pitch_mm) -> None:
    assert thread_pitch_mm(thread) == pytest.approx(pitch_mm, rel=1e-12)


@pytest.mark.source(THREADS, "from memory", "pitch of a thread by its designation")
@pytest.mark.parametrize(("thread", "pitch_mm"), [("m3", 0.50), ("M3x0.35", 0.35)])
def test_how_threads_are_written(thread, pitch_mm) -> None:
    assert thread_pitch_mm(thread) == pytest.approx(pitch_mm, rel=1e-12)


@pytest.mark.parametrize("thread", ["M2x0.45", "M3x0.6", "M4x0.75"])
def test_pitches_of_the_old_series_are_no_coarse_ones(thread) -> None:
    """Some tables list them still; ISO 262 does not. A pitch over the coarse one is refused."""
    with pytest.raises(ValueError, match="not a known thread"):
        thread_pitch_mm(thread)


def need(error_cents: float, length_mm: float = 647.7) -> Need:
    return Need(error_cents, LengthEffect(length_mm))


def only_part(bridge, needs) -> PartSetting:
    (part,) = set_bridge(bridge.adjusters, needs)
    return part


# Computed at 647.7 mm: thread, cents a turn, turns for 5 cents.
A_TURN = [
    ("M2", 1.0692, 4.677),
    ("M2.5", 1.2028, 4.157),
    ("M3", 1.3364, 3.741),
    ("M4", 1.8710, 2.672),
    ("4-40 UNC", 1.6973, 2.946),
    ("6-32 UNC", 2.1216, 2.357),
    ("8-32 UNC", 2.1216, 2.357),
]


# Turns for 5 cents at 647.7 mm by the linear rule; pitches from tables after ISO 4762, ASME B18.3.
@pytest.mark.source(THREADS, "published formula", "cents a turn, and turns for 5 cents")
@pytest.mark.parametrize(("thread", "turns"), [(row[0], row[2]) for row in A_TURN])
def test_turns_for_five_cents(thread, turns) -> None:
    screw = Screw(thread_pitch_mm(thread), "tail", 0.01)
    part = only_part(own_screws([[1]], screw), {1: need(5.0)})
    found, direction = turns_for(part.settings_mm[0], screw)
    assert found == pytest.approx(turns, rel=0.01)  # exact is 0.4 % above linear
    assert direction == "clockwise"


@pytest.mark.source(THREADS, "published formula", "cents a turn, and turns for 5 cents")
@pytest.mark.parametrize(("thread", "cents"), [row[:2] for row in A_TURN])
def test_cents_a_turn_in_a_report(thread, cents) -> None:
    """From notes 5 cents apart to what the report says of a turn: away from the nut flattens."""
    bridge = own_screws([[1]], Screw(thread_pitch_mm(thread), "tail", 0.25))
    instrument = Instrument("made", ("E4",), (647.7,), bridge)
    open_note = replace(CLEAN, settled_hz=329.627557)
    fretted = replace(CLEAN, settled_hz=2 * 329.627557 * 2 ** (5 / 1200), stiffness=2e-4)
    notes = [
        Measured(f"s1_{fret}_1.wav", Label(1, fret, 1), pitch, None)
        for fret, pitch in (("open", open_note), ("f12", fretted))
    ]
    report = build_report(instrument, 440.0, notes, [])
    assert report.adjusters[0].cents_per_turn == pytest.approx({1: -cents}, abs=6e-5)
