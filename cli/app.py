"""The application that every command joins, and what the commands share.

What is heavy is imported inside the commands: ``--help`` must not wait for it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Annotated, Any, TypeVar

import typer

from analyzer import __version__

if TYPE_CHECKING:
    from rich.console import RenderableType

_Result = TypeVar("_Result", bound=Any)
EXIT_COMPLETE, EXIT_INCOMPLETE, EXIT_UNUSABLE, EXIT_NOT_DECIDED = 0, 1, 2, 3
PROGRAM = "pluckcheck"


class StoppedError(Exception):
    """Ctrl-C, with what to do next in words."""


app = typer.Typer(
    name=PROGRAM,
    help="Intonation at the 12th fret from recorded plucks: what each string needs of its saddle.",
    epilog="Exit codes: 0 every string has a result, 1 something was left out, 2 unusable input. "
    "lot and watch with --strict: 1 where one does not conform, 3 where one is not decided.",
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


def _print_version(wanted: bool) -> None:  # noqa: FBT001
    if wanted:
        typer.echo(f"{PROGRAM} {__version__}")
        raise typer.Exit


def hertz(text: str) -> float:
    try:
        return float(text)
    except ValueError as error:
        raise typer.BadParameter(
            f"{text!r} is no number; give one in hertz, such as 440"
        ) from error


def cents(text: str) -> float:
    try:
        return float(text)
    except ValueError as error:
        raise typer.BadParameter(
            f"{text!r} is no number; give one in cents, such as 0.3"
        ) from error


def count(text: str) -> int:
    try:
        return int(text)
    except ValueError as error:
        raise typer.BadParameter(f"{text!r} is no whole number, such as 4") from error


# Options that several commands have. Their names and meaning must not differ between them.
Quiet = Annotated[
    bool, typer.Option("--quiet", "-q", help="Print errors alone; the exit code tells the rest.")
]
ChangedLimits = Annotated[
    list[str] | None,
    typer.Option(
        metavar="NAME=VALUE",
        help="Change a limit on what is read, as length_s=3600.",
    ),
]
Untrusted = Annotated[
    bool,
    typer.Option(
        "--untrusted",
        help="Do not trust the recordings: decode each apart.",
    ),
]
Jobs = Annotated[int, typer.Option(parser=count, metavar="N", help="Processes; -1 for all cores.")]
PitchStandard = Annotated[
    float,
    typer.Option(parser=hertz, metavar="HZ", help="A4; open pitches are held to it."),
]
SpecificationFile = Annotated[
    str | None,
    typer.Option(metavar="FILE", help="Limits and rules.  [default: FOLDER/lot.toml]"),
]
InstrumentOfAll = Annotated[
    str | None,
    typer.Option(metavar="FILE", help="Its file.  [default: FOLDER/instrument.toml]"),
]
Strict = Annotated[
    bool,
    typer.Option(
        "--strict",
        help="Exit with 1: one not conform; 3: one not decided.",
    ),
]


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


def give(
    result: _Result,
    outputs: Sequence[Any],
    tables: Callable[[_Result], RenderableType],
    *,
    quiet: bool,
) -> None:
    """Write the outputs, print the tables where nothing else is printed, and end with the code."""
    from cli.outputs import deliver_all
    from cli.printing import show
    from cli.streams import libraries_silenced

    try:
        with libraries_silenced():  # what lists fonts for the figures, among others, prints
            deliver_all(outputs, result)
    finally:  # a disk that is full must not cost the result
        if not quiet and not any(output.printed for output in outputs):
            show(tables(result))
    raise exit_of(result)


def exit_of(result: Any) -> typer.Exit:
    """How a command ends: ``complete`` tells; ``not_decided_strictly``, where results decide."""
    if not result.complete:
        return typer.Exit(EXIT_INCOMPLETE)
    not_decided = getattr(result, "not_decided_strictly", False)
    return typer.Exit(EXIT_NOT_DECIDED if not_decided else EXIT_COMPLETE)
