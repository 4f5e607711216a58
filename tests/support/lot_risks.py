"""Values and the risk of a lot made of decisions, as several tests ask for them."""

from __future__ import annotations

import math

from analyzer.lot.judgement.measurement import Measurement, NoteSpread
from analyzer.lot.judgement.risk import LotRisk, lot_risk


def measured(value: float, u: float, string: int = 1) -> Measurement:
    return Measurement("error_cents", string, value, (NoteSpread(1, 0.0, u**2),))


def risk_of(decisions) -> LotRisk:
    chances = [each.conformity_probability for each in decisions]
    known = [math.nan if each is None else each for each in chances]
    return lot_risk([each.verdict for each in decisions], known)
