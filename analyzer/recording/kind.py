"""What kind of sound file a recording is, in words."""

from __future__ import annotations

import os

import soundfile

from analyzer.recording.reading import Recording


def kind_of(recording: Recording) -> str:
    """Format and coding as libsndfile names them; of what was decoded apart only the ending.

    A stranger's file is not opened here a second time.
    """
    if recording.decoded is not None:
        ending = recording.path.suffix.lstrip(".").upper() or "no ending"
        return f"{ending}, decoded in a process of its own"
    path = recording.path
    try:
        found = soundfile.info(os.fsencode(path) if os.name == "posix" else str(path))
    except soundfile.SoundFileError:  # changed since it was read
        return path.suffix.lstrip(".").upper()
    return f"{found.format_info}, {found.subtype_info}"
