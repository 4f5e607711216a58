"""From the folder or the table of a lot to its sessions, one after another.

    FOLDER/SERIAL/s6_open_1.wav
    FOLDER/STATION/SERIAL/s6_open_1.wav

or the files that a table lists (``table``), given itself or standing in FOLDER as
lot.csv. instrument.toml stands with the recordings, or with the station, or above all.
"""

from __future__ import annotations

import os
import time
import weakref
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

from analyzer.errors import UnusableInputError
from analyzer.lot.judgement.specification_file import FILE_NAME as SPECIFICATION_NAME
from analyzer.lot.records import Fault, Session
from analyzer.lot.sessions.catalogue import Catalogue, FoundFile, room_for_it
from analyzer.lot.sessions.clock import Clocks, in_utc
from analyzer.lot.sessions.fetching import local_file
from analyzer.lot.sessions.folders import FolderSearch
from analyzer.lot.sessions.names import is_utf8
from analyzer.lot.sessions.place import absolute, exists, is_file, is_folder, is_url, joined, parted
from analyzer.lot.sessions.rows import ENDINGS, where_in
from analyzer.lot.sessions.table import FILE_NAMES, TableSearch
from analyzer.recording.door import check_beside
from analyzer.recording.finding import unlisted
from analyzer.recording.labels import Label
from analyzer.recording.limits import TRUSTED, ReadingRules
from analyzer.recording.table import Listed


@dataclass(frozen=True, eq=False)
class Layout:
    """What a lot consists of.

    ``folder``: absolute path or URL; ``table`` and ``specification_file``: likewise, None where
    there is none. ``count``: sessions, without those that ``faults`` tell of; may be 0 where there
    are faults. Sessions wait in a temporary file, so memory does not grow with them.
    """

    folder: str
    table: str | None
    specification_file: str | None
    count: int
    faults: tuple[Fault, ...]
    warnings: tuple[str, ...]
    _catalogue: Catalogue = field(repr=False)
    _instrument_file: str | None = None

    def __post_init__(self) -> None:
        weakref.finalize(self, self._catalogue.close)

    @property
    def name(self) -> str:
        """What a store knows the lot by: where its table is, or its folder."""
        return self.table or self.folder

    def sessions(self) -> Iterator[Session]:
        """Every session: in the order of the table, or by station and serial number."""
        found = self._catalogue.sessions(by_name=self.table is None)
        for number, serial, place, instrument, *others in found:
            files = self._catalogue.files(number)
            station, operator, repeat, recorded_at, recorded_s, modified_s = others
            if recorded_s is None:
                recorded_at = in_utc(modified_s)
                recorded_s = None if recorded_at is None else modified_s
            session = Session(serial, joined(self.folder, place), _names(files, place))
            yield replace(
                session,
                listed=self._listed(files, place),
                instrument_file=self._instrument_of(instrument),
                station=station,
                operator=operator,
                repeat=repeat,
                recorded_at=recorded_at,
                recorded_s=recorded_s,
            )

    def stations(self) -> list[str]:
        """Their names, each once, in order of appearance."""
        return self._catalogue.stations()

    def close(self) -> None:
        """Let go of the temporary file, which else goes with the layout; no session any more."""
        self._catalogue.close()

    def _instrument_of(self, found: str | None) -> str | None:
        if self._instrument_file is not None:
            return self._instrument_file
        return None if found is None else joined(self.folder, found)

    def _listed(self, files: list[FoundFile], place: str) -> dict[str, tuple[Listed, ...]]:
        """What the table says of each file; the rows of a string and fret are its takes."""
        if self.table is None:
            return {}
        takes: Counter[tuple[int, str]] = Counter()
        found: dict[str, tuple[Listed, ...]] = {}
        for name, each in zip(_names(files, place), files, strict=True):
            if each.string is not None and each.fret is not None:
                takes[each.string, each.fret] += 1
                label = Label(each.string, each.fret, takes[each.string, each.fret])
                where = where_in(parted(self.table)[1], each.line)
                found[name] = (Listed(name, where, label=label),)
        return found


