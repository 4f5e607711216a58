"""Recorded notes whose pitch is stated beside them: out of a sound font, or of a patch.

A sound font says of each sample which key it is (``overridingRootKey``, or else the sample's own),
and by how much playing has to correct it (``coarseTune``, ``fineTune``, and the sample's
``chPitchCorrection``): SoundFont Technical Specification 2.04, sections 7.10 and 8.1.2, keys and
generators as sf2utils reads them. A sample that has to be lowered by 3 cents lies 3 cents above its
key. A patch says the frequency itself, in thousandths of a hertz; the layout of its headers
(``GF1PATCH110``) is from memory, and holds where every name, size and rate in it makes sense.
"""

from __future__ import annotations

import logging
import struct
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile

with warnings.catch_warnings():
    warnings.simplefilter("ignore", DeprecationWarning)  # it imports audioop
    from sf2utils.sf2parse import Sf2File

A4_KEY, A4_HZ = 69, 440.0


@dataclass(frozen=True)
class StatedNote:
    """A recording, and what its source says of its pitch. ``samples``: shape (n,), 16 bits."""

    name: str
    stated_hz: float
    rate_hz: int
    samples: np.ndarray

    @property
    def key(self) -> int:
        """The nearest key, 69 for A4, in equal temperament on A4 = 440 Hz (ISO 16)."""
        return round(A4_KEY + 12 * np.log2(self.stated_hz / A4_HZ))

    @property
    def duration_s(self) -> float:
        return self.samples.size / self.rate_hz

    def write(self, path: Path) -> Path:
        soundfile.write(path, self.samples, self.rate_hz, subtype="PCM_16")
        return path


def key_hz(key: int) -> float:
    return float(A4_HZ * 2 ** ((key - A4_KEY) / 12))


def font_notes(path: Path, instrument: str) -> list[StatedNote]:
    """The samples of an instrument of a sound font, each once, the lowest first."""
    logging.disable(logging.WARNING)  # of samples that are none of ours
    try:
        with path.open("rb") as file:
            found = [each for each in Sf2File(file).instruments if each.name == instrument]
            zones = [zone for zone in found[0].bags if zone.sample is not None]
            notes = {zone.sample.name: _of_zone(zone) for zone in zones}
    finally:
        logging.disable(logging.NOTSET)
    return sorted(notes.values(), key=lambda note: note.stated_hz)


def _of_zone(zone) -> StatedNote:
    sample = zone.sample
    key = sample.original_pitch if zone.base_note is None else zone.base_note
    correction = 100 * (zone.tuning or 0) + (zone.fine_tuning or 0) + sample.pitch_correction
    return StatedNote(
        sample.name,
        key_hz(key) * 2 ** (-correction / 1200),
        sample.sample_rate,
        np.frombuffer(sample.raw_sample_data, dtype="<i2"),
    )


_BEFORE_SAMPLES = 129 + 63 + 47  # bytes: header, instrument, layer
_SAMPLES_AT = 129 + 63 + 6
_SAMPLE_HEADER = struct.Struct("<7sB3IH3IhB18sBhH36s")
_SIXTEEN_BITS, _UNSIGNED = 1, 2


def patch_notes(path: Path) -> list[StatedNote]:
    """The samples of a patch, the lowest first."""
    data = path.read_bytes()
    if not data.startswith(b"GF1PATCH110\0"):
        raise ValueError(f"{path.name} is no patch")
    return sorted(_patch_samples(data), key=lambda note: note.stated_hz)


def _patch_samples(data: bytes) -> Iterator[StatedNote]:
    place = _BEFORE_SAMPLES
    for _ in range(data[_SAMPLES_AT]):
        name, _, size, _, _, rate_hz, _, _, root_mhz, _, _, _, modes, *_ = (
            _SAMPLE_HEADER.unpack_from(data, place)
        )
        if modes & (_SIXTEEN_BITS | _UNSIGNED) != _SIXTEEN_BITS:
            raise ValueError("only signed samples of 16 bits are read")
        place += _SAMPLE_HEADER.size
        samples = np.frombuffer(data[place : place + size], dtype="<i2")
        place += size
        label = name.split(b"\0")[0].decode("ascii", errors="replace")
        yield StatedNote(label, root_mhz / 1000, rate_hz, samples)
    if place != len(data):
        raise ValueError("the samples do not fill the patch")
