"""The ``pluckcheck`` command.

What is heavy is imported inside the commands: ``--help`` must not wait for it.
"""

from __future__ import annotations

import signal
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any

import typer

from analyzer import __version__
from analyzer.errors import UnusableInputError
from analyzer.music import ISO16_A4_HZ
from cli.streams import (
    ReaderGoneError,
    complain,
    discard_output,
    libraries_silenced,
    prepare_streams,
    unwritable_output,
)

EXIT_COMPLETE, EXIT_INCOMPLETE, EXIT_UNUSABLE = 0, 1, 2
EXIT_INTERRUPTED, EXIT_READER_GONE = 130, 141  # as shells count SIGINT and SIGPIPE
PROGRAM = "pluckcheck"
# Typer has no name of its own for it, and not every version of it depends on click.
_USAGE_ERROR: type[Exception] = typer.BadParameter.__mro__[1]

app = typer.Typer(
    name=PROGRAM,
    help="Intonation at the 12th fret from recorded plucks: what each string needs of its saddle.",
    epilog="Exit codes: 0 every string has a result, 1 something was left out, 2 unusable input.",
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


def _print_version(wanted: bool) -> None:  # noqa: FBT001
    if wanted:
        typer.echo(f"{PROGRAM} {__version__}")
        raise typer.Exit


def _hertz(text: str) -> float:
    try:
        return float(text)
    except ValueError as error:
        raise typer.BadParameter(
            f"{text!r} is no number; give one in hertz, such as 440"
        ) from error


def _count(text: str) -> int:
    try:
        return int(text)
    except ValueError as error:
        raise typer.BadParameter(f"{text!r} is no whole number, such as 4") from error


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
    previous: Annotated[
        Path | None,
        typer.Option(help="JSON report of the round before: learn from what was done since."),
    ] = None,
    turned: Annotated[
        Path | None,
        typer.Option(
            help="CSV of what was turned since (adjuster, turns, direction). "
            " [default: as PREVIOUS advised]"
        ),
    ] = None,
    json: Annotated[
        Path | None, typer.Option(help="Write the report as JSON; - for standard output.")
    ] = None,
    csv: Annotated[
        Path | None, typer.Option(help="Write a row a string as CSV; - for standard output.")
    ] = None,
    a4: Annotated[
        float,
        typer.Option(
            parser=_hertz,
            metavar="HZ",
            help="Frequency of A4; it names the notes. Errors do not depend on it.",
        ),
    ] = ISO16_A4_HZ,
    jobs: Annotated[
        int, typer.Option(parser=_count, metavar="N", help="Processes; -1 for all cores.")
    ] = -1,
    quiet: Annotated[  # noqa: FBT002
        bool, typer.Option("--quiet", "-q", help="Print nothing but errors; the exit code tells.")
    ] = False,
) -> None:
    """Say for each string of an instrument how far its 12th fret is off, and what to do.

    Example: pluckcheck analyze my_guitar --json report.json
    """
    from analyzer.analysis import analyze_folder, input_files
    from analyzer.report.files import as_json
    from analyzer.report.rows import as_csv
    from cli.outputs import check_outputs, outputs_of
    from cli.printing import Progress

    outputs = outputs_of((json, as_json), (csv, as_csv))
    check_outputs(outputs, input_files(folder, instrument, previous, turned))
    with libraries_silenced(), Progress(quiet=quiet) as progress:
        report = analyze_folder(
            folder,
            instrument_file=instrument,
            previous=previous,
            turned=turned,
            a4_hz=a4,
            jobs=jobs,
            progress=progress.update,
        )
    _give(report, outputs, quiet=quiet)


@app.command()
def compare(
    before: Annotated[
        Path, typer.Argument(help="JSON report of the earlier round, or its folder of recordings.")
    ],
    after: Annotated[Path, typer.Argument(help="The same of the later round.")],
    json: Annotated[
        Path | None, typer.Option(help="Write the comparison as JSON; - for standard output.")
    ] = None,
    csv: Annotated[
        Path | None, typer.Option(help="Write a row a string as CSV; - for standard output.")
    ] = None,
    quiet: Annotated[  # noqa: FBT002
        bool, typer.Option("--quiet", "-q", help="Print nothing but errors; the exit code tells.")
    ] = False,
) -> None:
    """Show two rounds of one instrument side by side, and what changed beyond uncertainty.

    Example: pluckcheck compare before.json after.json
    """
    from analyzer.analysis import compare as compare_rounds
    from analyzer.report.comparison import comparison_as_csv, comparison_as_json
    from cli.outputs import check_outputs, outputs_of

    outputs = outputs_of((json, comparison_as_json), (csv, comparison_as_csv))
    check_outputs(outputs, [before, after])
    with libraries_silenced():
        comparison = compare_rounds(before, after)
    _give(comparison, outputs, quiet=quiet)


