"""A restringing plan as JSON (schema_version 1) and as CSV, one row a string."""

from __future__ import annotations

import json
from dataclasses import asdict, fields

from analyzer import __version__
from analyzer.report.files import defused
from analyzer.restring.plan import LIMITS, RestringPlan
from analyzer.restring.predict import StringChange

SCHEMA_VERSION = 1


def plan_as_json(plan: RestringPlan) -> str:
    """The plan as JSON text. Numbers are unrounded; what could not be had is null."""
    body = {
        "schema_version": SCHEMA_VERSION,
        "program": {"name": "pluckcheck", "version": __version__},
        "instrument": {"name": plan.instrument, "tuning": list(plan.tuning)},
        "a4_hz": plan.a4_hz,
        "strings": [asdict(each) for each in plan.strings],
        "saddles": [asdict(each) for each in plan.saddles],
        "limits": LIMITS,
        "warnings": list(plan.warnings),
    }
    return json.dumps(body, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def plan_as_csv(plan: RestringPlan) -> str:
    """The strings as CSV text, a header and one row each; empty where there is no value."""
    import pandas as pd

    columns = [field.name for field in fields(StringChange) if field.name != "reason"]
    columns.append("reason")
    table = pd.DataFrame([asdict(each) for each in plan.strings], columns=columns)
    for name in ("note", "reason"):
        table[name] = table[name].map(defused, na_action="ignore")
    return str(table.to_csv(index=False, lineterminator="\n"))
