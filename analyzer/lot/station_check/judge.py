"""A check against those before it: as before, changed, or no baseline yet, and why."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from analyzer.lot.station_check.baseline import baseline_of, charts_of
from analyzer.lot.station_check.early import early_jumps
from analyzer.lot.station_check.model import (
    AS_BEFORE,
    CHANGED,
    NO_BASELINE,
    NOT_JUDGED,
    NOT_MEASURED,
    Baseline,
    Check,
    CheckedStation,
    Judged,
    Past,
    Standing,
    Value,
)
from analyzer.lot.station_check.thresholds import BASELINE_TREND_P, FALSE_ALARM
from analyzer.lot.station_check.words import figure, remedy_of
from analyzer.lot.statistics.charts import ChartPair
from analyzer.lot.statistics.figure import NotGiven
from analyzer.lot.statistics.run_rules import BEYOND_LIMITS, violations
from analyzer.lot.statistics.trend import Trend, trend

_DAY_S = 86_400.0
_TREND_CHECKS = 5


@dataclass(frozen=True)
class _Known:
    """The checks of this baseline in order of time, this one among them at ``place``."""

    checks: tuple[Past, ...]
    place: int
    wanted: int
    charted: int
    tolerance_cents: float | None

    def with_value(self, key: str) -> list[Past]:
        return [each for each in self.checks if key in each.values]

    @property
    def this(self) -> Past:
        return self.checks[self.place]

    def with_this_unsound(self) -> _Known:
        return replace(self, checks=(*self.checks[:-1], replace(self.this, sound=False)))


def judge(
    check: Check,
    past: Sequence[Past],
    *,
    baseline_checks: int,
    begins: bool = False,
    tolerance_cents: float | None = None,
    cautions: Sequence[str] = (),
) -> CheckedStation:
    """Hold a check to the ``past`` ones of its station and reference, in any order.

    One of the same recording among them is this one, and no second. ``begins``: a new baseline
    begins with it.
    """
    this = as_past(check, begins=begins)
    others = [each for each in past if each.sha256 != check.sha256]
    checks = sorted([*others, this], key=lambda each: (each.checked_s, each.sha256))
    place = checks.index(this)
    start = max((n for n, each in enumerate(checks[: place + 1]) if each.begins), default=0)
    charted = sum(each.kind == "charted" for each in check.values)
    known = _Known(
        tuple(checks[start : place + 1]), place - start, baseline_checks, charted, tolerance_cents
    )
    judged = tuple(_judged(each, known) for each in check.values)
    if any(each.standing == CHANGED and each.baseline is None for each in judged):
        known = known.with_this_unsound()
    sound = sum(each.sound for each in known.checks)
    warned = (
        *check.cautions,
        *cautions,
        *_running_baselines(judged, known),
        *early_jumps(judged, [each for each in known.checks[: known.place] if each.sound]),
    )
    verdict, reason, remedy = _summary(check, judged, known)
    return CheckedStation(
        check,
        judged,
        verdict,
        reason,
        remedy,
        len(others),
        baseline_checks,
        min(sound, baseline_checks),
        FALSE_ALARM,
        warned,
    )


def as_past(check: Check, *, begins: bool = False) -> Past:
    """A check as later ones will see it."""
    values = {
        each.key: (each.value, each.standard_uncertainty)
        for each in check.values
        if each.value is not None
    }
    faulty = any(each.kind == "fault" and each.value for each in check.values)
    return Past(
        check.sha256,
        check.checked_at,
        check.checked_s,
        values,
        check.reason is None and not faulty,
        begins,
    )


def _judged(value: Value, known: _Known) -> Judged:
    if value.kind == "shown":
        return Judged(value, NOT_JUDGED, value.remark)
    if value.value is None:
        return Judged(value, NOT_MEASURED, f"{value.name}: {value.remark}", remedy_of(value.key))
    if value.kind == "fault":
        return _fault(value)
    if value.kind == "setting":
        return _setting(value, value.value, known)
    return _charted(value, value.value, known)


def _fault(value: Value) -> Judged:
    if not value.value:
        return Judged(value, AS_BEFORE)
    where = f" {value.remark}" if value.remark else ""
    reason = f"{value.name}: {figure(value.value, value.unit)}{where}"
    return Judged(value, CHANGED, reason, remedy_of(value.key))


def _setting(value: Value, now: float, known: _Known) -> Judged:
    first = known.with_value(value.key)[0]
    before = first.values[value.key][0]
    if now == before:
        return Judged(value, AS_BEFORE)
    reason = (
        f"{value.name}: {figure(now, value.unit)}, and {figure(before, value.unit)} in the first "
        f"check ({first.checked_at})"
    )
    return Judged(value, CHANGED, reason, remedy_of(value.key))


def _charted(value: Value, now: float, known: _Known) -> Judged:
    checks = known.with_value(value.key)
    sound = [each for each in checks if each.sound]
    first, later = sound[: known.wanted], sound[known.wanted :]
    baseline = None
    if len(first) == known.wanted and known.this not in first:
        baseline = baseline_of(first, later, value.key, value.unit, known.charted)
    tolerance = _tolerance(value, baseline, known)
    charts = None if baseline is None else charts_of(checks, value.key, baseline)
    standing: Standing = NO_BASELINE if baseline is None else AS_BEFORE
    reasons = [*_beyond(value, now, tolerance, baseline, charts)]
    if reasons:
        standing = CHANGED
    line = _trend(later if baseline is not None else sound, value.key)
    if reasons and line is not None and line.p < BASELINE_TREND_P:
        reasons.append(f"it runs by {line.slope_per_day:+.2g} {value.unit} a day")
    reason = f"{value.name}: {'; '.join(reasons)}" if reasons else ""
    remedy = remedy_of(value.key) if reasons else ""
    return Judged(value, standing, reason, remedy, baseline, tolerance, charts, line)


def _tolerance(
    value: Value, baseline: Baseline | None, known: _Known
) -> tuple[float, float] | None:
    about = value.stated if baseline is None or value.stated is not None else baseline.mean
    if known.tolerance_cents is None or not value.held or about is None:
        return None
    return about - known.tolerance_cents, about + known.tolerance_cents


def _beyond(
    value: Value,
    now: float,
    tolerance: tuple[float, float] | None,
    baseline: Baseline | None,
    charts: ChartPair | None,
) -> Iterator[str]:
    """Every limit that a value is beyond, in words."""
    shown = figure(now, value.unit)
    if tolerance is not None and not tolerance[0] <= now <= tolerance[1]:
        yield f"{shown} is beyond the tolerance, {_range(*tolerance, value.unit)}"
    if baseline is None or charts is None:
        return
    last = len(charts.location.points) - 1
    if any(last in each.places for each in violations(charts.location, (BEYOND_LIMITS,))):
        low, high = charts.location.lower_limits[last], charts.location.upper_limits[last]
        yield f"{shown} is beyond {_range(low, high, value.unit)}"
    if baseline.average is not None and baseline.average_half is not None:
        off = baseline.average - baseline.mean
        if abs(off) > baseline.average_half:
            yield (
                f"the mean of the last {baseline.averaged} checks is {off:+.2g} {value.unit} from "
                f"the baseline's, more than {baseline.average_half:.2g}"
            )


def _range(low: float, high: float, unit: str) -> str:
    return f"{figure(low, '', high - low)} to {figure(high, unit, high - low)}"


def _trend(checks: Sequence[Past], key: str) -> Trend | None:
    if len(checks) < _TREND_CHECKS:
        return None
    days = [(each.checked_s - checks[0].checked_s) / _DAY_S for each in checks]
    found = trend(days, [each.values[key][0] for each in checks])
    return None if isinstance(found, NotGiven) else found


def _running_baselines(judged: Sequence[Judged], known: _Known) -> Iterator[str]:
    """A baseline that runs has limits about a place where the station no longer is."""
    for each in judged:
        if each.baseline is None:
            continue
        key, unit = each.value.key, each.value.unit
        sound = [past for past in known.with_value(key) if past.sound]
        line = _trend(sound[: known.wanted], key)
        if line is not None and line.p < BASELINE_TREND_P / known.charted:
            yield (
                f"the baseline of {each.value.name} itself runs by {line.slope_per_day:+.2g} "
                f"{unit} a day; mend the cause, then begin a new one with --new-baseline"
            )


def _summary(check: Check, judged: Sequence[Judged], known: _Known) -> tuple[Standing, str, str]:
    """The verdict with one line why and what to do."""
    if check.reason is not None:
        return NOT_MEASURED, check.reason, ""
    for standing in (CHANGED, NOT_MEASURED):
        found = [each for each in judged if each.standing == standing]
        if found:
            more = len(found) - 1
            others = f" ({more} more above)" if more else ""
            why = found[0].reason.partition(";")[0].rstrip(".")
            return found[0].standing, f"{why}{others}", found[0].remedy
    had = min(sum(each.sound for each in known.checks), known.wanted)
    waiting = [each for each in judged if each.standing == NO_BASELINE]
    if waiting:
        return (
            NO_BASELINE,
            f"{had} of the {known.wanted} checks that make the baseline are there",
            "Go on checking at the same time every day, with the same source and settings",
        )
    return (
        AS_BEFORE,
        f"{known.charted} figures lie within what their first {known.wanted} checks allow",
        "",
    )


def finite_or_none(value: float | None) -> float | None:
    """What can be kept: neither infinity nor NaN."""
    return value if value is not None and math.isfinite(value) else None
