"""Pitches of screw threads, and what a turn of them does.

SEEN: size tables of general CAD parts after ISO 4026, ISO 4762 and ASME B18.3. ISO 261, ISO 262 and
ASME B1.1 themselves were not read.
"""

from __future__ import annotations

import pytest

from analyzer.bridge.effect import LengthEffect
from analyzer.bridge.problem import Need
from analyzer.bridge.setting import PartSetting, set_bridge
from analyzer.bridge.steps import turns_for
from analyzer.instrument.model import Screw, own_screws
from analyzer.instrument.threads import thread_pitch_mm

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
        ("8-32", 0.79375),
        ("m3", 0.50),
        ("M3x0.35", 0.35),
    ],
)
def test_thread_pitch(thread, pitch_mm) -> None:
    assert thread_pitch_mm(thread) == pytest.approx(pitch_mm, rel=1e-12)


def need(error_cents: float, length_mm: float = 647.7) -> Need:
    return Need(error_cents, LengthEffect(length_mm))


def only_part(bridge, needs) -> PartSetting:
    (part,) = set_bridge(bridge.adjusters, needs)
    return part


# Turns for 5 cents at 647.7 mm by the linear rule; pitches from tables after ISO 4762, ASME B18.3.
@pytest.mark.source(THREADS, "published formula", "cents a turn, and turns for 5 cents")
@pytest.mark.parametrize(
    ("pitch_mm", "turns"), [(0.40, 4.677), (0.50, 3.741), (0.70, 2.672), (0.635, 2.946)]
)
def test_turns_for_five_cents(pitch_mm, turns) -> None:
    screw = Screw(pitch_mm, "tail", 0.01)
    part = only_part(own_screws([[1]], screw), {1: need(5.0)})
    found, direction = turns_for(part.settings_mm[0], screw)
    assert found == pytest.approx(turns, rel=0.01)  # exact is 0.4 % above linear
    assert direction == "clockwise"
