"""Standard output and standard error: what may be printed there, and what if it cannot be.

Imports nothing heavy, since ``--help`` needs it.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import TextIO

from analyzer.errors import UnusableInputError, printable

LONGEST_LINE = 2000  # characters; its parts are cut before
# Of what is written at once, Python with -u gives a pipe as much as that takes when its reader
# goes, and only the next piece fails.
_PIECE = 65_536  # characters; as large as most pipes


class ReaderGoneError(Exception):
    """Whoever read standard output has stopped reading, as ``head`` does: no fault, no more."""


def prepare_streams() -> None:
    """Make the streams such that printing fails only where nothing can be printed at all."""
    if sys.stdout is None:
        # Closed. A stream that refuses keeps the number 1 from the next file that is opened.
        sys.stdout = os.fdopen(os.open(os.devnull, os.O_RDONLY), "w", encoding="utf-8")
    if sys.stderr is None:
        sys.stderr = os.fdopen(os.open(os.devnull, os.O_WRONLY), "w", encoding="utf-8")
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
    columns = os.environ.get("COLUMNS", "")
    if not (columns.isascii() and columns.isdigit() and columns.strip("0") and len(columns) < 5):
        os.environ.pop("COLUMNS", None)  # 0, or no number: as if it were not set


@contextmanager
def libraries_silenced() -> Iterator[None]:
    """Keep standard error for this program alone.

    Decoders written in C print notes of their own to file descriptor 2, and processes that are
    stopped print tracebacks; both inherit the descriptor, and neither knows of ``sys.stderr``.
    """
    try:
        kept = os.dup(2) if sys.stderr.fileno() == 2 else None
    except (OSError, ValueError):
        kept = None
    if kept is None:  # closed, or somebody else's already
        yield
        return
    ours = sys.stderr
    encoding, errors = ours.encoding, ours.errors or "backslashreplace"
    with os.fdopen(kept, "w", buffering=1, encoding=encoding, errors=errors) as stream:
        sys.stderr = stream
        _to_nowhere(2)
        try:
            yield
        finally:
            os.dup2(kept, 2)
            sys.stderr = ours


def print_text(text: str) -> None:
    """Print to standard output. Raises ReaderGoneError, or UnusableInputError where it fails."""
    with _standard_output() as stream:
        for start in range(0, len(text), _PIECE):
            stream.write(text[start : start + _PIECE])


def print_data(content: str | bytes) -> None:
    """Print text in UTF-8, whatever the terminal's encoding is: JSON has no other."""
    with _standard_output() as stream:
        stream.flush()
        left = memoryview(content if isinstance(content, bytes) else content.encode("utf-8"))
        while left:
            left = left[stream.buffer.write(left) :]


@contextmanager
def _standard_output() -> Iterator[TextIO]:
    try:
        yield sys.stdout
        sys.stdout.flush()
    except BrokenPipeError as error:
        discard_output()
        raise ReaderGoneError from error
    except OSError as error:
        discard_output()
        raise unwritable_output(error) from error


def unwritable_output(error: OSError) -> UnusableInputError:
    """The line for an error that names no file: it comes from standard output."""
    return UnusableInputError(
        "standard output",
        f"cannot be written ({error.strerror or error})",
        "Free the place it goes to, or write to another",
    )


def discard_output() -> None:
    """Let what is left in the buffer go nowhere; the interpreter would try it again at its end."""
    with suppress(OSError, ValueError):
        _to_nowhere(sys.stdout.fileno())


def _to_nowhere(descriptor: int) -> None:
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, descriptor)
    os.close(nowhere)


def complain(line: str) -> None:
    """Print one line to standard error; where that cannot be, the exit code must do."""
    try:
        sys.stderr.write(f"pluckcheck: {printable(line, LONGEST_LINE)}\n")
        sys.stderr.flush()
    except OSError:
        with suppress(OSError, ValueError):
            _to_nowhere(sys.stderr.fileno())
