"""Reports held to their JSON Schemas, by the ``jsonschema`` library."""

from __future__ import annotations

import json
from typing import Any

from jsonschema import Draft202012Validator

from analyzer.schemas import schema_text


def validator(name: str) -> Draft202012Validator:
    return Draft202012Validator(json.loads(schema_text(name)))


def faults(of: Draft202012Validator, body: Any) -> list[str]:
    return [f"{each.json_path}: {each.message}" for each in of.iter_errors(body)]
