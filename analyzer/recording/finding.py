"""Which files of a folder are recordings."""

from __future__ import annotations

from itertools import islice
from pathlib import Path

from analyzer.errors import UnusableInputError
from analyzer.recording.formats import CONTAINERS, SOUND_FILES
from analyzer.recording.limits import DEFAULT_LIMITS, Limits, check_count

_ENDINGS = SOUND_FILES | CONTAINERS
_FORM = "Recordings are named like s6_open_1.wav and s6_f12_1.wav"


def find_recordings(folder: Path, limits: Limits = DEFAULT_LIMITS) -> list[Path]:
    """What is named as a sound file in a folder, by name.

    What only has the name of a file is among them: a folder, a broken link. Reading it gives the
    reason why it is left out.

    Raises UnusableInputError where there is no such folder, no recording in it, or more of them
    than the limits allow.
    """
    try:
        sounds = (path for path in folder.iterdir() if is_recording(path.name))
        found = sorted(islice(sounds, limits.files + 1))  # a folder may hold millions
    except (OSError, ValueError) as error:  # a NUL in a path is a ValueError
        raise unlisted(str(folder), error) from error
    if not found:
        raise UnusableInputError(str(folder), _nothing(folder), _FORM)
    check_count(str(folder), len(found), limits)
    return found


def is_recording(name: str) -> bool:
    """Whether a file of this name is meant as a recording.

    >>> is_recording("s6_open_1.WAV"), is_recording("._s6_open_1.wav"), is_recording("wav")
    (True, False, False)
    """
    # A dot before the name marks the shadow files that some systems leave beside real ones.
    stem, _, ending = name.rpartition(".")
    return bool(stem) and f".{ending.lower()}" in _ENDINGS and not name.startswith(".")


def unlisted(folder: str, error: Exception) -> UnusableInputError:
    """The line for a folder that could not be listed, from what went wrong."""
    if isinstance(error, FileNotFoundError):
        return UnusableInputError(folder, "does not exist", "Give a folder of recordings")
    if isinstance(error, NotADirectoryError):
        return UnusableInputError(
            folder, "is not a folder", "Give the folder that the recordings are in"
        )
    return UnusableInputError(
        folder,
        f"cannot be listed ({getattr(error, 'strerror', None) or error})",
        "Check the path and its permissions",
    )


def _nothing(folder: Path) -> str:
    inside = sorted(path for path in folder.iterdir() if _holds_sound(path))
    if not inside:
        return "holds no recording"
    names = ", ".join(str(path) for path in inside[:4])
    return f"holds no recording itself, but these folders do: {names}. Give one of them"


def _holds_sound(folder: Path) -> bool:
    """False, too, where it cannot be listed: this is for a hint only."""
    try:
        return any(is_recording(path.name) for path in folder.iterdir())
    except OSError:
        return False
