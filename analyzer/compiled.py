"""librosa, with the machine code that numba makes of it made by one process alone.

numba keeps that code on disk, where two processes that compile at once were seen to spoil it (in 3
of 6 trials): each numbers its files by itself, one takes the other's for its own, and every later
run ends in a segmentation fault. So a first run has a process of its own compile into a folder that
nobody else knows, and only the whole folder takes its name, which tells the versions and the
processor. Whoever sets ``NUMBA_CACHE_DIR`` keeps the cache that it names.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
import tempfile
from contextlib import suppress
from functools import cache
from importlib import metadata
from importlib.util import find_spec
from pathlib import Path
from typing import Any

NUMBA_PLACE = "NUMBA_CACHE_DIR"
_COMPILED = ("librosa", "numba", "llvmlite", "numpy")
_LONGEST_S = 300.0  # half a minute is usual; a machine may be slow


@cache
def compiled_librosa() -> Any:
    """The module ``librosa``, which is to be imported in this way only."""
    use_own_place()
    import librosa

    return librosa


def use_own_place() -> None:
    """Name the folder of compiled code to numba, filled; where that cannot be, leave all as it is.

    What numba does then, in its own folders, is right but for two first runs at once.
    """
    if NUMBA_PLACE in os.environ or "numba" in sys.modules:
        return
    # Such as no home, or a librosa that needs no numba.
    with suppress(OSError, subprocess.SubprocessError, RuntimeError, ImportError):
        place = _home() / "pluckcheck" / "compiled" / _name()
        if not place.is_dir():
            _fill(place)
        os.environ[NUMBA_PLACE] = str(place)  # processes that are started from here find it there


def _home() -> Path:
    """Where a user's caches are, after the XDG Base Directory Specification."""
    given = os.environ.get("XDG_CACHE_HOME", "")
    return Path(given) if Path(given).is_absolute() else Path.home() / ".cache"


def _name() -> str:
    """What code depends on: versions, where librosa lies and since when, and the processor."""
    from llvmlite import binding

    source = find_spec("librosa")
    origin = "" if source is None or source.origin is None else source.origin
    said = [
        sys.version,
        *(metadata.version(each) for each in _COMPILED),
        origin,
        str(os.stat(origin).st_mtime_ns) if origin else "",  # noqa: PTH116 - it may be empty
        binding.get_host_cpu_name(),
        binding.get_host_cpu_features().flatten(),
    ]
    return hashlib.sha256("\n".join(said).encode("utf-8")).hexdigest()[:16]


def _fill(place: Path) -> None:
    """Compile in another process, into a folder that takes its name when it is whole."""
    place.parent.mkdir(parents=True, exist_ok=True)
    made = Path(tempfile.mkdtemp(prefix=".making-", dir=place.parent))
    try:
        subprocess.run(  # noqa: S603 - this module itself
            [sys.executable, "-m", __name__],
            env={**os.environ, NUMBA_PLACE: str(made)},
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            timeout=_LONGEST_S,
            check=True,
        )
        with suppress(OSError):  # somebody else was quicker
            made.rename(place)
    finally:
        shutil.rmtree(made, ignore_errors=True)


def compile_all() -> None:
    """Use all of librosa that this program uses, so that numba compiles it and keeps it."""
    import librosa
    import numpy as np

    for kind in (np.float32, np.float64):
        tone = np.sin(2 * np.pi * 110.0 * np.arange(8192) / 8000.0).astype(kind)
        librosa.yin(tone, fmin=60.0, fmax=240.0, sr=8000.0, frame_length=1024, center=False)
        librosa.pyin(tone, fmin=60.0, fmax=240.0, sr=8000.0, frame_length=1024, center=False)
    librosa.filters.mel(sr=8000.0, n_fft=1024, n_mels=8, norm=None)


if __name__ == "__main__":
    compile_all()
