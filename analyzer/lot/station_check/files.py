"""A check of a station as JSON, for scripts."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from analyzer.lot.station_check.model import SCHEMA_VERSION, CheckedStation, Judged
from analyzer.lot.statistics.charts import Chart
from analyzer.report.json_text import head, json_text


def check_as_json(found: CheckedStation) -> str:
    """All values unrounded; what could not be had is null. Its schema is ``station``."""
    check = found.check
    return json_text(
        {
            **head(SCHEMA_VERSION),
            "station": check.station,
            "reference": check.reference,
            "file": check.file,
            "sha256": check.sha256,
            "checked_at": check.checked_at,
            "verdict": found.verdict,
            "reason": found.reason,
            "remedy": found.remedy,
            "cautions": list(found.cautions),
            "earlier_checks": found.earlier,
            "baseline_wanted": found.baseline_wanted,
            "baseline_had": found.baseline_had,
            "false_alarm": found.false_alarm,
            "characteristics": [_judged(each) for each in found.judged],
        }
    )


def _judged(judged: Judged) -> dict[str, Any]:
    value, line = judged.value, judged.trend
    charts = judged.charts
    return {
        "characteristic": value.key,
        "name": value.name,
        "unit": value.unit,
        "kind": value.kind,
        "value": value.value,
        "standard_uncertainty": value.standard_uncertainty,
        "verdict": judged.standing,
        "reason": judged.reason,
        "remedy": judged.remedy,
        "limits": judged.limits,
        "tolerance": judged.tolerance,
        "baseline": None if judged.baseline is None else asdict(judged.baseline),
        "trend": None
        if line is None
        else {
            "slope_per_day": line.slope_per_day,
            "slope_standard_uncertainty_per_day": line.slope_uncertainty_per_day,
            "p": line.p,
        },
        "chart": None if charts is None else _chart(charts.location),
        "moving_ranges": None if charts is None else _chart(charts.scatter),
    }


def _chart(chart: Chart) -> dict[str, Any]:
    return {
        "method": chart.method,
        "checked_at": list(chart.labels),
        "points": list(chart.points),
        "caution": chart.caution,
    }
