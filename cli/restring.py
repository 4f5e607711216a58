"""``pluckcheck restring``: other strings, before they are on."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from analyzer.music import ISO16_A4_HZ
from cli.app import Quiet, app, give, hertz


@app.command(short_help="What other strings will change at the 12th fret.")
def restring(
    instrument: Annotated[
        Path,
        typer.Argument(
            metavar="INSTRUMENT", help="Instrument file, with [[strings]] for those that are on."
        ),
    ],
    strings: Annotated[
        Path, typer.Argument(metavar="NEXT", help="File with [[strings]] for those to come.")
    ],
    report: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE", help="JSON report of the instrument as it is: start from its errors."
        ),
    ] = None,
    json: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write the plan as JSON; - for standard output."),
    ] = None,
    csv: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write a row a string as CSV; - for standard output."),
    ] = None,
    a4: Annotated[
        float, typer.Option(parser=hertz, metavar="HZ", help="A4; the notes are named by it.")
    ] = ISO16_A4_HZ,
    quiet: Quiet = False,  # noqa: FBT002
) -> None:
    """Say how other strings will change each 12th fret, so that saddles can be preset.

    Example: pluckcheck restring instrument.toml heavier.toml
    """
    from analyzer.restring.files import plan_as_csv, plan_as_json
    from analyzer.restring.plan import plan_restringing
    from analyzer.restring.terminal import TerminalPlan
    from cli.outputs import check_outputs, outputs_of

    outputs = outputs_of(json=(json, plan_as_json), csv=(csv, plan_as_csv))
    check_outputs(outputs, [each for each in (instrument, strings, report) if each is not None])
    give(plan_restringing(instrument, strings, a4, report), outputs, TerminalPlan, quiet=quiet)
