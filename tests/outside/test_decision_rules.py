"""The two decision rules against the normal distribution.

Guarded acceptance keeps off the limits by the guard band, as ISO 14253-1:2017 has it at 95 % (from
memory); shared risk is the plain comparison (ISO/IEC Guide 98-4, from memory).
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from analyzer.lot.judgement.decision import decide
from analyzer.lot.judgement.measurement import Measurement, NoteSpread
from analyzer.lot.judgement.specification import (
    DecisionRule,
    Limits,
)

RULES = "ISO 14253-1:2017 and JCGM 106:2012, decision rules"
NORMAL = "Normal distribution, closed form"
pytestmark = pytest.mark.source(
    RULES, "from memory", "verdicts by guarded acceptance and by shared risk"
)


GUARDED, SHARED = DecisionRule(), DecisionRule("shared risk")


LIMITS = Limits(-3.0, 3.0)


def measured(value: float, u: float = 0.5, **changes: Any) -> Measurement:
    """One take of one note, its uncertainty known well unless ``changes`` say otherwise."""
    spread = (NoteSpread(1, 0.0, u**2),)
    return replace(Measurement("error_cents", 3, value, spread), **changes)


# By the normal table: the guard bands are 1.645 x 0.5 = 0.822 cents.
@pytest.mark.parametrize(
    ("value", "guarded", "shared"),
    [
        (0.0, "conform", "conform"),
        (2.17, "conform", "conform"),
        (-2.17, "conform", "conform"),
        (2.19, "not decided", "conform"),
        (-2.19, "not decided", "conform"),
        (3.0, "not decided", "conform"),
        (3.81, "not decided", "not conform"),
        (-3.81, "not decided", "not conform"),
        (3.83, "not conform", "not conform"),
        (-3.83, "not conform", "not conform"),
    ],
)
def test_verdict_about_both_limits(value, guarded, shared) -> None:
    assert decide(measured(value), LIMITS, GUARDED).verdict == guarded
    assert decide(measured(value), LIMITS, SHARED).verdict == shared


@pytest.mark.source(NORMAL, "published formula", "confidence to guard band")
def test_confidence_moves_the_guard_band() -> None:
    """2.5 lies one u inside: 84 % (the normal table)."""
    assert decide(measured(2.5), LIMITS, DecisionRule(confidence=0.84)).verdict == "conform"
    found = decide(measured(2.5), LIMITS, DecisionRule(confidence=0.85))
    assert found.verdict == "not decided"
    assert found.conformity_probability == pytest.approx(0.8413, abs=1e-4)
