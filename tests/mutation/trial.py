"""Mutants tried one after the other, each in a process that forks off with everything imported."""

from __future__ import annotations

import os
import resource
import select
import signal
import sys
from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass

import patching
import pytest
from mutants import Mutant
from touched import Touched

KILLED, TIMED_OUT, SURVIVED, UNTOUCHED = "killed", "timed out", "survived", "no test"
_MOST_TIMES = 5.0  # a mutant is stopped after so many times what its tests take unchanged,
_AT_LEAST_S = 30.0  # and never before this: machines are busy
_MEMORY_BYTES = 12 * 2**30  # of address space: a mutant that wants all memory there is has failed


_CONTROL_S = 600.0
Run = Callable[[Mutant | None, list[str]], str]  # the first test that fails, or nothing


@dataclass(frozen=True)
class Result:
    """What became of a mutant, and the test that told it."""

    mutant: Mutant
    outcome: str
    test: str = ""


class Chooser:
    """Tries mutants, each with the tests that touch it, within ``most_s`` seconds of tests."""

    def __init__(self, touched: Touched, most_s: float) -> None:
        self._touched, self._most_s = touched, most_s
        self._kills: Counter[tuple[str, str]] = Counter()
        self._sound: set[str] = set()

    def tried(self, mutant: Mutant, run: Run, *, when_imported: bool) -> Result:
        tests, all_s = self._tests_for(mutant, when_imported=when_imported)
        if not tests:
            return Result(mutant, UNTOUCHED)
        limit_s = max(_AT_LEAST_S, _MOST_TIMES * all_s)
        said = in_a_fork(lambda: run(mutant, tests), limit_s)
        if said is None:
            return Result(mutant, TIMED_OUT, f"after {limit_s:.0f} s")
        if said in tests and not self._is_sound(said, run):
            return self.tried(mutant, run, when_imported=when_imported)
        self._kills[mutant.module, said] += 1
        return Result(mutant, KILLED if said else SURVIVED, said)

    def _is_sound(self, test: str, run: Run) -> bool:
        """Whether a test that failed passes where nothing is changed; else it is used no more."""
        if test not in self._sound:
            if in_a_fork(lambda: run(None, [test]), _CONTROL_S) != "":
                print(f"fails without a mutant, left out: {test}", file=sys.__stderr__)
                del self._touched.seconds[test]
                return False
            self._sound.add(test)
        return True

    def _tests_for(self, mutant: Mutant, *, when_imported: bool) -> tuple[list[str], float]:
        """The tests, those first that told others of this module soon, and their seconds."""
        chosen, all_s = [], 0.0
        for test in self._touched.tests_of(mutant, when_imported=when_imported):
            if chosen and all_s + self._touched.seconds[test] > self._most_s:
                break
            all_s += self._touched.seconds[test]
            chosen.append(test)
        return sorted(chosen, key=lambda test: self._cost(mutant, test)), all_s

    def _cost(self, mutant: Mutant, test: str) -> float:
        return (0.01 + self._touched.seconds[test]) / (1 + self._kills[mutant.module, test])


def in_a_fork(work: Callable[[], str], limit_s: float) -> str | None:
    """What ``work`` says, done in a process of its own; None where it takes longer than that."""
    reading, writing = os.pipe()
    child = os.fork()
    if not child:
        _work_and_end(work, writing)
    os.close(writing)
    try:
        ready, _, _ = select.select([reading], [], [], limit_s)
        said = os.read(reading, 65536).decode() if ready else None
    finally:
        os.close(reading)
        with suppress(ProcessLookupError):
            os.killpg(child, signal.SIGKILL)  # with what it started
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
    return said


def _work_and_end(work: Callable[[], str], writing: int) -> None:
    said = "the process ended"
    try:
        os.setsid()
        nowhere = os.open(os.devnull, os.O_RDWR)
        for stream in (0, 1, 2):
            os.dup2(nowhere, stream)
        resource.setrlimit(resource.RLIMIT_AS, (_MEMORY_BYTES, _MEMORY_BYTES))
        said = work()
    except BaseException as error:  # noqa: BLE001 - whatever it is, the mutant made it
        said = f"raised {type(error).__name__}"
    finally:
        os.write(writing, said.encode())
        os._exit(0)


class InFunctions:
    """A pytest plugin that tries mutants instead of running the tests once."""

    def __init__(
        self, trials: list[Mutant], chooser: Chooser, tell: Callable[[Result], None]
    ) -> None:
        self._trials, self._chooser, self._tell = trials, chooser, tell
        self._failed = ""

    def pytest_runtest_logreport(self, report) -> None:
        if report.failed:
            self._failed = report.nodeid

    def pytest_runtestloop(self, session) -> bool:
        items = {item.nodeid: item for item in session.items}
        patching.forget_what_is_cached()
        patching.living_functions()

        def run(mutant: Mutant | None, tests: list[str]) -> str:
            if mutant is not None:
                sys.meta_path.insert(0, patching.Finder(mutant))  # who imports it only now
                patching.put_in_place(mutant)
            return self._first_that_fails([items[test] for test in tests if test in items])

        for mutant in self._trials:
            self._tell(self._chooser.tried(mutant, run, when_imported=False))
        return True

    def _first_that_fails(self, items) -> str:
        for item, after in zip(items, [*items[1:], None], strict=True):
            item.ihook.pytest_runtest_protocol(item=item, nextitem=after)
            if self._failed:
                return self._failed
        return ""


class _FirstFailure:
    test = ""

    def pytest_runtest_logreport(self, report) -> None:
        if report.failed and not self.test:
            self.test = report.nodeid

    def pytest_collectreport(self, report) -> None:
        if report.failed and not self.test:
            self.test = f"collecting {report.nodeid}"


def run_on_import(mutant: Mutant | None, tests: list[str]) -> str:
    """Run tests where a mutant's module is imported anew; the process holds none of it yet."""
    if mutant is not None:
        sys.meta_path.insert(0, patching.Finder(mutant))
    first = _FirstFailure()
    code = pytest.main(["-x", "-q", "-p", "no:cacheprovider", *tests], plugins=[first])
    return first.test or ("" if code == pytest.ExitCode.OK else f"pytest ended with {code}")
