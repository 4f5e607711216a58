"""An inspection as JSON, for scripts. Units are in the names of the keys."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import Any

from analyzer.inspection.model import SCHEMA_VERSION, Inspection, PluckList
from analyzer.report.json_text import head, json_text


def inspection_as_json(result: Inspection | PluckList) -> str:
    """All values unrounded; what could not be had is null."""
    body = {key: _finite(value) for key, value in asdict(result).items()}
    body["kind"] = "plucks" if isinstance(result, PluckList) else "inspection"
    if isinstance(result, Inspection):
        body["partials"] = body.pop("tracks")
        for check, row in zip(result.checks, body["checks"], strict=True):
            row["verdict"] = check.verdict
    return json_text(head(SCHEMA_VERSION) | body)


def _finite(value: Any) -> Any:
    """NaN, which JSON has not, as null."""
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, dict):
        return {key: _finite(each) for key, each in value.items()}
    return [_finite(each) for each in value] if isinstance(value, list | tuple) else value
