"""A folder for each instrument, its name the serial number; above it, perhaps one a station."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

from analyzer.errors import UnusableInputError, some_of
from analyzer.instrument.file import FILE_NAME as INSTRUMENT_NAME
from analyzer.lot.records import Fault
from analyzer.lot.sessions.catalogue import Catalogue, Found, FoundFile
from analyzer.lot.sessions.clock import Clocks, Moment, in_utc
from analyzer.lot.sessions.names import folded, is_utf8, tidy, unfit
from analyzer.lot.sessions.place import Entry, entries, exists, is_url, joined
from analyzer.recording.door import check_beside
from analyzer.recording.finding import is_recording
from analyzer.recording.limits import ReadingRules, check_count

_DEEPEST = 8  # folders down, in which recordings are looked for to say that they are too deep
_NAMED = 3  # files or folders in one line
_A_FOLDER_EACH = "Put the recordings of each instrument into a folder named by its serial number"
_TOO_DEEP = "Keep to FOLDER/SERIAL or FOLDER/STATION/SERIAL, or list the files in lot.csv"


class EmptyLotError(UnusableInputError):
    """A folder in which there is nothing yet."""


@dataclass
class _Seen:
    """What a folder holds itself."""

    sounds: list[Entry] = field(default_factory=list)
    has_folders: bool = False
    has_instrument: bool = False


@dataclass(frozen=True)
class FolderSearch:
    """One look through the folder of a lot; ``exclude`` is a folder in it that is none of it.

    Names of folders are those within it from here on, ``/`` between.
    """

    folder: str
    rules: ReadingRules
    catalogue: Catalogue
    clocks: Clocks
    exclude: str | None = None

    def run(self) -> None:
        """Add every session and every fault to the catalogue.

        Raises UnusableInputError where the folder itself cannot be used, or holds nothing.
        """
        instrument = self._instrument_in("") if exists(self._shown(INSTRUMENT_NAME)) else None
        loose: list[str] = []
        count = 0
        for entry in entries(self.folder):
            if not entry.is_folder and is_recording(entry.name):
                count += 1
                loose = sorted((*loose, entry.name))[:_NAMED]
            else:
                self._try(entry.name, entry, partial(self._station_or_serial, instrument))
        self._check_loose(loose, count)
        self._refuse_doubles()

    def _shown(self, inner: str) -> str:
        return joined(self.folder, inner)

    def _fault(self, inner: str, found: str, remedy: str) -> UnusableInputError:
        return UnusableInputError(self._shown(inner), found, remedy)

    def _try(self, inner: str, entry: Entry, look: Callable[[str], None]) -> None:
        """Look into what is a folder; where that fails it is a fault, and the rest goes on."""
        if entry.name.startswith(".") or inner == self.exclude:
            return
        try:
            if entry.leads_nowhere:
                raise self._fault(inner, "is a link that leads nowhere", "Mend or delete it")
            if entry.is_folder:
                if entry.is_link:
                    check_beside(Path(self._shown(inner)), self.rules)
                look(inner)
        except UnusableInputError as error:
            self.catalogue.fault(Fault(error.where, error.reason))

    def _station_or_serial(self, instrument: str | None, inner: str) -> None:
        seen = self._look(inner)
        if seen.sounds or not seen.has_folders:
            self._add(inner, seen, "", instrument)
            return
        station = self._name(inner, "station")
        if seen.has_instrument:
            instrument = self._instrument_in(inner)
        for entry in entries(self._shown(inner)):
            look = partial(self._serial, station, instrument)
            self._try(f"{inner}/{entry.name}", entry, look)

    def _serial(self, station: str, instrument: str | None, inner: str) -> None:
        self._add(inner, self._look(inner), station, instrument)

    def _look(self, inner: str) -> _Seen:
        """What a folder holds. Of ten thousand recordings no more is looked at than may be."""
        seen = _Seen()
        for entry in entries(self._shown(inner)):
            if entry.is_folder:
                seen.has_folders = seen.has_folders or not entry.name.startswith(".")
            elif is_recording(entry.name):
                seen.sounds.append(entry)
                check_count(self._shown(inner), len(seen.sounds), self.rules.limits)
            seen.has_instrument = seen.has_instrument or entry.name == INSTRUMENT_NAME
        return seen

    def _add(self, inner: str, seen: _Seen, station: str, instrument: str | None) -> None:
        """A session from the folder of a serial number."""
        serial = self._name(inner, "serial number")
        deeper = self._deeper(inner) if seen.has_folders else None
        if deeper is not None:
            error = self._fault(deeper, "holds recordings too deep to belong anywhere", _TOO_DEEP)
            if not seen.sounds:
                raise error
            self.catalogue.fault(Fault(error.where, error.reason))
        if not seen.sounds:
            raise self._fault(inner, "holds no recording", "Record it again, or delete the folder")
        names = sorted(self._file_name(inner, each) for each in seen.sounds)
        if seen.has_instrument:
            instrument = self._instrument_in(inner)
        found = Found(serial, folded(serial), station, "", 1, inner)
        number = self.catalogue.session([inner], found)
        self.catalogue.put(number, inner, instrument)
        self.catalogue.add_files(
            number, (FoundFile(line, f"{inner}/{name}") for line, name in enumerate(names))
        )
        self._date(inner, number, seen.sounds)

    def _date(self, inner: str, number: int, sounds: list[Entry]) -> None:
        times = [each for each in (sound.modified_s() for sound in sounds) if each is not None]
        newest_s = max(times, default=None)
        self.catalogue.date(number, None, newest_s)
        at = in_utc(newest_s)
        if at is not None and newest_s is not None:
            self.clocks.dated(self._shown(inner), Moment(at, newest_s, has_offset=True))

    def _name(self, inner: str, what: str) -> str:
        """The name of a folder as a station or a serial number."""
        name = inner.rpartition("/")[2]
        why = unfit(name)
        if why is not None:
            raise self._fault(inner, f"is no name of a {what}: it {why}", "Rename the folder")
        return tidy(name)

    def _file_name(self, inner: str, entry: Entry) -> str:
        if not is_utf8(entry.name):
            file = f"{inner}/{entry.name}"
            raise self._fault(file, "has a name that is not UTF-8", "Rename the file")
        return entry.name

    def _instrument_in(self, inner: str) -> str:
        name = f"{inner}/{INSTRUMENT_NAME}" if inner else INSTRUMENT_NAME
        if not is_url(self.folder):
            check_beside(Path(self._shown(name)), self.rules)
        return name

    def _deeper(self, inner: str, depth: int = 1) -> str | None:
        """The first folder inside, at any depth, that holds recordings; for a message."""
        try:
            found = [each.name for each in entries(self._shown(inner)) if _leads_down(each)]
            for name in found:
                within = f"{inner}/{name}"
                if any(is_recording(each.name) for each in entries(self._shown(within))):
                    return within
                below = self._deeper(within, depth + 1) if depth < _DEEPEST else None
                if below is not None:
                    return below
        except UnusableInputError:
            return None
        return None

    def _check_loose(self, loose: list[str], count: int) -> None:
        nothing = not self.catalogue.count() and not any(self.catalogue.faults())
        if not count:
            if nothing:
                found = "holds no folder of an instrument"
                raise EmptyLotError(self._shown(""), found, _A_FOLDER_EACH)
            return
        found = f"holds recordings that belong to no instrument: {some_of(loose, count)}"
        if nothing:
            remedy = f"{_A_FOLDER_EACH}; if they are of one instrument: pluckcheck analyze FOLDER"
            raise self._fault("", found, remedy)
        error = self._fault("", found, _A_FOLDER_EACH)
        self.catalogue.fault(Fault(error.where, error.reason))

    def _refuse_doubles(self) -> None:
        """Two folders with one serial number: nobody knows which of them it is."""
        doubled = "SELECT folded FROM sessions GROUP BY folded HAVING count(*) > 1"
        for (key,) in list(self.catalogue.rows(doubled)):
            query = "SELECT number, named FROM sessions WHERE folded = ? ORDER BY named"
            found = list(self.catalogue.rows(query, key))
            for number, inner in found:
                others = [self._shown(other) for _, other in found if other != inner]
                self.catalogue.spoil(number, self._double(inner, others))

    def _double(self, inner: str, others: list[str]) -> Fault:
        error = self._fault(
            inner,
            f"is the same serial number as {some_of(others[:_NAMED], len(others))}",
            "Rename the one that is wrong; for a study of the gauge, list the files in lot.csv "
            "with repeat 1, 2 and so on",
        )
        return Fault(error.where, error.reason)


def _leads_down(entry: Entry) -> bool:
    return entry.is_folder and not entry.is_link and not entry.name.startswith(".")
