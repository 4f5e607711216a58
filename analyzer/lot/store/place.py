"""Where a store is: given by its file, or by the folder that the file stands in."""

from __future__ import annotations

from pathlib import Path

FILE_NAME = "lot.sqlite"
_ENDING = Path(FILE_NAME).suffix


def file_in(place: Path) -> Path:
    """The file of a store; there need be neither file nor folder yet.

    What is no folder is the file where it is there or ends in ``.sqlite``, else the folder-to-be.
    """
    is_file = place.suffix.lower() == _ENDING or place.exists()
    return place if is_file and not place.is_dir() else place / FILE_NAME


def files_of(place: Path) -> list[Path]:
    """Every file that a store may consist of, so that no output takes its place."""
    path = file_in(place)
    return [path, *(path.with_name(f"{path.name}-{each}") for each in ("wal", "shm"))]
