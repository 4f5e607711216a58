"""The ``pluckcheck`` command: every command of it, and what ends it."""

from __future__ import annotations

import signal
import sys
from typing import Any

import typer

from analyzer.errors import UnusableInputError
from cli import analyze, compare, history, inspect, lot, restring, schema, sheet, station, watch
from cli.app import EXIT_COMPLETE, EXIT_UNUSABLE, PROGRAM, StoppedError, app
from cli.streams import (
    ReaderGoneError,
    complain,
    discard_output,
    prepare_streams,
    unwritable_output,
)

EXIT_INTERRUPTED, EXIT_READER_GONE = 130, 141  # as shells count SIGINT and SIGPIPE
# Typer has no name of its own for it, and not every version of it depends on click.
_USAGE_ERROR: type[Exception] = typer.BadParameter.__mro__[1]
# Each has joined the application by now.
_COMMANDS = (analyze, compare, history, inspect, lot, restring, schema, sheet, station, watch)


def main() -> None:
    """The console script: one line and exit code 2 for what cannot be used."""
    prepare_streams()
    sys.exit(_run())


def _run() -> int:
    next_step = ""
    try:
        code = int(_called() or EXIT_COMPLETE)
    except (KeyboardInterrupt, typer.Abort):
        code = EXIT_INTERRUPTED
    except StoppedError as stopped:
        code, next_step = EXIT_INTERRUPTED, f" {stopped}."
    except UnusableInputError as error:
        complain(str(error))
        return EXIT_UNUSABLE
    except ReaderGoneError:
        return EXIT_READER_GONE
    if code == EXIT_INTERRUPTED:
        # Ending the other processes takes a moment; a second Ctrl-C must end all at once.
        signal.signal(signal.SIGINT, signal.SIG_DFL)
        complain(f"stopped.{next_step}")
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
        message = message.rstrip(".")
        end = "" if message.endswith("?") else "."
        complain(f"{message}{end} See {command} --help.")
    return EXIT_UNUSABLE
