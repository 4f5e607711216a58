"""Processes that do the measuring: how many, and how they are started."""

from __future__ import annotations

import os
import signal
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from typing import ParamSpec, TypeVar

from analyzer.errors import UnusableInputError

ALL_CORES = -1
_SAFE_PATH = "PYTHONSAFEPATH"
_LOOK_S = 1.0
_Of = ParamSpec("_Of")
_Done = TypeVar("_Done")


def check_jobs(jobs: int) -> None:
    """Raise UnusableInputError for a number of processes that makes no sense."""
    if jobs < 1 and jobs != ALL_CORES:
        raise UnusableInputError("--jobs", f"is {jobs}", "Give 1 or more, or -1 for all cores")


@contextmanager
def starting_processes() -> Iterator[None]:
    """Processes that start within leave Ctrl-C to this one, and import nothing from here."""
    with _deaf_to_interrupts(), _no_modules_from_here():
        yield


def for_parent(parent: int, work: Callable[_Of, _Done], *of: _Of.args, **more: _Of.kwargs) -> _Done:
    """Do ``work`` in a process that process ``parent`` started, and that ends when it is gone.

    One that was killed can end its workers no more; each holds hundreds of megabytes.
    """
    _end_with(parent)
    return work(*of, **more)


@cache
def _end_with(parent: int) -> None:
    if os.getppid() == parent:  # else this is the parent itself, or something lies between
        threading.Thread(target=_wait_for_end_of, args=(parent,), daemon=True).start()


def _wait_for_end_of(parent: int) -> None:
    while os.getppid() == parent:
        time.sleep(_LOOK_S)
    os._exit(1)


def too_many(workers: int) -> UnusableInputError:
    """The line for a process that the system ended."""
    return UnusableInputError(
        "--jobs",
        f"{workers} processes were too many: the system ended one",
        "Free some memory, or give --jobs 1",
    )


@contextmanager
def _deaf_to_interrupts() -> Iterator[None]:
    """Processes that start here ignore Ctrl-C, which the terminal sends to all: one answers."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, signal.SIG_DFL if before is None else before)


@contextmanager
def _no_modules_from_here() -> Iterator[None]:
    """Processes that start here import nothing from the folder that they start in.

    It may be a stranger's, with a ``numpy.py`` beside the recordings.
    """
    before = os.environ.get(_SAFE_PATH)
    os.environ[_SAFE_PATH] = "1"
    try:
        yield
    finally:
        os.environ.pop(_SAFE_PATH)
        if before is not None:
            os.environ[_SAFE_PATH] = before
