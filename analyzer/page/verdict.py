"""The whole report in one sentence."""

from __future__ import annotations

from analyzer.page.rounding import sharp_or_flat, with_interval
from analyzer.report.model import Report, StringResult
from analyzer.report.working_order import wrong_way


def verdict_of(report: Report) -> str:
    """What is to be done or how far it is off, the worst string, and what could not be had."""
    if not report.measured:
        return "No string has a result: see below what each recording lacks."
    first = wrong_way(report)
    worst = max(report.measured, key=lambda each: abs(each.error_cents or 0.0))
    sentence = f"{_to_do(report)}: {_off(worst)}{_missing(report)}."
    return f"{first} {sentence}" if first else sentence


def _to_do(report: Report) -> str:
    if not any(each.move_mm is not None for each in report.adjusters):
        return "The 12th fret against the open string, at its furthest off"
    moved = {string for each in report.adjusters if each.move_mm for string in each.strings}
    if not moved:
        return "No saddle needs to be moved; the string furthest off"
    count = f"{len(moved)} of {len(report.strings)} strings"
    return f"The saddle is to be moved for {count}; the string furthest off now"


def _off(worst: StringResult) -> str:
    error, half_width = worst.error_cents or 0.0, worst.error_uncertainty_cents or 0.0
    figure = with_interval(error, half_width)
    return f"string {worst.string}, {figure} cents, {sharp_or_flat(error, half_width)}"


def _missing(report: Report) -> str:
    missing = len(report.strings) - len(report.measured)
    if not missing:
        return ""
    return f"; {missing} string{'' if missing == 1 else 's'} without a result"
