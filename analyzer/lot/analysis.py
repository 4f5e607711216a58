"""The whole way of a lot: from its folder or table, through the store, to its summary."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from analyzer.beside import check_a4
from analyzer.errors import UnusableInputError, printable, some_of
from analyzer.instrument.model import strings_named
from analyzer.lot.identity import method_version, specification_digest
from analyzer.lot.judgement.specification import Specification
from analyzer.lot.judgement.specification_file import FILE_NAME as SPECIFICATION_NAME
from analyzer.lot.judgement.specification_file import read_specification
from analyzer.lot.records import Fault
from analyzer.lot.running.pool import workers
from analyzer.lot.running.run import Done, LotRun
from analyzer.lot.running.work import Settings
from analyzer.lot.sessions.fetching import local_file
from analyzer.lot.sessions.layout import Layout, find_sessions
from analyzer.lot.sessions.place import exists, joined
from analyzer.lot.store import FILE_NAME, Store, open_store
from analyzer.music import ISO16_A4_HZ
from analyzer.processes import ALL_CORES, check_jobs
from analyzer.recording.limits import TRUSTED, ReadingRules

if TYPE_CHECKING:
    import pandas as pd

    from analyzer.lot.summing.summary_model import LotSummary

_CLOCK_TOLERANCE_S = 60.0  # two machines on one network agree better than that (common practice)
_MOST_COPIES, _MOST_NAMED = 5, 4  # in warnings
_NAMED = 12  # serial numbers in a line; the page and the tables have all

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Asked:
    """What is asked of a lot beside its place.

    ``specification_file`` and ``instrument_file``: path or URL; None for those in the lot.
    ``jobs``: processes, -1 for all cores. ``scheduler``: the address of a Dask scheduler.
    ``read_again``: read every file, even one that looks unchanged. ``strict``: an instrument that
    does not conform leaves the lot incomplete.
    """

    specification_file: str | None = None
    instrument_file: str | None = None
    a4_hz: float = ISO16_A4_HZ
    rules: ReadingRules = TRUSTED
    jobs: int = ALL_CORES
    scheduler: str | None = None
    read_again: bool = False
    strict: bool = False


@dataclass(frozen=True)
class LotResult:
    """A lot as it is in the store after a run.

    The frames have the columns of ``analyzer.lot.records``. ``measured`` and ``kept`` count
    sessions: of recordings that were measured now, and known whole before. ``seconds``: of the run.
    """

    summary: LotSummary
    sessions: pd.DataFrame
    values: pd.DataFrame
    left_out: pd.DataFrame
    store: Path
    measured: int
    kept: int
    seconds: float
    strict: bool = False

    @property
    def complete(self) -> bool:
        """Nothing was at fault or not measured and, where that is asked, none does not conform."""
        return self.summary.complete and not (self.strict and self.summary.not_conform)

    @property
    def not_decided_strictly(self) -> bool:
        """Where that is asked: an instrument is neither proven to conform nor not to."""
        return self.strict and self.summary.counts.not_decided > 0

    def named(self) -> Iterator[str]:
        """The serial numbers that somebody has to look at, in a line for each kind of them."""
        latest = self.sessions[self.sessions["latest"].astype(bool)]
        lacking = self.values[self.values["value_cents"].isna()]
        strings = lacking.groupby("analysis")["string"].unique()
        gaps = [
            f"{serial} ({strings_named(sorted(map(int, strings[analysis]), reverse=True))})"
            for analysis, serial in zip(latest["analysis"], latest["serial"], strict=True)
            if analysis in strings.index
        ]
        for words, serials in (
            ("Do not conform", latest.loc[latest["verdict"] == "not conform", "serial"].tolist()),
            ("Not decided", latest.loc[latest["verdict"] == "not decided", "serial"].tolist()),
            ("Not measured whole", gaps),
        ):
            if serials:
                yield f"{words}: {some_of(serials[:_NAMED], len(serials))}."

    def run_in_words(self) -> str:
        """What the run did, and where its results are."""
        return (
            f"{self.measured:,} measured and {self.kept:,} known before, in {self.seconds:.1f} s; "
            f"kept in {printable(str(self.store))}."
        )


def analyze_lot(
    place: str, out: Path, asked: Asked = Asked(), progress: Progress | None = None
) -> LotResult:
    """Measure what is not measured yet of a lot, decide on every instrument, and sum it up.

    Parameters
    ----------
    place : the lot's folder or its table: a path, or a URL that fsspec knows.
    out : the folder of the store, which is made where there is none.
    progress : called with the number of sessions done and their total.

    Raises
    ------
    UnusableInputError
        No lot, no specification, a wrong one, a store that cannot be used or is full, workers
        that are gone, or an option out of its range.
    """
    check_a4(asked.a4_hz)
    check_jobs(asked.jobs)
    began = time.monotonic()
    found = find_sessions(place, asked.rules, asked.instrument_file, exclude=str(out))
    with closing(found) as layout, open_store(out / FILE_NAME, create=True) as store:
        specification = specification_of(layout.folder, asked.specification_file)
        clock = _clock(store)
        ran = _run(layout, store, specification, asked, progress)
        frames = _Frames.of(layout, store)
        return LotResult(
            frames.summary(layout, specification, ran.faults, clock),
            frames.sessions,
            frames.values,
            frames.left_out,
            store.path,
            ran.measured,
            ran.kept,
            time.monotonic() - began,
            asked.strict,
        )


def specification_of(folder: str, given: str | None) -> Specification:
    """The specification that is given, or stands in the lot's folder.

    Raises UnusableInputError where there is none, or a wrong one.
    """
    place = given or joined(folder, SPECIFICATION_NAME)
    if given is None and not exists(place):
        raise UnusableInputError(
            folder,
            f"has no {SPECIFICATION_NAME}, which says what an instrument has to keep to",
            "Write one (its shortest form: [error], and below it plus_minus_cents = 3.0), or give "
            "it with --specification",
        )
    with local_file(place) as path:
        return read_specification(path)


@contextmanager
def lot_run(lot: str, store: Store, specification: Specification, asked: Asked) -> Iterator[LotRun]:
    """A run over a lot of that name, with its workers.

    Raises UnusableInputError where they cannot be had.
    """
    settings = Settings(method_version(), specification, asked.a4_hz, asked.rules)
    decided_by = (specification, specification_digest(specification))
    with workers(asked.jobs, asked.scheduler) as pool:
        run = store.begin(settings.method, specification=decided_by, lot=lot)
        yield LotRun(store, run, settings, pool, read_again=asked.read_again)


@dataclass
class _Ran:
    measured: int = 0
    kept: int = 0
    faults: tuple[Fault, ...] = ()


def _run(
    layout: Layout,
    store: Store,
    specification: Specification,
    asked: Asked,
    progress: Progress | None,
) -> _Ran:
    ran = _Ran()
    with lot_run(layout.name, store, specification, asked) as run:
        for each in _followed(run.over(layout.sessions()), layout.count, progress):
            if each.analysis is not None:
                ran.measured += each.measured > 0
                ran.kept += each.measured == 0
        ran.faults = run.decide_left()
        run.finish()
    return ran


def _followed(done: Iterable[Done], total: int, progress: Progress | None) -> Iterable[Done]:
    for number, each in enumerate(done, 1):
        if progress is not None:
            progress(number, total)
        yield each


@dataclass(frozen=True)
class _Frames:
    sessions: pd.DataFrame
    values: pd.DataFrame
    left_out: pd.DataFrame
    failed: tuple[Fault, ...]
    copies: tuple[str, ...]

    @classmethod
    def of(cls, layout: Layout, store: Store) -> _Frames:
        lot = layout.name
        frames = store.sessions_frame(lot), store.values_frame(lot), store.left_out_frame(lot)
        return cls(*frames, store.failed(lot), tuple(_copies(store.same_recordings(lot))))

    def summary(
        self,
        layout: Layout,
        specification: Specification,
        faults: tuple[Fault, ...],
        clock: tuple[str, ...],
    ) -> LotSummary:
        from analyzer.lot.summing.summary import summarise

        most = int(self.sessions["strings"].max()) if len(self.sessions) else 0
        misfits = specification.warnings(layout.stations(), range(most, 0, -1))
        return summarise(
            self.sessions,
            self.values,
            self.left_out,
            specification,
            (*layout.faults, *self.failed, *faults),
            (*layout.warnings, *misfits, *self.copies, *clock),
        )


def _copies(groups: Iterable[tuple[str, ...]]) -> Iterator[str]:
    """What is to be said of instruments that cannot all have been recorded."""
    groups = list(groups)
    for serials in groups[:_MOST_COPIES]:
        yield (
            f"{some_of(serials[:_MOST_NAMED], len(serials))} have the very same recordings: "
            "at most one of them was recorded. Record the others, and look whether the station "
            "stores what it hears."
        )
    if len(groups) > _MOST_COPIES:
        yield f"More groups of instruments that share recordings: {len(groups) - _MOST_COPIES}."


def _clock(store: Store) -> tuple[str, ...]:
    behind_s = store.clock_behind_s()
    if behind_s < _CLOCK_TOLERANCE_S:
        return ()
    found = (
        f"This machine's clock is {behind_s:.0f} s behind the newest analysis in "
        f"{store.path.name}. Set it right, or histories by date will mislead."
    )
    return (found,)
