"""Which formats there are: by the ending of a file's name, and by its first bytes.

The ending says only whether a file is meant as a recording. How it is read, its content says:
people rename files, and a container under the name of a WAV file is one all the same.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

# Read by libsndfile.
SOUND_FILES = {".wav", ".wave", ".flac", ".aif", ".aiff", ".aifc", ".ogg", ".oga", ".mp3", ".w64"}
SOUND_FILES |= {".rf64", ".caf", ".au", ".opus"}
# What phones make; read by FFmpeg's libraries through PyAV.
CONTAINERS = {".m4a", ".aac", ".mp4", ".m4v", ".mov", ".3gp", ".3g2", ".webm", ".mka", ".mkv"}
CONTAINERS |= {".amr", ".wma"}

_MOV, _MATROSKA, _AAC, _AMR, _ASF, _FLAC = "mov", "matroska", "aac", "amr", "asf", "flac"
# The boxes that a QuickTime or MPEG-4 file begins with (ISO/IEC 14496-12; QuickTime File Format).
_MOV_BOXES = {b"ftyp", b"moov", b"mdat", b"wide", b"free", b"skip", b"pnot"}
_EBML = b"\x1a\x45\xdf\xa3"  # RFC 8794
_ASF_GUID = bytes.fromhex("3026b2758e66cf11a6d900aa0062ce6c")
_AMR_MAGIC = b"#!AMR"  # RFC 4867, section 5
_BYTES_NEEDED = 26
_PROMISED = re.compile(r"^ *data : ([0-9]+) \(should be ([0-9]+)\)", re.MULTILINE)
_SIZE_UNKNOWN = 0x7FFFFFFF - 4096  # recorders that stream write about this much, or twice, at first
_FRAMES_UNKNOWN = 2**62  # libsndfile's word for it, or twice as much less one


def demuxer_of(path: Path) -> str | None:
    """FFmpeg's name for the container that a file is; None for what libsndfile shall read.

    Raises OSError where the file cannot be read.
    """
    with path.open("rb") as file:
        start = file.read(_BYTES_NEEDED)
    if start[4:8] in _MOV_BOXES:
        return _MOV
    for magic, demuxer in ((_EBML, _MATROSKA), (_ASF_GUID, _ASF), (_AMR_MAGIC, _AMR)):
        if start.startswith(magic):
            return demuxer
    if start.startswith(b"fLaC") and _of_unknown_length(start):
        return _FLAC
    # ADTS (ISO/IEC 13818-7): twelve bits set, then a layer of 0, which no MP3 has.
    adts = len(start) > 1 and start[0] == 0xFF and start[1] & 0xF6 == 0xF0
    tagged = start.startswith(b"ID3") and path.suffix.lower() == ".aac"  # else it is an MP3
    return _AAC if adts or tagged else None


def _of_unknown_length(start: bytes) -> bool:
    """Whether a FLAC file was streamed (RFC 9639, section 8.2): python-soundfile cannot read it."""
    return len(start) == _BYTES_NEEDED and start[21] & 0x0F == 0 and not any(start[22:26])


def promised_frames(sound: Any) -> int:
    """How many frames an open soundfile.SoundFile promises; 0 where its header does not say."""
    frames = int(sound.frames)
    return 0 if frames >= _FRAMES_UNKNOWN else frames


def next_frames(sound: Any, frames: int, dtype: str) -> NDArray[Any]:
    """The next ``frames`` of an open soundfile.SoundFile, or as many as are left: (n, channels).

    A damaged MP3 can stand beyond its own end, where soundfile would make an array of a negative
    length.
    """
    if sound.seekable() and sound.tell() >= sound.frames:
        return np.zeros((0, sound.channels), dtype=dtype)
    return np.asarray(sound.read(frames, dtype=dtype, always_2d=True))


def is_cut_short(log: str) -> bool:
    """Whether libsndfile's log of the header says that more sound was promised than there is."""
    match = _PROMISED.search(log)
    return match is not None and int(match[2]) < int(match[1]) < _SIZE_UNKNOWN
