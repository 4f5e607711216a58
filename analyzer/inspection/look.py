"""A path -> all about one pluck of it, or the list of its plucks.

The stages are those of ``measure``, in the same order with the same numbers; only what comes in
between is kept, and a pluck that is rejected is looked at as far as that goes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from analyzer.beside import check_a4, instrument_beside, table_beside
from analyzer.channels import best_channel
from analyzer.errors import RecordingError, UnusableInputError
from analyzer.inspection.choosing import chosen, found_plucks, in_short
from analyzer.inspection.model import Inspection, PluckList, SoundFile
from analyzer.inspection.pluck import looked_at, promising, rejected
from analyzer.inspection.wave import levels_in_parts
from analyzer.instrument.file import FILE_NAME
from analyzer.instrument.model import Instrument
from analyzer.measure import one_thread, warnings_on
from analyzer.music import ISO16_A4_HZ
from analyzer.plucks import find_pluck
from analyzer.recording.finding import find_recordings
from analyzer.recording.kind import kind_of
from analyzer.recording.labels import holds_many, read_label
from analyzer.recording.limits import TRUSTED, ReadingRules
from analyzer.recording.reading import Recording, open_recording
from analyzer.recording.table import FILE_NAME as TABLE_NAME
from analyzer.recording.table import Listed


def inspect_recording(
    path: Path | str,
    *,
    pluck: str | None = None,
    instrument_file: Path | str | None = None,
    a4_hz: float = ISO16_A4_HZ,
    rules: ReadingRules = TRUSTED,
) -> Inspection | PluckList:
    """All about one recording; of a file of many plucks, their list.

    Parameters
    ----------
    pluck : which of many: its number in the list (``3``), or a moment at which it sounds
        (``12.5s``). Of a file that is not known to hold many, all plucks are found with it.
    instrument_file : without it, instrument.toml beside the recording; takes.csv there counts too.
    a4_hz : frequency reference for the nominal notes, 380 Hz to 500 Hz.
    rules : the limits on what is read, and whether the sender of the recording is trusted.

    Raises
    ------
    UnusableInputError
        No sound can be read from the file; a wrong instrument file or table; ``a4_hz`` out of
        range; no such pluck. A recording that is merely rejected is inspected.
    """
    check_a4(a4_hz)
    path = Path(path)
    check_is_file(path)
    instrument, _ = instrument_beside(path.parent, instrument_file, rules)
    rows = _rows(path, instrument, rules)
    recording = _opened(path, rules)
    base = Inspection(
        _sound(recording), levels_in_parts(recording), "used", None, a4_hz, instrument.tuning
    )
    with one_thread():
        if pluck is None and not _holds_many(path, rows):
            return _one(base, recording, rows, instrument)
        found = found_plucks(path, rows, instrument, a4_hz, rules)
        if pluck is None:
            return in_short(base, found)
        one = chosen(pluck, found, path)
        numbered = replace(promising(base, one.measured.label, instrument), number=one.number)
        return looked_at(numbered, recording, one.pluck(recording), instrument, one.measured)


def _holds_many(path: Path, rows: Sequence[Listed]) -> bool:
    if not rows:
        return holds_many(path.name)
    return len(rows) > 1 or rows[0].label is None


def check_is_file(path: Path) -> None:
    """Raise UnusableInputError where there is nothing, or a folder."""
    remedy = "Give one recording"
    try:
        if path.is_dir():
            raise UnusableInputError(
                str(path), "is a folder", f"{remedy}; analyze takes a whole folder"
            )
        path.stat()
    except FileNotFoundError as error:
        raise UnusableInputError(str(path), "does not exist", remedy) from error
    except (OSError, ValueError) as error:  # a NUL in a path is a ValueError
        found = f"cannot be read ({getattr(error, 'strerror', error)})"
        raise UnusableInputError(str(path), found, "Check the path and its permissions") from error


def files_beside(path: Path, instrument_file: Path | None = None) -> list[Path]:
    """Every file that an inspection reads, so that no output takes its place."""
    return [path, instrument_file or path.parent / FILE_NAME, path.parent / TABLE_NAME]


def _opened(path: Path, rules: ReadingRules) -> Recording:
    """The recording; where there is none there is nothing to inspect either."""
    try:
        return open_recording(path, rules)
    except RecordingError as error:
        raise UnusableInputError(error.where, error.found, error.remedy) from error


def _rows(path: Path, instrument: Instrument, rules: ReadingRules) -> Sequence[Listed]:
    """What the table beside the file says of it."""
    folder = path.parent
    if not (folder / TABLE_NAME).exists():
        return ()
    files = find_recordings(folder, rules.limits)
    return table_beside(folder, instrument, files, rules).get(path.name, ())


def _one(
    base: Inspection, recording: Recording, rows: Sequence[Listed], instrument: Instrument
) -> Inspection:
    """A file that holds one pluck, or of which the table lists one part."""
    try:
        label = rows[0].label if rows else read_label(recording.path.name, instrument)
        base = promising(base, label, instrument)
    except RecordingError as error:
        base = replace(base, unlabelled=error.reason)
    part_s = (rows[0].start_s, rows[0].end_s) if rows else (0.0, math.inf)
    try:
        pluck = find_pluck(recording, *part_s)
    except RecordingError as error:
        return rejected(base, error.reason)
    base = replace(base, warnings=tuple(warnings_on(recording, pluck)))
    return looked_at(base, recording, pluck, instrument)


def _sound(recording: Recording) -> SoundFile:
    steps, channels = recording.levels.shape
    return SoundFile(
        recording.path.name,
        kind_of(recording),
        recording.rate_hz,
        channels,
        best_channel(recording) + 1,
        steps * recording.step_s,
    )
