"""Where the recordings of a lot are: the one module that tells a path from a URL.

A URL goes through fsspec, which is loaded only then: whatever it can list and read, a bucket or a
server, a lot can lie on. In a name that is joined, ``/`` stands between, as in a table.
"""

from __future__ import annotations

import os
import re
import stat
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

from analyzer.errors import UnusableInputError
from analyzer.recording.finding import unlisted

_URL = re.compile(r"[A-Za-z][A-Za-z0-9+.-]+://")  # two letters or more: one is a drive
_LIBRARY = "fsspec"
# What the file systems call the time of the last change, and what else tells a new content.
_TIMES = ("mtime", "LastModified", "last_modified", "modified", "updated", "created")
_MARKS = (*_TIMES, "ETag", "etag", "md5Hash", "checksum", "generation", "VersionId", "version_id")

_T = TypeVar("_T")


def is_url(place: str) -> bool:
    """Whether a place is a URL; ``file://`` is one too.

    >>> is_url("s3://bucket/lot"), is_url("lot/week 12"), is_url("C:/lot")
    (True, False, False)
    """
    return _URL.match(place) is not None


def absolute(place: str) -> str:
    """The place as it reads from anywhere."""
    return place if is_url(place) else str(Path(place).absolute())


def joined(place: str, name: str) -> str:
    """What is called ``name``, with ``/`` between folders, in a place.

    >>> joined("s3://bucket/lot/", "line 1/A1"), joined("memory://", "A1")
    ('s3://bucket/lot/line 1/A1', 'memory://A1')
    """
    if not name:
        return place
    if not is_url(place):  # pathlib would keep every name for good
        return f"{place}{'' if place.endswith(('/', os.sep)) else os.sep}{name}"
    head, chain, rest = place.partition("::")  # zip://inside::file:///outside.zip
    between = "" if head.endswith("/") else "/"
    return f"{head}{between}{name}{chain}{rest}"


def parted(place: str) -> tuple[str, str]:
    """The folder that a place stands in, and its name there.

    >>> parted("s3://bucket/lot.csv"), parted("week 12/lot.csv")
    (('s3://bucket', 'lot.csv'), ('week 12', 'lot.csv'))
    """
    if not is_url(place):
        path = Path(place)
        return str(path.parent), path.name
    head, chain, rest = place.partition("::")
    folder, _, name = head.rstrip("/").rpartition("/")
    if folder.endswith(":/"):
        folder += "/"
    return f"{folder}{chain}{rest}", name


@dataclass(frozen=True, slots=True)
class Entry:
    """What stands in a folder. ``leads_nowhere``: a link to what is not there."""

    name: str
    is_folder: bool
    is_link: bool
    leads_nowhere: bool
    _found: os.DirEntry[str] | Mapping[str, Any]

    def modified_s(self) -> float | None:
        """Seconds from 1970, UTC, to its last change; None where nothing tells."""
        if not isinstance(self._found, os.DirEntry):
            return _modified_s(self._found)
        try:
            return self._found.stat().st_mtime
        except OSError:
            return None

    def size_bytes(self) -> float:
        """How large it is; 0 where nothing tells."""
        if isinstance(self._found, os.DirEntry):
            return float(self._found.stat().st_size)
        return float(self._found.get("size") or 0)

    def token(self) -> str:
        """See ``token``."""
        if not isinstance(self._found, os.DirEntry):
            return _remote_token(self._found)
        return _local_token(self._found.path)


def entries(place: str) -> Iterator[Entry]:
    """Everything in a folder, in no order; a local one is not held in memory.

    Raises UnusableInputError where it cannot be listed.
    """
    if is_url(place):
        yield from _remote_entries(place)
        return
    try:
        with os.scandir(place) as found:
            for each in found:
                yield _local_entry(each)
    except (OSError, ValueError) as error:  # a NUL in a path is a ValueError
        raise unlisted(place, error) from error


def is_folder(place: str) -> bool:
    """Whether there is a folder."""
    return _kind(place, stat.S_ISDIR, "isdir")


def is_file(place: str) -> bool:
    """Whether there is a file that can be read to its end."""
    return _kind(place, stat.S_ISREG, "isfile")


