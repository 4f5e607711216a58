"""The ``pluckcheck`` command.

What is heavy is imported inside the commands: ``--help`` must not wait for it.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from analyzer import __version__
from analyzer.errors import UnusableInputError
from analyzer.music import ISO16_A4_HZ

EXIT_COMPLETE, EXIT_INCOMPLETE, EXIT_UNUSABLE, EXIT_INTERRUPTED = 0, 1, 2, 130
PIPED_COLUMNS = 120

app = typer.Typer(
    name="pluckcheck",
    help="Intonation at the 12th fret from recorded plucks: what each string needs of its saddle.",
    epilog="Exit codes: 0 every string has a result, 1 something was left out, 2 unusable input.",
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


def _print_version(wanted: bool) -> None:  # noqa: FBT001
    if wanted:
        typer.echo(f"pluckcheck {__version__}")
        raise typer.Exit


@app.callback()
def _options(
    version: Annotated[  # noqa: FBT002
        bool,
        typer.Option(
            "--version", callback=_print_version, is_eager=True, help="Print the version and stop."
        ),
    ] = False,
) -> None:
    """Stands before the commands, so that there can be more of them."""


@app.command()
def analyze(
    folder: Annotated[
        Path,
        typer.Argument(help="Folder of recordings named like s6_open_1.wav and s6_f12_1.wav."),
    ],
    instrument: Annotated[
        Path | None,
        typer.Option(help="Instrument file.  [default: instrument.toml in FOLDER]"),
    ] = None,
    json: Annotated[
        Path | None, typer.Option(help="Write the report as JSON; - for standard output.")
    ] = None,
    csv: Annotated[
        Path | None, typer.Option(help="Write a row a string as CSV; - for standard output.")
    ] = None,
    a4: Annotated[
        float, typer.Option(metavar="HZ", help="Frequency of A4; names notes, changes no error.")
    ] = ISO16_A4_HZ,
    jobs: Annotated[int, typer.Option(metavar="N", help="Processes; -1 for all cores.")] = -1,
    quiet: Annotated[  # noqa: FBT002
        bool, typer.Option("--quiet", "-q", help="Print nothing but errors; the exit code tells.")
    ] = False,
) -> None:
    """Say for each string of an instrument how far its 12th fret is off, and what to do.

    Example: pluckcheck analyze my_guitar --json report.json
    """
    from analyzer.analysis import analyze_folder
    from analyzer.report.files import as_csv, as_json
    from cli.printing import Progress, deliver, show_report

    with Progress(quiet=quiet) as progress:
        report = analyze_folder(
            folder, instrument_file=instrument, a4_hz=a4, jobs=jobs, progress=progress.update
        )
    texts = {json: as_json, csv: as_csv}
    printed = [deliver(path, write(report)) for path, write in texts.items() if path is not None]
    if not quiet and not any(printed):
        show_report(report, PIPED_COLUMNS)
    raise typer.Exit(EXIT_COMPLETE if report.complete else EXIT_INCOMPLETE)


def main() -> None:
    """The console script: one line and exit code 2 for what cannot be used."""
    try:
        app()
    except UnusableInputError as error:
        typer.echo(f"pluckcheck: {error}", err=True)
        sys.exit(EXIT_UNUSABLE)
    except KeyboardInterrupt:
        typer.echo("pluckcheck: stopped.", err=True)
        sys.exit(EXIT_INTERRUPTED)
