"""``pluckcheck compare``: two rounds side by side."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cli.app import ChangedLimits, Quiet, Untrusted, app, give
from cli.streams import libraries_silenced


@app.command(short_help="Two rounds of one instrument side by side.")
def compare(
    before: Annotated[
        Path,
        typer.Argument(
            metavar="BEFORE", help="JSON report of the earlier round, or its folder of recordings."
        ),
    ],
    after: Annotated[Path, typer.Argument(metavar="AFTER", help="The same of the later round.")],
    json: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write the comparison as JSON; - for standard output."),
    ] = None,
    csv: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write a row a string as CSV; - for standard output."),
    ] = None,
    untrusted: Untrusted = False,  # noqa: FBT002
    limit: ChangedLimits = None,
    quiet: Quiet = False,  # noqa: FBT002
) -> None:
    """Show two rounds of one instrument side by side, and what changed beyond uncertainty.

    Example: pluckcheck compare before.json after.json
    """
    from analyzer.analysis import compare as compare_rounds
    from analyzer.recording.limits import ReadingRules, limits_with
    from analyzer.report.comparison import comparison_as_csv, comparison_as_json
    from analyzer.report.terminal_comparison import TerminalComparison
    from cli.outputs import check_outputs, outputs_of

    rules = ReadingRules(limits_with(limit or ()), untrusted)
    outputs = outputs_of(json=(json, comparison_as_json), csv=(csv, comparison_as_csv))
    check_outputs(outputs, [before, after])
    with libraries_silenced():
        comparison = compare_rounds(before, after, rules)
    give(comparison, outputs, TerminalComparison, quiet=quiet)