def exists(place: str) -> bool:
    """Whether there is anything of that name; a link that leads nowhere is a thing to mend."""
    return remote(place, "looked for", "exists") if is_url(place) else os.path.lexists(place)


def token(place: str) -> str:
    """What changes when a file does, had without reading it; empty where nothing tells.

    Of a local file its size and time; of a URL what the file system says of its content. A size
    alone is not enough: who gets an empty token has to read the file again.
    """
    if not is_url(place):
        return _local_token(place)
    folder, name = parted(place)
    try:  # listed, since what a file system says of one file alone may read differently
        return next((each.token() for each in entries(folder) if each.name == name), "")
    except UnusableInputError:
        return ""


def file_system(place: str) -> tuple[Any, str]:
    """The fsspec file system of a URL, and the path in it.

    Raises UnusableInputError where fsspec, or what it needs for that scheme, is not there.
    """
    try:
        from fsspec.core import url_to_fs
    except ImportError as error:
        raise UnusableInputError(
            place,
            f"is a URL, and {_LIBRARY}, which reads it, is not installed",
            "Install it with: pip install 'pluckcheck[cluster]'; or give a path",
        ) from error
    try:
        found: tuple[Any, str] = url_to_fs(place)
    except ImportError as error:  # it names what to install
        raise UnusableInputError(
            place, f"cannot be opened ({error})", "Install that, or give a path"
        ) from error
    except Exception as error:
        raise UnusableInputError(
            place, f"cannot be opened ({error})", "Give a path, or a URL that fsspec knows"
        ) from error
    return found


def remote(place: str, done: str, method: str, *arguments: Any, **options: Any) -> Any:
    """Call a method of a URL's file system with its path; ``done`` says what, for a message."""
    system, path = file_system(place)
    return guarded(place, done, partial(getattr(system, method), path, *arguments, **options))


def guarded(place: str, done: str, call: Callable[[], _T]) -> _T:
    """What a call gives; UnusableInputError for whatever a file system raises, of any kind."""
    try:
        return call()
    except FileNotFoundError as error:
        raise unlisted(place, error) from error
    except Exception as error:
        raise UnusableInputError(
            place,
            f"cannot be {done} ({type(error).__name__}: {error})",
            "Check the URL, the connection and the permissions",
        ) from error


def _kind(place: str, is_kind: Callable[[int], bool], method: str) -> bool:
    if is_url(place):
        return bool(remote(place, "looked at", method))
    try:
        return is_kind(Path(place).stat().st_mode)
    except (OSError, ValueError):
        return False


def _local_entry(found: os.DirEntry[str]) -> Entry:
    is_link = found.is_symlink()
    lost = is_link and not Path(found.path).exists()
    return Entry(found.name, found.is_dir(), is_link, lost, found)


def _remote_entries(place: str) -> Iterator[Entry]:
    system, path = file_system(place)
    found = guarded(place, "listed", partial(system.ls, path, detail=True))
    # Else a file system may hold every listing for good, and show an old one.
    guarded(place, "listed", partial(system.invalidate_cache, path))
    for each in found:
        is_folder_there = each["type"] == "directory"
        name = each["name"].rstrip("/")
        if name == path.rstrip("/"):
            if is_folder_there:  # some list a folder as part of itself
                continue
            raise unlisted(place, NotADirectoryError())
        yield Entry(name.rpartition("/")[2], is_folder_there, False, False, each)  # noqa: FBT003


def _local_token(path: str) -> str:
    try:
        status = Path(path).stat()
    except (OSError, ValueError):
        return ""
    return f"{status.st_size}-{status.st_mtime_ns}"


def _remote_token(info: Mapping[str, Any]) -> str:
    marks = [f"{key}={info[key]}" for key in _MARKS if info.get(key) is not None]
    return "; ".join((f"size={info.get('size')}", *marks)) if marks else ""


def _modified_s(info: Mapping[str, Any]) -> float | None:
    for value in (info.get(key) for key in _TIMES):
        if isinstance(value, datetime):
            return (value if value.tzinfo else value.replace(tzinfo=UTC)).timestamp()
        if isinstance(value, (int, float)):
            return float(value)
        if isinstance(value, str):
            try:
                return datetime.fromisoformat(value).timestamp()
            except ValueError:
                continue
    return None
