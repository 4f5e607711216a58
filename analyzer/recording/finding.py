"""Which files of a folder are recordings."""

from __future__ import annotations

import stat
from itertools import islice
from pathlib import Path

from analyzer.errors import UnusableInputError
from analyzer.recording.formats import CONTAINERS, SOUND_FILES
from analyzer.recording.limits import DEFAULT_LIMITS, Limits, check_count

_FORM = "Recordings are named like s6_open_1.wav and s6_f12_1.wav"


def find_recordings(folder: Path, limits: Limits = DEFAULT_LIMITS) -> list[Path]:
    """What is named as a sound file in a folder, by name.

    What only has the name of a file is among them: a folder, a broken link. Reading it gives the
    reason why it is left out.

    Raises UnusableInputError where there is no such folder, no recording in it, or more of them
    than the limits allow.
    """
    try:
        if not stat.S_ISDIR(folder.stat().st_mode):
            raise UnusableInputError(
                str(folder), "is not a folder", "Give the folder that the recordings are in"
            )
        sounds = (path for path in folder.iterdir() if _is_sound(path))
        found = sorted(islice(sounds, limits.files + 1))  # a folder may hold millions
    except FileNotFoundError as error:
        raise UnusableInputError(
            str(folder), "does not exist", "Give a folder of recordings"
        ) from error
    except (OSError, ValueError) as error:  # a NUL in a path is a ValueError
        raise UnusableInputError(
            str(folder),
            f"cannot be listed ({getattr(error, 'strerror', error)})",
            "Check the path and its permissions",
        ) from error
    if not found:
        raise UnusableInputError(str(folder), _nothing(folder), _FORM)
    check_count(str(folder), len(found), limits)
    return found


def _is_sound(path: Path) -> bool:
    # A dot before the name marks the shadow files that some systems leave beside real ones.
    known = path.suffix.lower() in SOUND_FILES | CONTAINERS
    return known and not path.name.startswith(".")


def _nothing(folder: Path) -> str:
    inside = sorted(path for path in folder.iterdir() if _holds_sound(path))
    if not inside:
        return "holds no recording"
    names = ", ".join(str(path) for path in inside[:4])
    return f"holds no recording itself, but these folders do: {names}. Give one of them"


def _holds_sound(folder: Path) -> bool:
    """False, too, where it cannot be listed: this is for a hint only."""
    try:
        return any(map(_is_sound, folder.iterdir()))
    except OSError:
        return False
