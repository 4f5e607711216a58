"""Which files of a folder are recordings."""

from __future__ import annotations

from pathlib import Path

from analyzer.errors import UnusableInputError

READABLE = {".wav", ".wave", ".flac", ".aif", ".aiff", ".aifc", ".ogg", ".oga", ".mp3", ".w64"}
READABLE |= {".rf64", ".caf", ".au", ".opus"}
NOT_READABLE_YET = {".m4a", ".aac", ".mp4", ".mov", ".3gp", ".webm", ".wma", ".amr"}
_FORM = "Recordings are named like s6_open_1.wav and s6_f12_1.wav"


def find_recordings(folder: Path) -> list[Path]:
    """The sound files of a folder, by name; those that cannot be read yet are among them.

    Raises UnusableInputError where there is no such folder or no recording in it.
    """
    if not folder.exists():
        raise UnusableInputError(str(folder), "does not exist", "Give a folder of recordings")
    if not folder.is_dir():
        raise UnusableInputError(
            str(folder), "is not a folder", "Give the folder that the recordings are in"
        )
    try:
        found = sorted(path for path in folder.iterdir() if _is_sound(path))
        if not found:
            raise UnusableInputError(str(folder), _nothing(folder), _FORM)
    except OSError as error:
        raise UnusableInputError(
            str(folder), f"cannot be listed ({error.strerror})", "Check its permissions"
        ) from error
    return found


def _is_sound(path: Path) -> bool:
    # A dot before the name marks the shadow files that some systems leave beside real ones.
    known = path.suffix.lower() in READABLE | NOT_READABLE_YET
    return known and not path.name.startswith(".") and path.is_file()


def _nothing(folder: Path) -> str:
    inside = sorted(p for p in folder.iterdir() if p.is_dir() and any(map(_is_sound, p.iterdir())))
    if not inside:
        return "holds no recording"
    names = ", ".join(str(path) for path in inside[:4])
    return f"holds no recording itself, but these folders do: {names}. Give one of them"
