"""Sessions to workers and back: processes of this machine, or a Dask cluster. One code path.

Work goes out in portions, so that no more than one of them is ever held in memory, however long
the lot is. What a worker is given and what it gives back are plain values, and it writes nothing:
a worker that is lost on the way costs time and nothing else.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import joblib

from analyzer.errors import UnusableInputError
from analyzer.lot.records import Outcome, Task
from analyzer.processes import ALL_CORES, for_parent, starting_processes

PORTION = 64  # tasks a worker; the wait for the slowest at its end is then under one in a hundred
_SECONDS_TO_CONNECT = 10.0
_ELSEWHERE = 0  # no process has this number
_ALONE = 2  # joblib measures in this process where it may use one alone, and this one must live
_ENDED_ITS_PROCESS = (
    "ended the process that measured it, twice. Free some memory, and look at its recordings with "
    "pluckcheck inspect --untrusted."
)

Work = Callable[[Task], Outcome]


@dataclass(frozen=True)
class Workers:
    """``count`` workers; ``here`` where they are processes of this machine."""

    count: int
    here: bool

    @property
    def portion(self) -> int:
        """How many tasks to hand over at once."""
        return PORTION * self.count

    def done(self, work: Work, tasks: Sequence[Task]) -> Iterator[Outcome]:
        """What came of every task, in the order in which they end.

        Raises what ``work`` raises, and UnusableInputError where the cluster is gone.
        """
        waiting = dict(enumerate(tasks))
        try:
            for index, outcome in self._unordered(work, list(waiting.items())):
                del waiting[index]
                yield outcome
        except BrokenProcessPool:
            if not self.here:
                raise
            yield from (_alone(work, task) for task in waiting.values())

    def _unordered(
        self, work: Work, tasks: Sequence[tuple[int, Task]]
    ) -> Iterator[tuple[int, Outcome]]:
        pool = joblib.Parallel(n_jobs=self.count, return_as="generator_unordered", batch_size=1)
        parent = os.getpid() if self.here else _ELSEWHERE
        with starting_processes():
            results = pool(
                joblib.delayed(for_parent)(parent, _numbered, work, *each) for each in tasks
            )
        yield from results


def _numbered(work: Work, index: int, task: Task) -> tuple[int, Outcome]:
    return index, work(task)


def _alone(work: Work, task: Task) -> Outcome:
    """A task in a process that has nothing else to do, so that its end costs no other task."""
    try:
        with starting_processes():
            (outcome,) = joblib.Parallel(n_jobs=_ALONE)(
                [joblib.delayed(for_parent)(os.getpid(), work, task)]
            )
    except BrokenProcessPool:
        return Outcome(task.session, None, _ENDED_ITS_PROCESS)
    found: Outcome = outcome
    return found


@contextmanager
def workers(jobs: int = ALL_CORES, scheduler: str | None = None) -> Iterator[Workers]:
    """The workers of this machine, or those that a Dask scheduler has.

    ``scheduler``: its address, such as ``tcp://10.0.0.5:8786``; ``jobs`` then bounds how many
    tasks it works on at once.

    Raises
    ------
    UnusableInputError
        Dask is not installed, no scheduler answers, or it has no workers.
    """
    if scheduler is None:
        yield Workers(joblib.effective_n_jobs(jobs), here=True)
        return
    with _connected(scheduler) as client:
        check = client.scheduler_info(n_workers=-1)["workers"]
        count = sum(each["nthreads"] for each in check.values())
        if not count:
            raise UnusableInputError(
                "--scheduler", f"{scheduler} has no workers", "Start some with dask worker ADDRESS"
            )
        with joblib.parallel_config(backend="dask", client=client):
            yield Workers(count if jobs == ALL_CORES else min(count, jobs), here=False)


@contextmanager
def _connected(scheduler: str) -> Iterator[Any]:
    try:
        from distributed import Client
    except ImportError as error:
        raise UnusableInputError(
            "--scheduler",
            "needs Dask, which is not installed",
            "Install the extra: pip install 'pluckcheck[cluster]'",
        ) from error
    try:
        client = Client(scheduler, timeout=_SECONDS_TO_CONNECT, set_as_default=False)  # type: ignore[no-untyped-call]
    except (OSError, ValueError, TypeError) as error:
        raise UnusableInputError(
            "--scheduler",
            f"{scheduler} does not answer ({type(error).__name__})",
            "Give its address, such as tcp://10.0.0.5:8786, and check that it runs",
        ) from error
    with client:
        yield client
