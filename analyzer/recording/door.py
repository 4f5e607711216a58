"""What a file is, looked at before it is opened: a pipe would make its reader wait for ever."""

from __future__ import annotations

import os
import stat
from pathlib import Path

from analyzer.errors import RecordingError, UnusableInputError
from analyzer.recording.limits import ReadingRules, check_size

_OUTSIDE = "is a link to a place outside its folder"


def check_file(path: Path, rules: ReadingRules) -> None:
    """Raise RecordingError for what is no readable file of sound, or one that may not be read."""
    try:
        status = path.stat()
        if not stat.S_ISREG(status.st_mode):
            raise RecordingError(
                path.name, "is not a regular file", "Put the recording itself in its place"
            )
        if rules.untrusted and leads_outside(path):
            raise RecordingError(path.name, _OUTSIDE, "Put the recording itself in its place")
        with path.open("rb"):
            pass
    except OSError as error:
        raise RecordingError(
            path.name,
            f"cannot be read ({error.strerror})",
            "Check its permissions, or where it links to",
        ) from error
    if status.st_size == 0:
        raise RecordingError(path.name, "is empty (0 bytes)", "Copy or record it again")
    check_size(path.name, status.st_size, rules.limits)


def check_beside(path: Path, rules: ReadingRules) -> None:
    """The same for a table beside recordings that come from a stranger: UnusableInputError."""
    if rules.untrusted and leads_outside(path):
        raise UnusableInputError(str(path), _OUTSIDE, "Put the file itself in its place")


def leads_outside(path: Path) -> bool:
    """Whether a link takes this path out of the folder that it stands in."""
    folder = os.path.realpath(path.parent)
    return os.path.commonpath([folder, os.path.realpath(path)]) != folder
