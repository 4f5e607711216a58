"""``pluckcheck`` in a fork of the test's process: quick, and what is done to it ends there.

What a fork cannot show is how Python itself starts and ends: what it makes its streams of, what it
imports, what it flushes at last. That is for ``started`` of the tests' conftest.
"""

from __future__ import annotations

import ctypes
import importlib
import os
import pkgutil
import select
import signal
import sys
import traceback
import warnings
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

from joblib.externals.loky import reusable_executor

import analyzer
import cli
from cli.app import app
from cli.main import main

_CRASHED = 99
_PR_SET_PDEATHSIG = 1  # linux/prctl.h
_UNFLUSHED = 120  # as Python itself ends where it cannot flush a stream
_DEMO = Path(__file__).parents[2] / "sample_audio" / "own_saddles"


@dataclass
class Forked:
    """A fork that runs; ``code``, ``out`` and ``err`` are there after ``wait``."""

    pid: int
    pipes: tuple[int, int]
    code: int | None = None
    texts: dict[int, bytes] = field(default_factory=dict)

    def wait(self) -> Forked:
        self.texts = dict.fromkeys(self.pipes, b"")
        left = set(self.pipes)
        while left:
            for each in select.select(list(left), [], [])[0]:
                content = os.read(each, 65_536)
                self.texts[each] += content
                if not content:
                    left.remove(each)
                    os.close(each)
        self._look(0)
        return self

    def ended(self) -> bool:
        """Whether it has; nothing is waited for."""
        self._look(os.WNOHANG)
        return self.code is not None

    def _look(self, how: int) -> None:
        if self.code is None:
            pid, status = os.waitpid(self.pid, how)
            self.code = os.waitstatus_to_exitcode(status) if pid else None

    @property
    def out(self) -> str:
        return self.texts[self.pipes[0]].decode()

    @property
    def err(self) -> str:
        return self.texts[self.pipes[1]].decode()


@cache
def warm() -> None:
    """Load and compile, once in this process, what every fork of it would load and compile anew."""
    for package in (analyzer, cli):
        for module in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
            if not module.name.endswith("__main__"):
                importlib.import_module(module.name)
    app(["analyze", str(_DEMO), "--quiet", "--jobs", "1"], standalone_mode=False)


def standing_in(
    folder: Path | str | None, environment: Mapping[str, str] | None
) -> Callable[[], None]:
    """To prepare a fork: its current folder and its environment; None: as the test has them."""

    def prepare() -> None:
        if folder is not None:
            os.chdir(folder)
        if environment is not None:
            os.environ.clear()
            os.environ.update(environment)

    return prepare


def begin(
    *words: object, prepare: Callable[[], object] = lambda: None, stdout: int | None = None
) -> Forked:
    """Start ``pluckcheck`` with these words, after ``prepare`` was called in the fork.

    ``stdout``: a descriptor that its output goes to; ``out`` is empty then.
    """
    warm()
    out, err = os.pipe(), os.pipe()
    with warnings.catch_warnings():
        warnings.simplefilter(
            "ignore", DeprecationWarning
        )  # of forks beside threads; none work now
        pid = os.fork()
    if pid == 0:
        os.close(out[0])  # or it would be a reader of its own
        os.close(err[0])
        streams = (out[1] if stdout is None else stdout, err[1])
        _be_pluckcheck([str(each) for each in words], streams, prepare)
    os.close(out[1])
    os.close(err[1])
    return Forked(pid, (out[0], err[0]))


def forked(
    *words: object, prepare: Callable[[], object] = lambda: None, stdout: int | None = None
) -> Forked:
    """The same, waited for."""
    return begin(*words, prepare=prepare, stdout=stdout).wait()


def _be_pluckcheck(
    words: list[str], streams: tuple[int, int], prepare: Callable[[], object]
) -> None:
    code: object = _CRASHED
    try:
        os.setsid()
        _end_with_the_test()
        reusable_executor._executor = None  # the test's own workers answer the test alone
        signal.signal(signal.SIGINT, signal.default_int_handler)  # whatever the runner ignores
        signal.signal(signal.SIGTERM, signal.SIG_DFL)
        for number, each in enumerate(streams, 1):
            os.dup2(each, number)
            os.close(each)
        sys.stdout = os.fdopen(os.dup(1), "w")
        sys.stderr = os.fdopen(2, "w", buffering=1, closefd=False)
        sys.argv = ["pluckcheck", *words]
        prepare()
        if encoding := os.environ.get("PYTHONIOENCODING", "").partition(":")[0]:
            sys.stdout.reconfigure(encoding=encoding)
        main()
    except SystemExit as end:
        code = end.code or 0
    except BaseException:  # noqa: BLE001 - a fork must never go on as the test
        traceback.print_exc()
    finally:
        try:
            for each in filter(None, (sys.stdout, sys.stderr)):
                each.flush()
        except OSError:
            code = _UNFLUSHED
        finally:
            os._exit(code if isinstance(code, int) else _CRASHED)


def _end_with_the_test() -> None:
    """Be killed when the process of the test is, which no other would do to a session's leader."""
    with suppress(AttributeError, OSError):  # of Linux alone
        ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, signal.SIGKILL)


def is_refusal(done: Forked, *words: str, code: int = 2) -> None:
    """One line on standard error that holds these words, and the code."""
    assert done.code == code, done.err
    assert done.err.startswith("pluckcheck: ")
    assert done.err.count("\n") == 1
    for each in words:
        assert each in done.err
