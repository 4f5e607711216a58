"""What a store tells of one instrument over the years, and of all that came since a moment.

A store is only read here. Whether a string has changed is judged as between two reports, see
``analyzer.report.comparison``.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Literal

from analyzer.errors import UnusableInputError
from analyzer.instrument.tables import shown
from analyzer.lot.judgement.decision import VERDICTS, Verdict
from analyzer.lot.sessions.clock import TIMES, Moment, read_moment
from analyzer.lot.store import Entry, Store, file_in, open_store
from analyzer.lot.store.history import Moment as StoredMoment
from analyzer.report.comparison import StringComparison, compare_strings
from analyzer.report.model import StringResult

By = Literal["analyzed", "recorded"]
_COLUMNS: dict[By, StoredMoment] = {"analyzed": "analyzed_s", "recorded": "recorded_s"}
_MOST_PARTS = 4  # of a method that are named where they differ; a choice


@dataclass(frozen=True)
class Since:
    """From when on, and whether by the time of recording or of analysis."""

    moment: Moment
    by: By = "analyzed"

    def holds(self, entry: Entry) -> bool:
        """Whether an analysis is from then or later; what has no time is not."""
        seconds = entry.analyzed_s if self.by == "analyzed" else entry.recorded_s
        return seconds is not None and seconds >= self.moment.seconds

    def in_words(self) -> str:
        """To stand after the analyses."""
        utc = "" if self.moment.has_offset else " UTC"
        return f"{self.by} since {self.moment.at.replace('T', ' ')}{utc}"


@dataclass(frozen=True)
class Analyzed:
    """One analysis of an instrument.

    ``changes``: its strings beside those of the analysis before; empty for the first, and where
    the two cannot be compared. ``warnings``: a sentence each on what to bear in mind.
    """

    entry: Entry
    strings: tuple[StringResult, ...]
    changes: tuple[StringComparison, ...] = ()
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class InstrumentHistory:
    """The analyses of one serial number, the oldest first.

    ``newest``: the last of all that are known, also where ``since`` leaves out some or all;
    ``known`` counts all. ``complete`` is true: a history is what there is.
    """

    store: Path
    serial: str
    analyses: tuple[Analyzed, ...]
    newest: Entry
    known: int
    since: Since | None = None
    complete: bool = True

    @property
    def entries(self) -> tuple[Entry, ...]:
        return tuple(each.entry for each in self.analyses)


@dataclass(frozen=True)
class Period:
    """Analyses of all serial numbers since a moment, the oldest first.

    ``known`` counts all since then, of which ``entries`` may be the first.
    """

    store: Path
    since: Since
    entries: tuple[Entry, ...]
    known: int
    complete: bool = True


History = InstrumentHistory | Period


@dataclass(frozen=True)
class Wanted:
    """What is asked of a store: see ``wanted_of``."""

    serial: str | None
    since: Since | None
    most: int | None


def wanted_of(serial: str | None, since: str | None, by: str, most: int | None) -> Wanted:
    """An instrument, or all since a moment, or both; at most so many analyses, the oldest first.

    ``since``: a date or time, ISO 8601, in UTC where it has no offset; ``by``: of what it is.

    Raises UnusableInputError, which names the option, where one is wrong or both are lacking.
    """
    if serial is None and since is None:
        raise UnusableInputError(
            "history",
            "has neither a serial number nor a date",
            "Give one, such as pluckcheck history P00017, or --since 2031-05-01",
        )
    if most is not None and most < 1:
        raise UnusableInputError("--most", f"is {most}", "Give 1 or more")
    column = next((each for each in _COLUMNS if each == by), None)
    if column is None:
        raise UnusableInputError("--by", f"is {shown(by)}", f"Give {' or '.join(_COLUMNS)}")
    return Wanted(serial, None if since is None else _since(since, column), most)


def _since(text: str, by: By) -> Since:
    moment = read_moment(text.strip())
    if moment is None:
        raise UnusableInputError("--since", f"is {shown(text)}", TIMES)
    return Since(moment, by)


def open_history(place: Path) -> Store:
    """Open a store to read, given itself or its folder.

    Raises UnusableInputError where there is none, or one that cannot be read.
    """
    return open_store(file_in(place), create=False, read_only=True)


def read_history(store: Store, wanted: Wanted) -> History:
    """What is wanted of an open store.

    Raises UnusableInputError where it has no such serial number, or is damaged.
    """
    since, most = wanted.since, wanted.most
    if wanted.serial is not None:
        return _of_instrument(store, wanted.serial, since, most)
    if since is None:
        raise ValueError("neither a serial number nor a moment is wanted")
    moment_s, by = since.moment.seconds, _COLUMNS[since.by]
    found = tuple(store.since(moment_s, by=by, most=most))
    return Period(store.path, since, found, store.count_since(moment_s, by=by))


def _of_instrument(
    store: Store, serial: str, since: Since | None, most: int | None
) -> InstrumentHistory:
    entries = store.history_of(serial)
    held = (number for number, each in enumerate(entries) if since is None or since.holds(each))
    return InstrumentHistory(
        store.path,
        entries[-1].serial,
        tuple(_analyses(store, entries, list(islice(held, most)))),
        entries[-1],
        len(entries),
        since,
    )


def verdicts(entries: Iterable[Entry]) -> dict[Verdict | None, int]:
    """How many have each verdict; None for those on which nothing was decided."""
    counts = Counter(each.verdict for each in entries)
    return {each: counts[each] for each in (*VERDICTS, None)}


def _analyses(store: Store, entries: Sequence[Entry], numbers: Sequence[int]) -> Iterator[Analyzed]:
    """Those of these numbers, each against the one before it."""
    needed = sorted({max(each, 0) for number in numbers for each in (number - 1, number)})
    strings = {number: store.strings_of(entries[number].analysis) for number in needed}
    for number in numbers:
        if number == 0:
            yield Analyzed(entries[0], strings[0], (), tuple(_about(entries[0], strings[0])))
        else:
            pair = entries[number - 1], entries[number]
            yield _compared(*pair, strings[number - 1], strings[number])


def _compared(
    before: Entry,
    entry: Entry,
    strings_before: tuple[StringResult, ...],
    strings: tuple[StringResult, ...],
) -> Analyzed:
    warnings = [*_about(entry, strings), *_since_before(before, entry)]
    was, now = _tuning(strings_before), _tuning(strings)
    if was != now:
        warnings.append(f"It is tuned to {now}, before to {was}: not compared.")
        return Analyzed(entry, strings, (), tuple(warnings))
    return Analyzed(entry, strings, compare_strings(strings_before, strings), tuple(warnings))


def _tuning(strings: Sequence[StringResult]) -> str:
    return " ".join(each.note for each in sorted(strings, key=lambda each: -each.string))


def _about(entry: Entry, strings: Sequence[StringResult]) -> list[str]:
    """What is to be said of an analysis by itself."""
    warnings = []
    if entry.verdict is not None and entry.verdict != "conform" and entry.reason:
        warnings.append(entry.reason)
    if entry.left_out:
        warnings.append(f"{entry.left_out} of {entry.recordings} recordings were left out.")
    unmeasured = (each for each in strings if each.error_cents is None)
    return [*warnings, *(f"String {each.string}: {each.reason}" for each in unmeasured)]


def _since_before(before: Entry, entry: Entry) -> list[str]:
    """What else than the instrument may have changed since the analysis before."""
    warnings = []
    if before.serial != entry.serial:
        warnings.append(f"The serial number is spelled {entry.serial}, before {before.serial}.")
    if before.instrument != entry.instrument:
        warnings.append(f"The instrument is called {entry.instrument}, before {before.instrument}.")
    if before.specification != entry.specification and None not in (before.verdict, entry.verdict):
        warnings.append("Decided by other limits, or another rule, than the one before.")
    if before.method != entry.method:
        warnings.append(_other_method(before.method, entry.method))
    if entry.recorded_s is not None and entry.recorded_s == before.recorded_s:
        warnings.append("It has the same time as the one before: most likely the same recordings.")
    return warnings


def _other_method(before: str, now: str) -> str:
    """A method is a list of parts, with a comma between: see ``identity.method_version``."""
    pairs = zip(before.split(", "), now.split(", "), strict=False)
    parts = [f"{new}, before {old}" for old, new in pairs if old != new]
    named = f" ({'; '.join(parts[:_MOST_PARTS])})" if parts else ""
    return f"Measured by another version of the method{named}: compare the figures with care."
