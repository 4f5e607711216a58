"""The plucks of a file of many: all in short, and the one that is asked for."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from analyzer.channels import best_channel
from analyzer.errors import UnusableInputError
from analyzer.inspection.model import Inspection, PluckLine, PluckList
from analyzer.instrument.model import Instrument
from analyzer.measure import Measured, measure_file, measure_whole
from analyzer.music import nearest_note
from analyzer.plucks import Pluck, find_pluck
from analyzer.quality.model import status_of
from analyzer.recording.limits import ReadingRules
from analyzer.recording.reading import Recording
from analyzer.recording.table import Listed

_NUMBER = re.compile(r"[0-9]{1,6}", re.ASCII)
_MOMENT = re.compile(r"(?P<number>[0-9]{1,6}(?:\.[0-9]{0,6})?) ?s?", re.ASCII)
_HOW = "Give its number in the list, such as 3, or a moment at which it sounds, such as 12.5s"


@dataclass(frozen=True)
class Found:
    """A pluck with its number, from 1; ``listed`` where the table gives its part of the file."""

    number: int
    measured: Measured
    listed: bool

    def pluck(self, recording: Recording) -> Pluck:
        """Where it is, found again as it was found first. Raises RecordingError as that does."""
        start_s, end_s = self.measured.part_s or (0.0, 0.0)
        if self.listed:
            return find_pluck(recording, start_s, end_s)
        return Pluck(start_s, end_s, best_channel(recording), 0)


def found_plucks(
    path: Path, rows: Sequence[Listed], instrument: Instrument, a4_hz: float, rules: ReadingRules
) -> tuple[Found, ...]:
    """Every pluck of a file, measured and named; one without a place where there is none."""
    found: list[tuple[Measured, bool]] = []
    for row in rows or [Listed(path.name, path.name)]:
        if row.label is None:
            whole = measure_whole(path, instrument, a4_hz, row.start_s, row.end_s, rules)
            found += [(each, False) for each in whole]
        else:
            found += [(each, True) for each in measure_file(path, [row], instrument, a4_hz, rules)]
    in_time = sorted(found, key=lambda each: each[0].part_s or (0.0, 0.0))
    return tuple(Found(number, *each) for number, each in enumerate(in_time, 1))


def chosen(wanted: str, found: Sequence[Found], path: Path) -> Found:
    """The pluck of that number or moment; UnusableInputError where there is none."""
    there = [each for each in found if each.measured.part_s is not None]
    match = _MOMENT.fullmatch(wanted.strip())
    if match is None:
        raise UnusableInputError("--pluck", f"is {wanted!r}", _HOW)
    if not there:
        raise UnusableInputError(path.name, (found[0].measured.reason or "").rstrip("."), _HOW)
    if _NUMBER.fullmatch(wanted.strip()):
        if 1 <= int(wanted) <= len(there):
            return there[int(wanted) - 1]
        has = "1 pluck" if len(there) == 1 else f"{len(there)} plucks"
        raise UnusableInputError("--pluck", f"is {wanted}, and {path.name} has {has}", _HOW)
    at_s = float(match["number"])
    for each in there:
        start_s, end_s = each.measured.part_s or (0.0, 0.0)
        if start_s <= at_s < end_s:
            return each
    raise UnusableInputError(
        "--pluck", f"is {wanted}, and no pluck of {path.name} sounds then", _HOW
    )


def in_short(base: Inspection, found: Sequence[Found]) -> PluckList:
    """The list of all plucks."""
    reason = next((each.measured.reason for each in found if each.measured.part_s is None), None)
    warnings = [warning for each in found for warning in each.measured.warnings]
    return PluckList(
        base.sound,
        base.levels,
        base.tuning,
        base.a4_hz,
        tuple(_lines(found, base.a4_hz)),
        reason,
        tuple(warnings),
    )


def _lines(found: Sequence[Found], a4_hz: float) -> Iterator[PluckLine]:
    for each in found:
        measured, pitch = each.measured, each.measured.pitch
        if measured.part_s is None:
            continue
        yield PluckLine(
            each.number,
            *measured.part_s,
            measured.label,
            None if pitch is None else pitch.settled_hz,
            None if pitch is None else pitch.settled_uncertainty_cents,
            None if pitch is None else nearest_note(pitch.settled_hz, a4_hz)[0],
            status_of(measured.reason, measured.cautions),
            measured.reason,
            tuple(caution.text for caution in measured.cautions),
        )
