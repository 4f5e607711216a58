"""JSON Schemas (draft 2020-12) of every JSON that is written: what each key is, and its unit.

A key more or less in a report, or a unit that changes, belongs into them; tests hold reports of
every kind to them.
"""

from __future__ import annotations

from typing import Literal, get_args

from analyzer.errors import UnusableInputError

SchemaName = Literal["report", "comparison", "restring", "inspection", "lot", "station", "history"]
NAMES: tuple[SchemaName, ...] = get_args(SchemaName)


def schema_named(text: str) -> SchemaName:
    """The name of a schema. Raises UnusableInputError where there is none of that name."""
    name = next((each for each in NAMES if each == text), None)
    if name is None:
        remedy = f"Give {', '.join(NAMES[:-1])} or {NAMES[-1]}"
        raise UnusableInputError("the name of a schema", f"is {text!r}", remedy)
    return name


def schema_text(name: SchemaName = "report") -> str:
    """The schema of a JSON output, by its name, as JSON text.

    >>> import json
    >>> json.loads(schema_text("report"))["properties"]["schema_version"]["const"]
    1
    """
    from importlib.resources import files

    return files(__name__).joinpath(f"{name}.schema.json").read_text(encoding="utf-8")
