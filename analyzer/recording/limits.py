"""How much one folder and one recording may ask for. Every limit stands here, and only here.

Files come from strangers: what their headers say is checked before anything is decoded, and what
they really hold is checked again while it is. Each default lets the longest honest use pass with
room to spare; ``--limit NAME=VALUE`` changes one for a run.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

from analyzer.errors import RecordingError, UnusableInputError

_MB = 1e6


@dataclass(frozen=True)
class Limits:
    """The limits of one run; a recording beyond one is left out, and the message names it.

    ``files`` is of a folder, all others are of one recording. ``decoded_mb`` and ``decoding_s``
    hold for what is decoded in a process of its own.
    """

    files: int = 500  # 12 strings, two notes, ten takes, and as much again
    file_mb: float = 500.0  # a minute or two of a phone's best video
    length_s: float = 1200.0  # a whole instrument takes about ten minutes
    channels: int = 16
    lowest_rate_hz: int = 8000
    highest_rate_hz: int = 384_000
    decoded_mb: float = 1000.0  # 20 minutes of stereo at 96 kHz
    decoding_s: float = 60.0  # ten minutes of sound take some three


@dataclass(frozen=True)
class ReadingRules:
    """How recordings are read: within which limits, and whether their sender is trusted.

    ``untrusted``: every file is decoded in a process of its own, and links out of the folder are
    not followed.
    """

    limits: Limits = Limits()
    untrusted: bool = False

    def changed(self) -> tuple[tuple[str, str], ...]:
        """Names and values of what is not as it is by default."""
        usual = Limits()
        found = [
            (f"Limit {each.name}", f"{getattr(self.limits, each.name):g}")
            for each in fields(Limits)
            if getattr(self.limits, each.name) != getattr(usual, each.name)
        ]
        if self.untrusted:
            found.append(("Recordings", "untrusted: each decoded in a process of its own"))
        return tuple(found)


DEFAULT_LIMITS = Limits()
TRUSTED = ReadingRules()
_ALLOWED = {
    "files": (1, 100_000),
    "file_mb": (0.001, 100_000.0),
    "length_s": (1.0, 86_400.0),
    "channels": (1, 1024),
    "lowest_rate_hz": (8000, 384_000),  # a lower rate holds too few partials of a high string
    "highest_rate_hz": (8000, 3_072_000),
    "decoded_mb": (1.0, 100_000.0),
    "decoding_s": (1.0, 3600.0),
}


def limits_with(changes: Sequence[str]) -> Limits:
    """The defaults with changes such as ``length_s=3600``; UnusableInputError for any other."""
    limits = Limits()
    for change in changes:
        name, _, text = change.partition("=")
        if name not in _ALLOWED:
            known = ", ".join(_ALLOWED)
            raise _bad(f"names no limit in {change!r}", f"Give one of {known}, as in files=1000")
        low, high = _ALLOWED[name]
        try:
            value = type(getattr(limits, name))(text)
        except ValueError:
            value = math.nan
        if not low <= value <= high:  # no comparison holds for NaN
            raise _bad(f"sets {name} to {text!r}", f"Give a number from {low:g} to {high:g}")
        limits = replace(limits, **{name: value})
    return limits


def _bad(found: str, remedy: str) -> UnusableInputError:
    return UnusableInputError("--limit", found, remedy)


def check_count(folder: str, files: int, limits: Limits) -> None:
    """Raise UnusableInputError where a folder holds more recordings than may be."""
    if files > limits.files:
        raise UnusableInputError(
            folder,
            f"holds more than {limits.files} recordings",
            "Give a folder of one instrument, or raise the limit with --limit files=NUMBER",
        )


def check_size(name: str, size_bytes: int, limits: Limits) -> None:
    """Raise RecordingError for a file of more bytes than may be."""
    if size_bytes > limits.file_mb * _MB:
        raise _beyond(
            name,
            f"is {size_bytes / _MB:.1f} MB large, more than {limits.file_mb:g}",
            "Send the sound without the video, or one note to a file",
            "file_mb",
        )


def check_form(name: str, rate_hz: int, channels: int, limits: Limits) -> None:
    """Raise RecordingError for a sample rate or a number of channels out of the limits."""
    if not limits.lowest_rate_hz <= rate_hz <= limits.highest_rate_hz:
        raise RecordingError(
            name,
            f"has a sample rate of {rate_hz} Hz",
            f"Record between {limits.lowest_rate_hz} Hz and {limits.highest_rate_hz} Hz; "
            "44100 Hz is good",
        )
    if not 1 <= channels <= limits.channels:
        raise _beyond(
            name,
            f"has {channels} channels, more than {limits.channels}",
            "Export one or two of them",
            "channels",
        )


def check_length(name: str, length_s: float, limits: Limits, *, promised: bool = False) -> None:
    """Raise RecordingError for more sound than may be; ``promised``: only the header says so."""
    if not length_s <= limits.length_s:
        header = "says that it " if promised else ""
        raise _beyond(
            name,
            f"{header}lasts {length_s:.0f} s, more than {limits.length_s:g}",
            "Cut it to the plucks",
            "length_s",
        )


def check_decoded(name: str, size_bytes: int, limits: Limits) -> None:
    """Raise RecordingError for more decoded sound than there may be of one file."""
    if size_bytes > limits.decoded_mb * _MB:
        raise _beyond(
            name,
            f"comes to more than {limits.decoded_mb:g} MB of sound",
            "Cut it to the plucks",
            "decoded_mb",
        )


def _beyond(name: str, found: str, remedy: str, limit: str) -> RecordingError:
    return RecordingError(name, found, f"{remedy}, or raise the limit with --limit {limit}=NUMBER")


assert set(_ALLOWED) == {each.name for each in fields(Limits)}  # noqa: S101 - a slip of the pen
