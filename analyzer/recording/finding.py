"""Which files of a folder are recordings."""

from __future__ import annotations

import stat
from pathlib import Path

from analyzer.errors import UnusableInputError

READABLE = {".wav", ".wave", ".flac", ".aif", ".aiff", ".aifc", ".ogg", ".oga", ".mp3", ".w64"}
READABLE |= {".rf64", ".caf", ".au", ".opus"}
NOT_READABLE_YET = {".m4a", ".aac", ".mp4", ".mov", ".3gp", ".webm", ".wma", ".amr"}
_FORM = "Recordings are named like s6_open_1.wav and s6_f12_1.wav"


def find_recordings(folder: Path) -> list[Path]:
    """What is named as a sound file in a folder, by name.

    Formats that cannot be read yet are among them, and so is what only has the name of a file: a
    folder, a broken link. Reading them gives the reason why they are left out.

    Raises UnusableInputError where there is no such folder or no recording in it.
    """
    try:
        if not stat.S_ISDIR(folder.stat().st_mode):
            raise UnusableInputError(
                str(folder), "is not a folder", "Give the folder that the recordings are in"
            )
        found = sorted(path for path in folder.iterdir() if _is_sound(path))
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
    return found


def _is_sound(path: Path) -> bool:
    # A dot before the name marks the shadow files that some systems leave beside real ones.
    known = path.suffix.lower() in READABLE | NOT_READABLE_YET
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
