"""What the first checks of a station tell before there is a baseline: a jump, as a caution.

A few checks say little of how far a station scatters, so this is no signal of the chart and changes
no verdict. What is told of lies beyond all of: what any recorder's clock does from day to day, what
the checks themselves are unsure by, and, from three checks on, their own prediction interval
(``baseline``, equation 1).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
from scipy.special import stdtrit

from analyzer.lot.station_check.model import NO_BASELINE, Judged, Past, Value
from analyzer.lot.station_check.thresholds import (
    EARLY_JUMP_CENTS,
    FALSE_ALARM,
    FEWEST_FOR_SCATTER,
    JUMP_SDS,
)


def early_jumps(judged: Sequence[Judged], before: Sequence[Past]) -> Iterator[str]:
    """A sentence for each pitch or error, cents, that lies far off the sound checks ``before``."""
    for each in judged:
        value = each.value
        if not value.held or each.standing != NO_BASELINE:
            continue
        known = [past.values[value.key] for past in before if value.key in past.values]
        off = _jump_cents(value, known)
        if off is not None:
            count = len(known)
            than = "the check before" if count == 1 else f"the mean of the {count} checks before"
            yield (
                f"{value.name} lies {off:+.2g} {value.unit} from {than}, more than a recorder's "
                "clock and these checks explain, and there is no baseline yet to judge it by: see "
                "whether source or recorder has changed, and begin with --new-baseline if so"
            )


def _jump_cents(value: Value, before: Sequence[tuple[float, float | None]]) -> float | None:
    """How far a value lies off the mean of those before it, where that is a jump; else None."""
    if value.value is None or not before:
        return None
    values = np.array([cents for cents, _ in before])
    own = [value.standard_uncertainty or 0.0, *(unsure or 0.0 for _, unsure in before)]
    limit = JUMP_SDS * math.sqrt(float(np.mean(np.square(own))))
    if values.size >= FEWEST_FOR_SCATTER:
        student = float(stdtrit(values.size - 1, 1 - FALSE_ALARM / 2))
        limit = max(limit, student * float(np.std(values, ddof=1)))
    off = value.value - float(np.mean(values))
    furthest = max(EARLY_JUMP_CENTS, limit * math.sqrt(1 + 1 / values.size))
    return off if abs(off) > furthest else None