@app.command()
def restring(
    instrument: Annotated[
        Path, typer.Argument(help="Instrument file, with [[strings]] for those that are on.")
    ],
    strings: Annotated[
        Path, typer.Argument(metavar="NEXT", help="File with [[strings]] for those to come.")
    ],
    report: Annotated[
        Path | None,
        typer.Option(help="JSON report of the instrument as it is: start from its errors."),
    ] = None,
    json: Annotated[
        Path | None, typer.Option(help="Write the plan as JSON; - for standard output.")
    ] = None,
    csv: Annotated[
        Path | None, typer.Option(help="Write a row a string as CSV; - for standard output.")
    ] = None,
    a4: Annotated[
        float, typer.Option(parser=_hertz, metavar="HZ", help="Frequency of A4.")
    ] = ISO16_A4_HZ,
    quiet: Annotated[  # noqa: FBT002
        bool, typer.Option("--quiet", "-q", help="Print nothing but errors; the exit code tells.")
    ] = False,
) -> None:
    """Say how other strings will change each 12th fret, so that saddles can be preset.

    Example: pluckcheck restring instrument.toml heavier.toml
    """
    from analyzer.restring.files import plan_as_csv, plan_as_json
    from analyzer.restring.plan import plan_restringing
    from cli.outputs import check_outputs, outputs_of

    outputs = outputs_of((json, plan_as_json), (csv, plan_as_csv))
    check_outputs(outputs, [each for each in (instrument, strings, report) if each is not None])
    _give(plan_restringing(instrument, strings, a4, report), outputs, quiet=quiet)


def _give(result: Any, outputs: Sequence[Any], *, quiet: bool) -> None:
    """Write the outputs, print the tables where nothing else is printed, and end with the code."""
    from cli.outputs import deliver_all
    from cli.printing import show

    try:
        deliver_all(outputs, result)
    finally:  # a disk that is full must not cost the result
        if not quiet and not any(output.printed for output in outputs):
            show(result)
    raise typer.Exit(EXIT_COMPLETE if result.complete else EXIT_INCOMPLETE)


def main() -> None:
    """The console script: one line and exit code 2 for what cannot be used."""
    prepare_streams()
    sys.exit(_run())


def _run() -> int:
    try:
        code = int(_called() or EXIT_COMPLETE)
    except (KeyboardInterrupt, typer.Abort):
        code = EXIT_INTERRUPTED
    except UnusableInputError as error:
        complain(str(error))
        return EXIT_UNUSABLE
    except ReaderGoneError:
        return EXIT_READER_GONE
    if code == EXIT_INTERRUPTED:
        # Ending the other processes takes a moment; a second Ctrl-C must end all at once.
        signal.signal(signal.SIGINT, signal.SIG_DFL)
        complain("stopped.")
    return code


def _called() -> int | None:
    """Call the command; what Typer itself says of options and of help comes out as ours does."""
    try:
        code: int | None = app(prog_name=PROGRAM, standalone_mode=False)
    except _USAGE_ERROR as error:
        return _misused(error)
    except SystemExit as end:
        if isinstance(end.__context__, BrokenPipeError):  # while help was printed
            raise ReaderGoneError from end
        raise
    except OSError as error:
        if error.filename is not None:
            raise UnusableInputError(
                str(error.filename), f"cannot be used ({error.strerror})", "Check its permissions"
            ) from error
        discard_output()
        raise unwritable_output(error) from error
    return code


def _misused(error: Any) -> int:
    message = error.format_message()
    if type(error).__name__ == "NoArgsIsHelpError":
        typer.echo(message, err=True)
    else:
        command = error.ctx.command_path if error.ctx else PROGRAM
        complain(f"{message.rstrip('.')}. See {command} --help.")
    return EXIT_UNUSABLE
