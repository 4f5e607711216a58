"""Sound files and texts that are right, ways to spoil them, and what must hold all the same."""

from __future__ import annotations

import struct
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import soundfile
from phone_files import ENCODABLE, encode
from pluck_model import PluckModel, recording
from two_rounds import INSTRUMENT

from analyzer.errors import PluckcheckError
from analyzer.instrument.file import read_instrument
from analyzer.instrument.model import Instrument, assumed_instrument
from analyzer.instrument.string_file import read_string_set
from analyzer.lot.judgement.specification_file import read_specification
from analyzer.measure import measure_file
from analyzer.recording.finding import find_recordings
from analyzer.recording.labels import read_label
from analyzer.recording.limits import Limits, ReadingRules
from analyzer.recording.table import read_table
from analyzer.report.turned import read_turned

RATE_HZ = 16000
LONGEST_MESSAGE = 2000
KINDS = ("sound", "container", "whole", "label", "takes", "instrument", "strings", "turned", "lot")
SIX = assumed_instrument()
_SPECIAL = [0, 1, -1, 0x7FFFFFFF, -0x80000000, 0x7FFF, 255, 8000, 96000, 65536]
_TEXTS = ["=1+1", "\x00", "\x1b[2J", "\u202e", "../../etc/passwd", "nan", "1e999", "-1", '"', "[[",
          "]]", "{a={a={", "'''", '"""', "\r", ",,,,", "9" * 5000, "[" * 3000, "\ud7ff", "\ufeff",
          "#", "a.b.c=1", "inf", "0x" + "f" * 400, "1979-05-27", "true", "\n" * 50, "s6_open_1.wav",
          "x" * 140_000]  # fmt: skip


@dataclass(frozen=True)
class Change:
    """One way to spoil a file: what, where (a share of its length), how much, with what."""

    what: str
    place: float
    size: int
    value: int


WHATS = ("flip", "cut", "drop", "repeat", "fill", "number", "insert", "swap")


def random_change(rng: np.random.Generator) -> Change:
    """Headers are hit as often as all the rest: half of the places are near the start."""
    place = float(rng.random() ** (6 if rng.random() < 0.5 else 1))
    return Change(
        str(rng.choice(WHATS)), place, int(rng.integers(1, 400)), int(rng.integers(2**16))
    )


def spoiled(content: bytes, changes: list[Change]) -> bytes:
    for change in changes:
        content = _spoiled(bytearray(content), change)
    return content


def _spoiled(data: bytearray, change: Change) -> bytes:
    at = min(int(change.place * len(data)), max(len(data) - 1, 0))
    size, value = change.size, change.value
    if change.what == "flip" and data:
        data[at] ^= 1 << value % 8
    elif change.what == "cut":
        del data[at:]
    elif change.what == "drop":
        del data[at : at + size]
    elif change.what == "repeat":
        data[at:at] = data[at : at + size] * (1 + value % 4)
    elif change.what == "fill":
        data[at : at + size] = bytes([value % 256]) * size
    elif change.what == "number":
        order = "<i" if value % 2 else ">i"
        data[at : at + 4] = struct.pack(order, _SPECIAL[value % len(_SPECIAL)])
    elif change.what == "insert":
        data[at:at] = _TEXTS[value % len(_TEXTS)].encode("utf-8", "surrogatepass")
    elif change.what == "swap":
        other = int(value / 2**16 * len(data))
        data[at : at + size], data[other : other + size] = (
            data[other : other + size],
            data[at : at + size],
        )
    return bytes(data)


@cache
def originals(kind: str) -> list[tuple[str, bytes]]:
    """Files that are right: their names and what is in them."""
    return {
        "sound": _sounds,
        "container": _containers,
        "whole": _whole,
        "label": lambda: [(name, name.encode()) for name in _NAMES],
        "takes": lambda: [("takes.csv", _TAKES.encode())],
        "instrument": lambda: [("instrument.toml", text.encode()) for text in _INSTRUMENTS],
        "strings": lambda: [("next.toml", _STRINGS.encode())],
        "turned": lambda: [("turned.csv", b"adjuster,turns,direction\nsaddle 2,0.5,clockwise\n")],
        "lot": lambda: [("lot.toml", _LOT.encode())],
    }[kind]()


_NAMES = ["s6_open_1.wav", "E2 f12 3.flac", "S1-H12-01.mp3", "s3_f7_2.m4a", "whole 2.wav",
          "copy of s1_open_2 (3).aiff"]  # fmt: skip
