"""What lies behind a URL, brought to this machine for as long as it is read."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory

from analyzer.errors import UnusableInputError
from analyzer.instrument.file import FILE_NAME as INSTRUMENT_NAME
from analyzer.lot.records import Session
from analyzer.lot.sessions.place import entries, file_system, guarded, is_url, joined, parted, token
from analyzer.recording.limits import TRUSTED, ReadingRules
from analyzer.recording.table import FILE_NAME as TAKES_NAME

_MB = 1e6


@contextmanager
def local_file(place: str) -> Iterator[Path]:
    """A file as a path: itself where it is local, else a copy under its name and its folder's.

    Raises UnusableInputError where it cannot be fetched.
    """
    if not is_url(place):
        yield Path(place)
        return
    folder, name = parted(place)
    with _temporary() as room:
        copy = room / (parted(folder)[1] or "lot") / name
        copy.parent.mkdir()
        _fetch(place, copy)
        yield copy


@contextmanager
def local_folder(session: Session, rules: ReadingRules = TRUSTED) -> Iterator[Path]:
    """A local folder in which every file of a session stands under its name in ``files``.

    That of the recordings itself where it is local. Else a temporary one with their copies, with
    the takes.csv beside them and with the session's instrument file, see
    ``local_instrument_file``. What is gone meanwhile is not there; what is larger than the rules
    allow is there in its size alone, so that whoever reads it says so.

    Raises UnusableInputError where a file cannot be fetched.
    """
    if not is_url(session.place):
        yield Path(session.place)
        return
    with _temporary() as room:
        sizes = _sizes(session)
        for file in (*session.files, TAKES_NAME):
            if file in sizes:
                _fetch_recording(
                    joined(session.place, file), _inside(room, file), sizes[file], rules
                )
        if session.instrument_file is not None and is_url(session.instrument_file):
            _fetch(session.instrument_file, room / INSTRUMENT_NAME)
        yield room


def local_instrument_file(session: Session, folder: Path) -> Path | None:
    """Where a session's instrument file is while ``local_folder`` gives that folder."""
    if session.instrument_file is None:
        return None
    if is_url(session.instrument_file):
        return folder / INSTRUMENT_NAME
    return Path(session.instrument_file)


def tokens(session: Session) -> dict[str, str]:
    """What changes when a recording of a session does, by file, in order: see ``place.token``."""
    if not is_url(session.place):
        return {file: token(joined(session.place, file)) for file in session.files}
    found = {
        f"{inner}/{each.name}" if inner else each.name: each.token()
        for inner in _folders(session)
        for each in entries(joined(session.place, inner))
    }
    return {file: found.get(file, "") for file in session.files}


def _folders(session: Session) -> list[str]:
    return list(dict.fromkeys(file.rpartition("/")[0] for file in ("", *session.files)))


def _sizes(session: Session) -> dict[str, float]:
    """How large the files in a session's folders are, bytes; 0 where nothing tells."""
    return {
        f"{inner}/{each.name}" if inner else each.name: each.size_bytes()
        for inner in _folders(session)
        for each in entries(joined(session.place, inner))
        if not each.is_folder
    }


def _fetch_recording(place: str, copy: Path, size_bytes: float, rules: ReadingRules) -> None:
    if size_bytes <= rules.limits.file_mb * _MB:
        _fetch(place, copy)
        return
    copy.touch()
    os.truncate(copy, int(size_bytes))  # takes no room: nothing is written


def _fetch(place: str, copy: Path) -> None:
    system, path = file_system(place)
    guarded(place, "fetched", partial(system.get_file, path, str(copy)))


def _inside(room: Path, file: str) -> Path:
    """Where a copy goes. A name from elsewhere may mean another place here."""
    copy = room / file
    if not copy.resolve().is_relative_to(room.resolve()):
        raise UnusableInputError(file, "is a name that leads out of its folder", "Rename it")
    copy.parent.mkdir(parents=True, exist_ok=True)
    return copy


@contextmanager
def _temporary() -> Iterator[Path]:
    try:
        room = TemporaryDirectory(prefix="pluckcheck-")
    except OSError as error:
        raise UnusableInputError(
            "temporary files",
            f"have no place ({error.strerror})",
            "Free some space where they go, or set TMPDIR to a folder that has it",
        ) from error
    with room as path:
        yield Path(path)
