"""``pluckcheck schema``: what the JSON that the other commands write looks like."""

from __future__ import annotations

from typing import Annotated

import typer

from analyzer.schemas import schema_named, schema_text
from cli.app import app
from cli.streams import print_data


@app.command(short_help="The JSON Schema of a JSON output.")
def schema(
    of: Annotated[
        str,
        typer.Argument(
            metavar="NAME",
            help="Which JSON: of analyze, compare, restring, inspect, lot, station or history.",
        ),
    ] = "report",
) -> None:
    """Print the JSON Schema (2020-12) of a JSON output: its keys, their units, what may be null.

    Example: pluckcheck schema report
    """
    print_data(schema_text(schema_named(of)))