_TAKES = (
    "file,start_s,end_s,string,fret\ns6_open_1.wav,0,0.5,6,open\ns6_open_1.wav,0.2,,E2,f12\n"
    '"s6_open_1.wav",,,,\n'
)
_STRINGS = (
    '[[strings]]\nstring = 2\ndiameter_mm = 1.067\ncore_diameter_mm = 0.41\nmaterial = "steel"\n'
    "mass_per_length_g_per_m = 5.7\nstretch_response = 25\nheight_at_fret_1_mm = 0.5\n"
    "height_at_fret_12_mm = 2.0\n"
)
_POSTS = (
    '[instrument]\nscale_length_mm = [650, 640.5]\ntuning = ["E2", "A2"]\n[bridge]\n'
    'kind = "two posts"\nstring_spread_mm = 10.0\npost_positions_mm = [-11.0, 63.0]\n'
    'thread = "M4"\nscrew_head = "tail"\n'
)
_LOT = (
    '[lot]\nname = "Week 12"\nstations = ["line 1", "line 2"]\n[error]\nplus_minus_cents = 3.0\n'
    "[[error.strings]]\nstring = 2\nlower_cents = -2.0\nupper_cents = 5.0\ntarget_cents = 1.0\n"
    "[sustain_drift]\nlower_cents = -12.0\ntake_scatter_cents = 0.5\n[decision]\n"
    'rule = "guarded"\nconfidence = 0.95\n[subgroups]\nby = "count"\nsize = 4\n'
)
_INSTRUMENTS = [INSTRUMENT, INSTRUMENT + _STRINGS, _POSTS]


def _note() -> np.ndarray:
    model = PluckModel(82.407, decay_s=0.8, n_partials=12)
    return recording(model, np.random.default_rng(1), rate_hz=RATE_HZ, duration_s=0.9)


def _sounds() -> list[tuple[str, bytes]]:
    kinds = [("wav", "PCM_16"), ("wav", "FLOAT"), ("wav", "IMA_ADPCM"), ("flac", "PCM_16"),
             ("ogg", "VORBIS"), ("ogg", "OPUS"), ("mp3", "MPEG_LAYER_III"), ("aiff", "PCM_24"),
             ("caf", "ALAC_16"), ("w64", "PCM_16"), ("au", "PCM_16"),
             ("rf64", "PCM_16")]  # fmt: skip
    with tempfile.TemporaryDirectory() as folder:
        found = []
        for ending, coding in kinds:
            path = Path(folder) / f"s6_open_1.{ending}"
            soundfile.write(path, _note(), RATE_HZ, subtype=coding)
            found.append((path.name, path.read_bytes()))
    return found


def _containers() -> list[tuple[str, bytes]]:
    with tempfile.TemporaryDirectory() as folder:
        found = []
        for form in ENCODABLE:
            path = Path(folder) / f"s6_open_1.{form.file.rpartition('.')[2]}"
            encode(path, _note(), RATE_HZ, form)
            found.append((path.name, path.read_bytes()))
    return found


def _whole() -> list[tuple[str, bytes]]:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "whole.wav"
        soundfile.write(path, np.tile(np.append(_note(), np.zeros(4000)), 3), RATE_HZ)
        return [(path.name, path.read_bytes())]


def judge(kind: str, name: str, content: bytes, folder: Path) -> str | None:
    """Read a spoiled file as the commands do; what went wrong, None where all is as it must be."""
    try:
        said = READERS[kind](name, content, folder)
    except PluckcheckError as error:
        said = str(error)
    if said.startswith("could not be measured"):  # an error that nobody foresaw, caught at last
        return said
    if not said.isprintable() or len(said) > LONGEST_MESSAGE:
        return f"no line to print: {said[:200]!r}"
    return None


def _put(name: str, content: bytes, folder: Path) -> Path:
    path = folder / name
    path.write_bytes(content)
    return path


def _measured(name: str, content: bytes, folder: Path) -> str:
    path = _put(name, content, folder)
    try:
        found = measure_file(path, (), SIX, rules=ReadingRules(Limits(decoding_s=20.0)))
    finally:
        path.unlink()
    return next((each.reason for each in found if each.reason), "")


def _labelled(name: str, content: bytes, folder: Path) -> str:
    """The content is the name: as a file where the system can have it, and as a text at least."""
    name = content.replace(b"/", b"").replace(b"\0", b"")[:255].decode("utf-8", "surrogateescape")
    path = folder / (name or "x")
    try:
        path.write_bytes(b"")
    except OSError:  # ".", or a name that the system refuses
        read_label(name, SIX)
        return ""
    try:
        found = [measure_file(each, (), SIX) for each in find_recordings(folder)]
    finally:
        path.unlink()
    return found[0][0].reason or ""


def _takes(name: str, content: bytes, folder: Path) -> str:
    read_table(_put(name, content, folder), SIX, [folder / "s6_open_1.wav"])
    return ""


def _instrument(name: str, content: bytes, folder: Path) -> str:
    read_instrument(_put(name, content, folder))
    return ""


def _strings(name: str, content: bytes, folder: Path) -> str:
    read_string_set(_put(name, content, folder), two_strings())
    return ""


def _turned(name: str, content: bytes, folder: Path) -> str:
    bridge = two_strings().bridge
    read_turned(_put(name, content, folder), bridge.adjusters)
    return ""


def _lot(name: str, content: bytes, folder: Path) -> str:
    read_specification(_put(name, content, folder), strings=6)
    return ""


@cache
def two_strings() -> Instrument:
    with tempfile.TemporaryDirectory() as folder:
        return read_instrument(_put("instrument.toml", INSTRUMENT.encode(), Path(folder)))


READERS: dict[str, Callable[[str, bytes, Path], str]] = {
    "sound": _measured,
    "container": _measured,
    "whole": _measured,
    "label": _labelled,
    "takes": _takes,
    "instrument": _instrument,
    "strings": _strings,
    "turned": _turned,
    "lot": _lot,
}
