"""The ``pluckcheck`` command: every command of it, and what ends it."""

from __future__ import annotations

import gc
import signal
import sys
from types import FrameType
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

# As shells count SIGINT, SIGPIPE and SIGTERM.
EXIT_INTERRUPTED, EXIT_READER_GONE, EXIT_TERMINATED = 130, 141, 143
# Libraries make hundreds of thousands of objects that stay. To look through them as often as Python
# does by default (700) took a twelfth of the time of a lot that is known already.
_OBJECTS_BETWEEN_LOOKS = 50_000
_terminated: list[int] = []  # the signal, once it has come; Typer may keep the exception
# Typer has no name of its own for it, and not every version of it depends on click.
_USAGE_ERROR: type[Exception] = typer.BadParameter.__mro__[1]
# In the order of the work; each has joined the application by being imported.
_COMMANDS = (sheet, analyze, inspect, compare, restring, history, lot, watch, station, schema)
_MODULES = [command.__name__ for command in _COMMANDS]
app.registered_commands.sort(key=lambda each: _MODULES.index(each.callback.__module__))


def main() -> None:
    """The console script: one line and exit code 2 for what cannot be used."""
    gc.set_threshold(_OBJECTS_BETWEEN_LOOKS)
    prepare_streams()
    if signal.getsignal(signal.SIGTERM) == signal.SIG_DFL:  # not where it is to be ignored
        signal.signal(signal.SIGTERM, _terminate)
    sys.exit(_run())


def _terminate(number: int, _frame: FrameType | None) -> None:
    """End the run as Ctrl-C does, and with it other processes and half files."""
    signal.signal(number, signal.SIG_DFL)  # the second one ends all at once
    _terminated.append(number)
    raise KeyboardInterrupt


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
    return _stopped(next_step) if code == EXIT_INTERRUPTED else code


def _stopped(next_step: str) -> int:
    # Ending the other processes takes a moment; a second Ctrl-C must end all at once.
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    complain(f"stopped.{next_step}")
    return EXIT_TERMINATED if _terminated else EXIT_INTERRUPTED


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
