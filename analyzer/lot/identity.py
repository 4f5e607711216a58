"""What tells one recording, one analysis and one method from another.

A figure is known again where nothing that it comes from has changed: the sound, its label, the
instrument, the limits, and the method, which is this program's sources that make figures and the
libraries that they stand on.
"""

from __future__ import annotations

import hashlib
import json
import math
import os
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import fields, is_dataclass, replace
from functools import cache, lru_cache
from importlib import metadata
from io import BufferedIOBase
from pathlib import Path
from typing import Any

import soundfile

import analyzer
from analyzer import __version__
from analyzer.instrument.model import Instrument
from analyzer.lot.judgement.specification import Specification, Subgroups
from analyzer.recording.limits import ReadingRules
from analyzer.recording.table import Listed

# Where the figures of a report, and the decisions on them, begin; what these import is found.
_MAKES_FIGURES = ("measure", "cross_check", "beside", "report.build")
_DECIDES = ("lot.judgement.decision",)
_PLACE = Path(analyzer.__file__).parent
# av decodes what phones record; without it such recordings are left out.
_LIBRARIES = ("av", "librosa", "numpy", "scipy", "soundfile")
_MENTIONED = re.compile(rb"analyzer\.(\w+(?:\.\w+)*)")
_INSTRUMENTS_KNOWN = 64  # a lot has one, or some
_NOT_OF_A_RECORDING = ("files",)  # a limit of the whole folder


@cache
def method_version() -> str:
    """What figures are made by: this program's version, a digest of its sources, its libraries.

    Sources are those that ``analyzer.measure`` and the makers of a report import, and nothing that
    only draws or writes: a new page makes no figure old.
    """
    found = sources_digest(_PLACE, _MAKES_FIGURES)
    libraries = ", ".join(f"{each} {_version(each)}" for each in _LIBRARIES)
    return (
        f"pluckcheck {__version__}, sources {found[:16]}, {libraries}, "
        f"libsndfile {soundfile.__libsndfile_version__}"
    )


@cache
def _decides() -> str:
    return f"{sources_digest(_PLACE, _DECIDES)} scipy {_version('scipy')}"


def _version(library: str) -> str:
    try:
        return metadata.version(library)
    except metadata.PackageNotFoundError:
        return "none"


def sources_digest(package: Path, roots: Iterable[str]) -> str:
    """SHA-256 of the modules of a package that ``roots`` need, themselves included."""
    found = hashlib.sha256()
    for name, content in sorted(sources_of(package, roots).items()):
        found.update(f"{name} {hashlib.sha256(content).hexdigest()}\n".encode())
    return found.hexdigest()


def sources_of(package: Path, roots: Iterable[str]) -> dict[str, bytes]:
    """The modules that some (``report.build``) need, by their dotted name, with their content.

    Every module that is named in a source counts, whether it is imported there at once, later, or
    only spoken of: a few too many do no harm. KeyError for a root that is not there: an empty
    digest would make all methods one.
    """
    places = _modules(package)
    found: dict[str, bytes] = {}
    left = list(roots)
    if missing := [root for root in left if root not in places]:
        raise KeyError(missing[0])
    while left:
        for name in _named(left.pop(), places):
            if name not in found:
                found[name] = places[name].read_bytes()
                left.extend({match.decode() for match in _MENTIONED.findall(found[name])})
    return found


def _modules(package: Path) -> dict[str, Path]:
    """Every module of a package by its dotted name; packages by theirs."""
    found = {}
    for folder, _, files in os.walk(package):
        parts = Path(folder).relative_to(package).parts
        for file in files:
            stem, dot, suffix = file.partition(".")
            if dot + suffix == ".py":
                named = parts if stem == "__init__" else (*parts, stem)
                found[".".join(named)] = Path(folder, file)
    return found


def _named(dotted: str, places: Mapping[str, Path]) -> Iterator[str]:
    """The module that a dotted name lies in, with the packages about it; a package whole."""
    parts = dotted.split(".")
    heads = [".".join(parts[: count + 1]) for count in range(len(parts))]
    known = [each for each in heads if each in places]
    yield from known
    if known and places[known[-1]].stem == "__init__":
        inside = f"{known[-1]}."
        yield from (each for each in places if each.startswith(inside))


