"""A folder that is filled while it is watched: each instrument is measured when it is complete.

A session is complete when what is expected of it is there and nothing of it has changed for a
while: the files that a table lists, or a file of many plucks, or the open and the 12th-fret note of
every string. The folder is looked at again and again; a network share tells of nothing by itself.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path

from analyzer.errors import RecordingError, UnusableInputError
from analyzer.instrument.model import Instrument
from analyzer.lot.analysis import Asked, lot_run, specification_of
from analyzer.lot.records import Fault, Session
from analyzer.lot.running.run import Done, LotRun
from analyzer.lot.running.work import Settings, session_inputs
from analyzer.lot.sessions.fetching import tokens
from analyzer.lot.sessions.folders import EmptyLotError
from analyzer.lot.sessions.layout import find_sessions
from analyzer.lot.sessions.place import absolute, exists, is_folder
from analyzer.lot.store import FILE_NAME, open_store
from analyzer.recording.labels import ERROR_NOTES, holds_many, read_label

LOOK_EVERY_S = 2.0  # a choice: an instrument takes a minute to record
SETTLED_S = 3.0  # a choice: a recorder or a copy writes more often than that
TOLD_AFTER_S = 60.0  # a choice: what is still missing then is seldom on its way

_Key = tuple[str, str, str, int]


@dataclass(frozen=True)
class Waiting:
    """A session that is not complete. ``missing``: what is expected, in words."""

    session: Session
    missing: str


Event = Done | Waiting | Fault


@dataclass
class _Seen:
    """What a session looked like, and since when, in seconds of a clock that never goes back."""

    tokens: dict[str, str]
    since_s: float
    done: bool = False
    told: bool = False


@dataclass(frozen=True)
class Tally:
    """What came of a watch. ``known``: sessions that were in the store before."""

    strict: bool = False
    conform: int = 0
    not_conform: int = 0
    not_decided: int = 0
    known: int = 0
    faults: int = 0
    waiting: int = 0

    def with_event(self, event: Event) -> Tally:
        """The same with one more event."""
        if isinstance(event, Waiting):
            return self
        if isinstance(event, Fault) or event.fault is not None:
            return replace(self, faults=self.faults + 1)
        if event.decision is None:
            return replace(self, known=self.known + 1)
        counted = event.decision.verdict.replace(" ", "_")
        return replace(self, **{counted: getattr(self, counted) + 1})

    @property
    def complete(self) -> bool:
        """Nothing was at fault and, where that is asked, nothing does not conform."""
        return not self.faults and not (self.strict and self.not_conform)

    @property
    def not_decided_strictly(self) -> bool:
        """Where that is asked: an instrument is neither proven to conform nor not to."""
        return self.strict and self.not_decided > 0

    def in_words(self) -> str:
        """The last line of a watch."""
        measured = self.conform + self.not_conform + self.not_decided
        return (
            f"Stopped. {measured} measured: {self.conform} conform, {self.not_conform} not "
            f"conform, {self.not_decided} not decided; {self.known} known before, "
            f"{self.faults} at fault, {self.waiting} still waiting."
        )


class Watch:
    """What has been seen of a folder so far.

    ``now_s``: a clock that never goes back, seconds.
    """

    def __init__(
        self, place: str, out: Path, asked: Asked, now_s: Callable[[], float] = time.monotonic
    ) -> None:
        self._place, self._out, self._asked, self._now_s = place, out, asked, now_s
        self._seen: dict[_Key, _Seen] = {}
        self._faults: dict[Fault, float] = {}
        self._told: set[Fault] = set()

    def look(self, run: LotRun) -> Iterator[Event]:
        """Look once: measure what is complete by now, and tell what has been waiting for long.

        Raises UnusableInputError where the folder, its table or the store cannot be used.
        """
        try:
            layout = find_sessions(
                self._place,
                self._asked.rules,
                self._asked.instrument_file,
                exclude=str(self._out),
            )
        except EmptyLotError:
            return
        with closing(layout):
            yield from self._new_faults(layout.faults)
            complete: list[Session] = []
            for session in layout.sessions():
                yield from self._judged(session, run.settings, complete)
        yield from self._measured(run, complete)

    def waiting(self) -> int:
        """How many sessions have been seen that were not complete."""
        return sum(not each.done for each in self._seen.values())

    def _new_faults(self, faults: tuple[Fault, ...]) -> Iterator[Fault]:
        """Those that have been there for long: a folder that was just made is empty."""
        now_s = self._now_s()
        self._faults = {each: self._faults.get(each, now_s) for each in faults}
        for fault, since_s in self._faults.items():
            if now_s - since_s >= TOLD_AFTER_S and fault not in self._told:
                self._told.add(fault)
                yield fault

    def _judged(
        self, session: Session, settings: Settings, complete: list[Session]
    ) -> Iterator[Waiting]:
        """Add a session to ``complete``, or tell, once, what it has been waiting for."""
        seen = self._seen_again(session)
        quiet_s = self._now_s() - seen.since_s
        if seen.done or quiet_s < SETTLED_S:
            return
        missing = missing_of(session, settings)
        if not missing:
            complete.append(session)
        elif quiet_s >= TOLD_AFTER_S and not seen.told:
            seen.told = True
            yield Waiting(session, missing)

    def _seen_again(self, session: Session) -> _Seen:
        now = tokens(session)
        seen = self._seen.get(_key(session))
        if seen is None or seen.tokens != now:
            seen = self._seen[_key(session)] = _Seen(now, self._now_s())
        return seen

    def _measured(self, run: LotRun, complete: list[Session]) -> Iterator[Done]:
        for done in run.over(complete):
            self._seen[_key(done.session)].done = True
            yield done


def watch(
    place: str,
    out: Path,
    asked: Asked,
    stop: threading.Event,
    tell: Callable[[Event], None],
    begin: Callable[[int], None] = lambda _known: None,
) -> Tally:
    """Watch until ``stop`` is set, and ``tell`` of every event but of what was known already.

    ``begin`` is called once, when all is ready, with how many analyses the store holds.

    Raises UnusableInputError where there is no such folder or specification, or the store or the
    workers cannot be used.
    """
    if not is_folder(place):
        found = "is not there" if not exists(place) else "is not a folder"
        raise UnusableInputError(place, found, "Give the folder that is recorded into")
    watched, tally = Watch(place, out, asked), Tally(asked.strict)
    specification = specification_of(place, asked.specification_file)
    with (
        open_store(out / FILE_NAME, create=True) as store,
        lot_run(absolute(place), store, specification, asked) as run,
    ):
        begin(store.count_since(0.0))
        while not stop.is_set():
            for event in watched.look(run):
                tally = tally.with_event(event)
                if not (isinstance(event, Done) and event.decision is None and not event.fault):
                    tell(event)
                if stop.is_set():
                    break
            stop.wait(LOOK_EVERY_S)
    return replace(tally, waiting=watched.waiting())


def event_in_words(event: Event) -> str:
    """An event in a line."""
    if isinstance(event, Waiting):
        return f"{event.session.named}: waits for {event.missing}."
    fault = event if isinstance(event, Fault) else event.fault
    if fault is not None:
        return f"{fault.where}: {fault.reason}"
    if isinstance(event, Fault) or event.decision is None:
        return ""
    return f"{event.session.named}: {event.decision.verdict}. {event.decision.reason}"


def missing_of(session: Session, settings: Settings) -> str:
    """What a session waits for, in words; empty where it is complete.

    What is wrong with its instrument or its table is for the measuring to say: it is complete.
    """
    try:
        inputs = session_inputs(session, settings)
    except UnusableInputError:
        return ""
    if inputs.listed or any(holds_many(file) for file in session.files):
        return ""
    there = {_note(file, inputs.instrument) for file in session.files}
    missing = [
        f"s{string}_{fret}"
        for string in inputs.instrument.strings
        for fret in ERROR_NOTES
        if (string, fret) not in there
    ]
    return ", ".join(missing)


def _note(file: str, instrument: Instrument) -> tuple[int, str] | None:
    try:
        label = read_label(file, instrument)
    except RecordingError:
        return None
    return label.string, label.fret


def _key(session: Session) -> _Key:
    return (session.serial, session.station, session.operator, session.repeat)
