"""What a report says of the strings that are on now: the errors that their change is added to."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from analyzer.bridge.effect import SaddleEffect, saddle_move_mm, saddle_move_uncertainty_mm
from analyzer.instrument.model import Instrument
from analyzer.report.adjustment import Done
from analyzer.report.earlier import EarlierReport
from analyzer.report.round_before import check_same_instrument, done_before, known_errors
from analyzer.restring.predict import StringChange


@dataclass(frozen=True)
class MeasuredNow:
    """Each string's error with its interval, cents, and what is known of the bridge, if any.

    Nothing was moved since.
    """

    file: str
    errors_cents: Mapping[int, tuple[float, float]]
    done: Done | None


def measured_now(report: EarlierReport, instrument: Instrument) -> MeasuredNow:
    """What a report says of this instrument.

    Raises UnusableInputError where it is of another one.
    """
    check_same_instrument(
        report, instrument.name if instrument.name_given else None, instrument.tuning
    )
    done = None
    if instrument.bridge is not None and report.response is not None:
        unmoved = {each.name: 0.0 for each in instrument.bridge.adjusters}
        done = done_before(report, instrument, unmoved)
    return MeasuredNow(report.file, dict(known_errors(report)), done)


def with_error(change: StringChange, now: MeasuredNow, effect: SaddleEffect) -> StringChange:
    """The change on top of the error that was measured, and the move that takes both to zero."""
    by_cents, half_cents = change.error_change_cents, change.error_change_uncertainty_cents
    if by_cents is None or half_cents is None:
        return change
    if change.string not in now.errors_cents:
        reason = f"{now.file} has no result for this string: its change is all that is known."
        return replace(change, reason=reason, saddle_move_mm=None, saddle_move_uncertainty_mm=None)
    now_cents, now_half_cents = now.errors_cents[change.string]
    then_cents, then_half_cents = now_cents + by_cents, math.hypot(now_half_cents, half_cents)
    return replace(
        change,
        error_now_cents=now_cents,
        error_next_cents=then_cents,
        error_next_uncertainty_cents=then_half_cents,
        saddle_move_mm=saddle_move_mm(then_cents, effect),
        saddle_move_uncertainty_mm=saddle_move_uncertainty_mm(then_cents, then_half_cents, effect),
    )
