"""A lot's summary as JSON (schema_version 1), as ``lot.schema.json`` describes it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from datetime import datetime
from typing import Any

from analyzer.lot.judgement.conformity import GuardBands
from analyzer.lot.judgement.specification import Interval
from analyzer.lot.output.gauge_json import gauge_as_value
from analyzer.lot.output.statistics_json import (
    capability_as_value,
    chart_as_value,
    figure_as_value,
    moments_as_value,
    or_reason,
    trend_as_value,
)
from analyzer.lot.output.words import verdict_of_lot
from analyzer.lot.statistics.figure import NotGiven
from analyzer.lot.statistics.groups import Group
from analyzer.lot.summing.summary_model import (
    ChartOf,
    ControlCharts,
    JudgedString,
    LotSummary,
    MeasuringShare,
    ProcessRisk,
    Trends,
)
from analyzer.report.json_text import head, json_text

SCHEMA_VERSION = 1


def as_json(summary: LotSummary) -> str:
    """The summary as JSON text. Numbers are unrounded; what could not be had is null."""
    body: dict[str, Any] = {
        **head(SCHEMA_VERSION),
        "lot": summary.name,
        "verdict": verdict_of_lot(summary),
        "complete": summary.complete,
        "counts": asdict(summary.counts),
        "span": None
        if summary.span is None
        else {"first": _time(summary.span.first), "last": _time(summary.span.last)},
        "conforming_share": figure_as_value(summary.conforming_share),
        "decision_rule": {**asdict(summary.rule), "words": summary.rule_in_words},
        "risk": {"method": summary.risk_method, **asdict(summary.risk)},
        "more_takes": asdict(summary.more_takes),
        "judged": [_judged(each) for each in summary.judged],
        "control": _control(summary.control),
        "causes": {
            "not_conform": [asdict(each) for each in summary.causes.not_conform],
            "not_decided": [asdict(each) for each in summary.causes.not_decided],
            "left_out": [asdict(each) for each in summary.causes.left_out],
        },
        "groups": [
            {
                "by": each.by,
                "characteristic": each.characteristic,
                "groups": [_group(group) for group in each.groups],
            }
            for each in summary.groups
        ],
        "trends": _trends(summary.trends),
        "gauge": gauge_as_value(summary.gauge),
        "faults": [asdict(each) for each in summary.faults],
        "warnings": list(summary.warnings),
    }
    return json_text(body)


def _judged(each: JudgedString) -> dict[str, Any]:
    return {
        "characteristic": each.characteristic,
        "string": each.string,
        "limits": asdict(each.limits),
        "conform": each.conform,
        "not_conform": each.not_conform,
        "not_decided": each.not_decided,
        "not_measured": each.not_measured,
        "conforming_share": figure_as_value(each.conforming_share),
        "median_uncertainty_cents": each.median_uncertainty,
        "guard_bands": None if each.bands is None else _bands(each.bands),
        **capability_as_value(each.capability),
        "measuring": or_reason(each.measuring, _measuring),
        "process_risk": or_reason(each.risk, _process_risk),
    }


def _bands(bands: GuardBands) -> dict[str, Any]:
    return {
        "acceptance": None if bands.acceptance is None else _interval(bands.acceptance),
        "rejection": _interval(bands.rejection),
        "guard_band_cents": bands.guard_band_cents,
        "rejection_guard_band_cents": bands.rejection_guard_band_cents,
    }


def _interval(interval: Interval) -> dict[str, Any]:
    return {"lower_cents": interval.lower_cents, "upper_cents": interval.upper_cents}


def _measuring(found: MeasuringShare) -> dict[str, Any]:
    return {
        "observed_sd_cents": found.observed_sd,
        "measuring_sd_cents": found.measuring_sd,
        "process_sd_cents": found.process_sd,
        "share_percent": found.share_percent,
        "capability_index": found.capability_index,
        "process_pp": figure_as_value(found.process_pp),
    }


def _process_risk(found: ProcessRisk) -> dict[str, Any]:
    return {
        "caution": found.caution,
        "process": asdict(found.process),
        "shares": asdict(found.risk),
    }


def _control(control: ControlCharts) -> dict[str, Any]:
    subgroups = control.subgrouping.of
    places = {each.label: place for place, each in enumerate(subgroups)}
    return {
        "by": control.subgrouping.by,
        "words": control.subgrouping.words,
        "uncharted": control.subgrouping.uncharted,
        "subgroups": [
            {**asdict(each), "first_at": _time(each.first_at), "last_at": _time(each.last_at)}
            for each in subgroups
        ],
        "rules": [
            {"key": each.key, "words": each.words, "false_alarm": each.false_alarm}
            for each in control.rules
        ],
        "signals": control.signals,
        "expected_false_alarms": control.expected_false_alarms,
        "charts": [_charts(each, places) for each in control.charts],
    }


def _charts(each: ChartOf, places: Mapping[str, int]) -> dict[str, Any]:
    found, location, scatter = each.charts, None, None
    if not isinstance(found, NotGiven):
        location = chart_as_value(found.location, each.location_signals, places)
        scatter = chart_as_value(found.scatter, each.scatter_signals, places)
    return {
        "characteristic": each.characteristic,
        "charted": each.charted,
        "string": each.string,
        "reason": found.reason if isinstance(found, NotGiven) else None,
        "location": location,
        "scatter": scatter,
    }


def _group(each: Group) -> dict[str, Any]:
    return {
        "name": each.name,
        "instruments": each.rows,
        "decided": each.decided,
        "conforming_share": figure_as_value(each.conforming),
        "moments": moments_as_value(each.moments),
    }


def _trends(found: Trends) -> dict[str, Any]:
    return {
        "method": found.method,
        "tested": found.tested,
        "confidence": found.confidence,
        "stations": [
            {
                "station": each.station,
                "characteristic": each.characteristic,
                "words": each.words or None,
                **or_reason(each.trend, trend_as_value),
            }
            for each in found.of
        ],
    }


def _time(time: datetime | None) -> str | None:
    return None if time is None else time.isoformat()
