"""Over all sessions of a lot: what is known is kept, what is not is measured, stored and decided.

Each instrument is stored when it ends, so whatever ends the run costs no more than what was being
measured at that moment. The same run again goes on from there.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial

from analyzer.lot.judgement.decision import InstrumentDecision, decide_instrument
from analyzer.lot.records import Fault, Outcome, Session, Task
from analyzer.lot.running.plan import plan
from analyzer.lot.running.pool import Workers
from analyzer.lot.running.work import Settings, measure_session
from analyzer.lot.store import Run, Store

_AT_ONCE = 200  # sessions that a transaction takes over; each costs microseconds then

Measure = Callable[[Task], Outcome]


@dataclass(frozen=True)
class Done:
    """A session that is in the store. ``analysis`` is None where nothing came of it.

    ``measured``: how many of its recordings were measured for it, 0 where all were known.
    ``decision`` is None where that is not new.
    """

    session: Session
    analysis: int | None
    fault: Fault | None
    measured: int
    decision: InstrumentDecision | None = None


class LotRun:
    """One run, of one store and of certain workers.

    ``read_again``: every file is read, and the content tells whether it is known.
    """

    def __init__(
        self,
        store: Store,
        run: Run,
        settings: Settings,
        pool: Workers,
        *,
        read_again: bool = False,
    ) -> None:
        self._store, self._run, self._pool = store, run, pool
        self.settings = settings
        self._read_again = read_again

    def over(self, sessions: Iterable[Session]) -> Iterator[Done]:
        """Every session as it is done, in no order.

        Raises UnusableInputError where the store cannot be written or the workers are gone.
        """
        known: list[tuple[Session, int]] = []
        tasks: list[Task] = []
        for session in sessions:
            found = plan(self._store, session, self.settings, read_again=self._read_again)
            if isinstance(found, Task):
                tasks.append(found)
            else:
                known.append((session, found))
            if len(known) >= _AT_ONCE:
                yield from self._kept(known)
                known = []
            if len(tasks) >= self._pool.portion:
                yield from self._measured(tasks)
                tasks = []
        yield from self._kept(known)
        yield from self._measured(tasks)

    def decide_left(self) -> tuple[Fault, ...]:
        """Decide what another specification decided before: a lot.toml that has changed.

        Gives the reports that cannot be read any more, of which nothing can be decided.
        """
        specification = self.settings.specification
        faults: list[Fault] = []
        left = self._store.without_decision(self._run) if specification is not None else []
        for part in _parts(left):
            found: list[tuple[int, InstrumentDecision]] = []
            for analysis, report in self._store.stored_reports(part):
                if isinstance(report, Fault):
                    faults.append(report)
                elif specification is not None:
                    found.append((analysis, decide_instrument(report, specification)))
            self._store.decide(self._run, found)
        return tuple(faults)

    def finish(self) -> None:
        """Say that the whole lot was seen: what was not is no longer part of it."""
        self._store.finish(self._run)

    def _kept(self, known: Sequence[tuple[Session, int]]) -> Iterator[Done]:
        if known:
            self._store.keep(self._run, known)
        yield from (Done(session, analysis, None, 0) for session, analysis in known)

    def _measured(self, tasks: Sequence[Task]) -> Iterator[Done]:
        work = partial(measure_session, settings=self.settings)
        for outcome in self._pool.done(work, tasks):
            analysis = self._store.add(self._run, outcome, outcome.decision)
            yield Done(outcome.session, analysis, _fault(outcome), outcome.new, outcome.decision)


def _parts(analyses: Sequence[int]) -> Iterator[Sequence[int]]:
    for start in range(0, len(analyses), _AT_ONCE):
        yield analyses[start : start + _AT_ONCE]


def _fault(outcome: Outcome) -> Fault | None:
    if outcome.report is not None:
        return None
    return Fault(outcome.session.named, outcome.reason or "")
