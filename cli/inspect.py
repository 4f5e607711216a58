"""``pluckcheck inspect``: all about one recording."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from analyzer.music import ISO16_A4_HZ
from cli.app import ChangedLimits, Quiet, Untrusted, app, give, hertz
from cli.streams import libraries_silenced

if TYPE_CHECKING:
    from rich.console import RenderableType

    from analyzer.inspection.model import Inspection, PluckList


@app.command(short_help="What the figure of one recording rests on.")
def inspect(
    recording: Annotated[
        Path,
        typer.Argument(
            metavar="RECORDING", help="A sound file; its name may say which note, but need not."
        ),
    ],
    pluck: Annotated[
        str | None,
        typer.Option(
            metavar="N|SECONDS",
            help="Which pluck: its number (3) or a moment (12.5s).",
        ),
    ] = None,
    instrument: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Its file.  [default: the instrument.toml beside]"),
    ] = None,
    json: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write it all as JSON; - for standard output."),
    ] = None,
    html: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write it as a page (HTML); - for standard output."),
    ] = None,
    untrusted: Untrusted = False,  # noqa: FBT002
    limit: ChangedLimits = None,
    a4: Annotated[
        float, typer.Option(parser=hertz, metavar="HZ", help="A4; the notes are named by it.")
    ] = ISO16_A4_HZ,
    quiet: Quiet = False,  # noqa: FBT002
) -> None:
    """Show all that the figure of one recording rests on: pluck, partials, fit, verdict.

    Example: pluckcheck inspect my_guitar/s6_open_1.wav --html s6_open_1.html
    """
    from analyzer.inspection.files import inspection_as_json
    from analyzer.inspection.look import check_is_file, files_beside, inspect_recording
    from analyzer.inspection.page import inspection_as_html
    from analyzer.recording.limits import ReadingRules, limits_with
    from cli.outputs import check_outputs, outputs_of

    rules = ReadingRules(limits_with(limit or ()), untrusted)
    outputs = outputs_of(json=(json, inspection_as_json), html=(html, inspection_as_html))
    check_is_file(recording)
    check_outputs(outputs, files_beside(recording, instrument))
    with libraries_silenced():
        found = inspect_recording(
            recording, pluck=pluck, instrument_file=instrument, a4_hz=a4, rules=rules
        )
    give(found, outputs, _tables, quiet=quiet)


def _tables(found: Inspection | PluckList) -> RenderableType:
    from analyzer.inspection.model import Inspection
    from analyzer.inspection.terminal import TerminalInspection, TerminalPlucks

    return TerminalInspection(found) if isinstance(found, Inspection) else TerminalPlucks(found)
