"""``pluckcheck station``: a reference that is recorded every day, to find what has changed."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cli.app import ChangedLimits, Quiet, app, cents, count, give, hertz
from cli.streams import libraries_silenced


@app.command(short_help="Whether a station's recorder is as before.")
def station(
    reference: Annotated[
        Path,
        typer.Argument(
            metavar="RECORDING_OR_FOLDER",
            help="A recording of a steady tone, or the folder of a reference instrument.",
        ),
    ],
    store: Annotated[
        Path, typer.Option(metavar="PATH", help="The store that checks are kept in, or its folder.")
    ],
    station: Annotated[str, typer.Option(metavar="NAME", help="Name of the station.")],
    tone: Annotated[
        float | None,
        typer.Option(parser=hertz, metavar="HZ", help="The tone's frequency, as its source says."),
    ] = None,
    tolerance_cents: Annotated[
        float | None,
        typer.Option(
            parser=cents,
            metavar="CENTS",
            help="The most off the tone, or off a string's baseline.",
        ),
    ] = None,
    baseline: Annotated[
        int | None,
        typer.Option(parser=count, metavar="N", help="Checks that make a baseline.  [default: 20]"),
    ] = None,
    new_baseline: Annotated[  # noqa: FBT002
        bool,
        typer.Option("--new-baseline", help="Begin a new baseline with this check."),
    ] = False,
    at: Annotated[
        str | None,
        typer.Option(
            metavar="TIME",
            help="When it was recorded.  [default: the file's time]",
        ),
    ] = None,
    json: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write the check as JSON; - for standard output."),
    ] = None,
    untrusted: Annotated[  # noqa: FBT002
        bool,
        typer.Option(
            "--untrusted",
            help="Do not trust the recording: decode it apart.",
        ),
    ] = False,
    limit: ChangedLimits = None,
    quiet: Quiet = False,  # noqa: FBT002
) -> None:
    """Say whether a station's recorder is as before, by a reference that is recorded every day.

    Exit codes: 0 as before (or no baseline yet), 1 changed or not measured, 2 unusable input.

    Example: pluckcheck station a.wav --store checks --station 3 --tone 440
    """
    from analyzer.lot.station_check.check import (
        CheckRequest,
        check_request,
        check_station,
        files_read,
    )
    from analyzer.lot.station_check.files import check_as_json
    from analyzer.lot.station_check.terminal import TerminalCheck
    from analyzer.lot.station_check.thresholds import BASELINE_CHECKS
    from analyzer.lot.store import file_in, files_of, open_store
    from analyzer.recording.limits import ReadingRules, limits_with
    from cli.outputs import check_outputs, outputs_of
    from cli.printing import Progress

    request = CheckRequest(
        reference,
        station,
        tone,
        at,
        BASELINE_CHECKS if baseline is None else baseline,
        new_baseline,
        tolerance_cents,
        ReadingRules(limits_with(limit or ()), untrusted),
    )
    check_request(request)
    outputs = outputs_of(json=(json, check_as_json))
    check_outputs(outputs, [*files_read(request), *files_of(store)])
    with (
        open_store(file_in(store), create=True) as opened,
        libraries_silenced(),
        Progress(quiet=quiet) as progress,
    ):
        found = check_station(request, opened, progress=progress.update)
    give(found, outputs, TerminalCheck, quiet=quiet)