def find_sessions(
    place: str,
    rules: ReadingRules = TRUSTED,
    instrument_file: str | None = None,
    *,
    exclude: str | None = None,
    now_s: float | None = None,
) -> Layout:
    """Find the sessions of a lot, and what cannot become one.

    Parameters
    ----------
    place : the lot's folder, or its table: a path, or a URL that fsspec knows.
    rules : of their limits, that of files holds for a session.
    instrument_file : path or URL; it goes before every instrument.toml.
    exclude : a folder that is none of the lot's, where it lies in ``place``: that of the results.
    now_s : seconds from 1970, UTC, after which times lie in the future; by default, now.

    Raises
    ------
    UnusableInputError
        No such folder, an empty one, recordings but no folder of an instrument, or a wrong table.
    """
    table = _table_of(place)
    folder = place if table is None else parted(table)[0]
    _check_places(folder, table, instrument_file, rules)
    clocks = Clocks(time.time() if now_s is None else now_s)
    catalogue = Catalogue()
    warnings: list[str] = []
    try:
        with room_for_it(folder):
            if table is None:
                FolderSearch(folder, rules, catalogue, clocks, _inner(folder, exclude)).run()
            else:
                with local_file(table) as copy:
                    warnings = TableSearch(folder, copy, rules, catalogue, clocks).run()
            return Layout(
                absolute(folder),
                None if table is None else absolute(table),
                _beside(folder, SPECIFICATION_NAME),
                catalogue.count(),
                tuple(catalogue.faults()),
                (*warnings, *clocks.warnings()),
                catalogue,
                None if instrument_file is None else absolute(instrument_file),
            )
    except BaseException:
        catalogue.close()
        raise


def _table_of(place: str) -> str | None:
    """The table that is given or stands in the folder; None where folders are to be looked at."""
    if is_folder(place):
        found = [joined(place, name) for name in FILE_NAMES if exists(joined(place, name))]
        if len(found) > 1:
            names = " and ".join(parted(each)[1] for each in found)
            raise UnusableInputError(place, f"holds {names}", "Keep one table")
        return found[0] if found else None
    if not exists(place):
        raise unlisted(place, FileNotFoundError())
    if place.lower().endswith(ENDINGS):
        return place
    raise UnusableInputError(
        place, "is neither a folder nor a table", f"Give a folder, or {', '.join(ENDINGS)}"
    )


def _check_places(
    folder: str, table: str | None, instrument_file: str | None, rules: ReadingRules
) -> None:
    """Raise UnusableInputError for what stands beside the lot and cannot be used."""
    if not is_utf8(absolute(folder)):
        raise UnusableInputError(folder, "has a name that is not UTF-8", "Rename the folder")
    if table is not None and not is_file(table):
        raise UnusableInputError(table, "is not a regular file", "Put the table itself there")
    if instrument_file is not None and not is_file(instrument_file):
        raise UnusableInputError(instrument_file, "is no file", "Give an instrument file")
    for each in (table, _beside(folder, SPECIFICATION_NAME)):
        if each is not None and not is_url(each):
            check_beside(Path(each), rules)


def _beside(folder: str, name: str) -> str | None:
    place = joined(folder, name)
    return absolute(place) if exists(place) else None


def _inner(folder: str, other: str | None) -> str | None:
    """Another folder by its name within this one; None where it is not inside."""
    if other is None or is_url(folder) or is_url(other):
        return None
    outer, inner = (Path(os.path.realpath(each)) for each in (folder, other))
    return inner.relative_to(outer).as_posix() if inner.is_relative_to(outer) else None


def _names(files: list[FoundFile], place: str) -> tuple[str, ...]:
    """Files of the lot by their names within the folder of a session."""
    return tuple(each.file[len(place) + 1 :] if place else each.file for each in files)
