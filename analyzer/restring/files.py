"""A restringing plan as JSON (schema_version 1) and as CSV, one row a string."""

from __future__ import annotations

from dataclasses import asdict, fields

from analyzer.report.json_text import head, json_text
from analyzer.report.tables import table_as_csv
from analyzer.restring.plan import RestringPlan
from analyzer.restring.predict import StringChange

SCHEMA_VERSION = 1


def plan_as_json(plan: RestringPlan) -> str:
    """The plan as JSON text. Numbers are unrounded; what could not be had is null."""
    body = {
        **head(SCHEMA_VERSION),
        "instrument": {"name": plan.instrument, "tuning": list(plan.tuning)},
        "a4_hz": plan.a4_hz,
        "strings": [asdict(each) for each in plan.strings],
        "saddles": [asdict(each) for each in plan.saddles],
        "report": plan.report,
        "limits": plan.limits,
        "warnings": list(plan.warnings),
    }
    return json_text(body)


def plan_as_csv(plan: RestringPlan) -> str:
    """The strings as CSV text, a header and one row each; empty where there is no value."""
    return table_as_csv(plan.strings, [field.name for field in fields(StringChange)])