def sha256_of(path: Path) -> str:
    """SHA-256 of a file's content, hexadecimal; OSError where it cannot be read."""
    with path.open("rb") as file:
        return sha256_of_stream(file)


def sha256_of_stream(file: BufferedIOBase) -> str:
    """The same of an open file, from where it stands, in pieces."""
    return hashlib.file_digest(file, "sha256").hexdigest()


def settings_digest(instrument: Instrument, a4_hz: float, rules: ReadingRules, method: str) -> str:
    """Digest of what all recordings of a session have in common, hexadecimal.

    The instrument by its values, its name apart: no figure comes from that.
    """
    return _settings_digest(_Same(instrument), a4_hz, rules, method)


class _Same:
    """An instrument that is known again as an object: the sessions of a lot mostly share one."""

    def __init__(self, instrument: Instrument) -> None:
        self.instrument = instrument

    def __hash__(self) -> int:
        return id(self.instrument)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Same) and other.instrument is self.instrument


@lru_cache(_INSTRUMENTS_KNOWN)
def _settings_digest(same: _Same, a4_hz: float, rules: ReadingRules, method: str) -> str:
    limits = {
        each.name: getattr(rules.limits, each.name)
        for each in fields(rules.limits)
        if each.name not in _NOT_OF_A_RECORDING
    }
    unnamed = replace(same.instrument, name="", name_given=False)
    return _digest(unnamed, a4_hz, limits, rules.untrusted, method)


@lru_cache(_INSTRUMENTS_KNOWN)
def _instrument_digest(same: _Same) -> str:
    return _digest(same.instrument)


def recording_key(sha256: str, file: str, listed: Sequence[Listed], settings: str) -> str:
    """What is measured in a recording hangs on this alone, hexadecimal.

    ``sha256`` of its content; the name of the ``file``, which says string and fret; what a table
    lists of it; and ``settings``, of ``settings_digest``.
    """
    rows = [(each.start_s, each.end_s, each.label) for each in listed]
    return _digest(sha256, file, rows, settings)


def inputs_digest(keys: Iterable[str], instrument: Instrument, settings: str) -> str:
    """Digest of all that a report is made from, hexadecimal; in it no serial number, and no order.

    ``keys``: of the recordings. The instrument counts with its name, which stands in the report.
    """
    return _digest(sorted(keys), _instrument_digest(_Same(instrument)), settings)


def specification_digest(specification: Specification) -> str:
    """Digest of what decides in a specification, and of how it is decided, hexadecimal.

    Not of its name, its stations and its subgroups, which decide nothing.
    """
    return _digest(deciding_part(specification), _decides())


def deciding_part(specification: Specification) -> Specification:
    """A specification without what decides nothing."""
    return replace(specification, name="", stations=(), subgroups=Subgroups())


def _digest(*values: Any) -> str:
    text = json.dumps(_plain(values), ensure_ascii=True, separators=(",", ":"))
    return hashlib.sha256(text.encode("ascii")).hexdigest()


def _plain(value: Any) -> Any:
    """A value as JSON has it: fields by name, mappings in the order of their keys, numbers exactly.

    A number is the same whether it was written as 3 or as 3.0.
    """
    if is_dataclass(value) and not isinstance(value, type):
        named = {each.name: _plain(getattr(value, each.name)) for each in fields(value)}
        return [type(value).__name__, named]
    if isinstance(value, Mapping):
        return [[_plain(key), _plain(value[key])] for key in sorted(value)]
    if isinstance(value, (list, tuple)):
        return [_plain(each) for each in value]
    if isinstance(value, float):
        return int(value) if math.isfinite(value) and value == int(value) else repr(float(value))
    if value is None or isinstance(value, (str, int)):
        return value
    raise TypeError(f"cannot be told apart: {type(value).__name__}")
