"""What root may beyond others, laid down for a while: permissions then count for it as well."""

from __future__ import annotations

import ctypes
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

# linux/capability.h: the rights that pass over the permissions of files, and the call's version.
_PASS_OVER = (1 << 1) | (1 << 2)  # CAP_DAC_OVERRIDE, CAP_DAC_READ_SEARCH
_VERSION_3 = 0x20080522


@contextmanager
def permissions_count() -> Iterator[None]:
    """Within, a file's permissions hold for this process, whoever runs it; else a skip says why."""
    if os.geteuid() != 0:
        yield
        return
    if not sys.platform.startswith("linux"):
        pytest.skip("root may do everything, and only Linux lets it lay that down")
    before = _capabilities()
    _set(before[0] & ~_PASS_OVER, *before[1:])
    try:
        yield
    finally:
        _set(*before)


def lay_down() -> None:
    """The same for a fork, and for all of it: ``access`` asks what could be had back."""
    if os.geteuid() == 0 and sys.platform.startswith("linux"):
        before = _capabilities()
        _set(before[0] & ~_PASS_OVER, before[1] & ~_PASS_OVER, *before[2:])


def lay_down_for_good() -> None:
    """For a process that is about to start: it gets no more of them, whatever it runs."""
    if os.geteuid() == 0 and sys.platform.startswith("linux"):
        for each in (1, 2):
            ctypes.CDLL(None).prctl(24, each, 0, 0, 0)  # PR_CAPBSET_DROP


def _capabilities() -> tuple[int, int, int, int, int, int]:
    """Effective, permitted, inheritable; twice, for the lower and the upper 32."""
    data = (ctypes.c_uint32 * 6)()
    _called("capget", data)
    return tuple(data)  # type: ignore[return-value]


def _set(*words: int) -> None:
    _called("capset", (ctypes.c_uint32 * 6)(*words))


def _called(name: str, data: ctypes.Array[ctypes.c_uint32]) -> None:
    libc = ctypes.CDLL(None, use_errno=True)
    if getattr(libc, name)((ctypes.c_uint32 * 2)(_VERSION_3, 0), data):
        pytest.skip(f"{name}: {os.strerror(ctypes.get_errno())}")
