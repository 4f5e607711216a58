"""Decoding in another process, within limits of time, memory and disk: see ``decoder``.

The samples wait in a file without a name, which is gone as soon as nobody holds it any more, even
where everything is killed.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import weakref
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import asdict
from importlib.util import find_spec
from pathlib import Path
from typing import IO, Any

import numpy as np
from numpy.typing import NDArray

from analyzer.errors import RecordingError
from analyzer.recording.limits import Limits

_STARTING_S = 30.0  # beside the time for decoding: a busy machine starts a process slowly
_LONGEST_ANSWER = 10_000  # bytes of JSON
_FRAME_BYTES = 4
# Modules come from where this process has them, and never from the folder it happens to stand in.
_START = (
    "import sys, json; sys.path[:] = json.loads(sys.argv[1]); "
    "from analyzer.recording.decoder import main; main(sys.argv[2])"
)


class DecodedSound:
    """The samples of one recording, in a file without a name; full scale 1."""

    def __init__(self, file: IO[bytes], rate_hz: int, channels: int, *, cut_short: bool) -> None:
        self.rate_hz, self.channels, self.cut_short = rate_hz, channels, cut_short
        self.frames = os.fstat(file.fileno()).st_size // (channels * _FRAME_BYTES)
        self._descriptor = os.dup(file.fileno())
        weakref.finalize(self, os.close, self._descriptor)

    def read(self, start: int, stop: int) -> NDArray[np.float32]:
        """Frames from ``start`` to before ``stop``, shape (frames, channels)."""
        start, stop = (min(max(each, 0), self.frames) for each in (start, stop))
        size = self.channels * _FRAME_BYTES
        with open(self._descriptor, "rb", closefd=False) as file:
            file.seek(start * size)
            content = file.read((stop - start) * size)
        return np.frombuffer(content, dtype=np.float32).reshape(-1, self.channels)

    def blocks(self, frames: int) -> Iterator[NDArray[np.float32]]:
        """All of it, in blocks of shape (frames or fewer, channels)."""
        for start in range(0, self.frames, frames):
            yield self.read(start, start + frames)


def decode_apart(path: Path, demuxer: str | None, limits: Limits) -> DecodedSound:
    """Decode a regular file in a process of its own; ``demuxer`` is as ``formats`` names it.

    Raises RecordingError: beyond a limit, unreadable, or the decoder crashed or took too long.
    """
    if demuxer is not None and find_spec("av") is None:
        raise RecordingError(
            path.name,
            "is in a format of phones and video, and its reader is not installed",
            "Install it with: pip install 'pluckcheck[phone]'; or export the recording as WAV",
        )
    order = {"demuxer": demuxer, "limits": asdict(limits)}
    with path.open("rb") as file, _nameless(path.name) as samples:
        answer = _answer(path.name, json.dumps(order), file, samples, limits)
        if "found" in answer:
            raise RecordingError(path.name, answer["found"], answer["remedy"])
        if not answer:
            raise unreadable(path.name)
        return DecodedSound(
            samples, answer["rate_hz"], answer["channels"], cut_short=answer["cut_short"]
        )


def _nameless(name: str) -> IO[bytes]:
    """A temporary file that is gone with whoever holds it."""
    try:
        return tempfile.TemporaryFile()
    except OSError as error:
        raise RecordingError(
            name,
            f"has no temporary file to be decoded into ({error.strerror})",
            "Free some space where temporary files go, or set TMPDIR to a folder that has it",
        ) from error


def unreadable(name: str) -> RecordingError:
    """What decoders themselves say is left out: for some formats it is not true."""
    return RecordingError(
        name, "cannot be read as sound", "Export it as WAV, or copy it again from the recorder"
    )


def _answer(
    name: str, order: str, file: IO[bytes], samples: IO[bytes], limits: Limits
) -> dict[str, Any]:
    """What the other process says: ``Decoded``, or why not; empty where it cannot say."""
    root = str(Path(__file__).parents[2])
    command = [sys.executable, "-I", "-c", _START, json.dumps([*sys.path, root]), order]
    one_thread = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"), "1")
    with _nameless(name) as answers:
        try:
            done = subprocess.run(  # noqa: S603 - this very program, and no shell
                command,
                stdin=file,
                stdout=samples,
                stderr=answers,
                env={**os.environ, **one_thread},
                timeout=limits.decoding_s + _STARTING_S,
                check=False,
            )
        except subprocess.TimeoutExpired as error:
            raise _too_slow(name, limits) from error
        answers.seek(0)
        said = answers.read(_LONGEST_ANSWER)
    if done.returncode != 0:
        raise _crashed(name, done.returncode, limits)
    with suppress(ValueError):
        found = json.loads(said)
        return found if isinstance(found, dict) else {}
    return {}


def _too_slow(name: str, limits: Limits) -> RecordingError:
    return RecordingError(
        name,
        f"took more than {limits.decoding_s:g} s to decode",
        "Cut it to the plucks and export it as WAV, or raise the limit with "
        "--limit decoding_s=NUMBER",
    )


def _crashed(name: str, code: int, limits: Limits) -> RecordingError:
    if sys.platform != "win32":
        import signal

        if -code in (signal.SIGXCPU, signal.SIGKILL):
            return _too_slow(name, limits)
    return RecordingError(
        name,
        "made its decoder crash, which cost this file only",
        "Export it as WAV, or record it again",
    )
