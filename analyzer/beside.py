"""What stands beside the recordings of an instrument: its file, and the table of takes."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from pathlib import Path

from analyzer.errors import UnusableInputError, printable
from analyzer.instrument.file import FILE_NAME, read_instrument
from analyzer.instrument.model import Instrument, assumed_instrument
from analyzer.music import HIGHEST_A4_HZ, LOWEST_A4_HZ
from analyzer.recording.door import check_beside
from analyzer.recording.limits import ReadingRules
from analyzer.recording.table import FILE_NAME as TABLE_NAME
from analyzer.recording.table import Listed, read_table


def check_a4(a4_hz: float) -> None:
    """Raise UnusableInputError for a frequency reference out of range, or for none."""
    if not LOWEST_A4_HZ <= a4_hz <= HIGHEST_A4_HZ:
        raise UnusableInputError(
            "--a4", f"is {a4_hz:g} Hz", f"Give {LOWEST_A4_HZ:g} to {HIGHEST_A4_HZ:g} Hz"
        )


def table_beside(
    folder: Path, instrument: Instrument, files: Sequence[Path], rules: ReadingRules
) -> Mapping[str, Sequence[Listed]]:
    """What the table of takes says, by file; nothing where there is no table."""
    table = folder / TABLE_NAME
    if not os.path.lexists(table):
        return {}
    check_beside(table, rules)
    return read_table(table, instrument, files)


def instrument_beside(
    folder: Path, given: Path | str | None, rules: ReadingRules
) -> tuple[Instrument, list[str]]:
    """The instrument that is given or stands beside; else what is assumed, and a warning of it."""
    if given is not None:
        return read_instrument(Path(given)), []
    beside = folder / FILE_NAME
    if os.path.lexists(beside):  # a broken link is a mistake to mend, not a file left out
        check_beside(beside, rules)
        return read_instrument(beside), []
    instrument, warning = assumed_for(str(folder))
    return instrument, [warning]


def assumed_for(where: str) -> tuple[Instrument, str]:
    """The instrument that is assumed where none is given, and the warning that says so."""
    instrument = assumed_instrument()
    warning = (
        f"No {FILE_NAME} in {printable(where)}: {' '.join(instrument.tuning)} is assumed. "
        "Without a scale length and a bridge there are errors in cents, but no saddle movement and "
        "no turns."
    )
    return instrument, warning
