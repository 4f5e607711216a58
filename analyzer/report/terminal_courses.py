"""The pitch over time of each string's two notes, as a line of bars in a terminal."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from statistics import median

from rich.console import ConsoleOptions
from rich.text import Text

from analyzer.recording.labels import ERROR_NOTES
from analyzer.report.layout import line, signed
from analyzer.report.model import RecordingResult, Report

_BARS = "▁▂▃▄▅▆▇█"
_DIGITS = "0123456789"  # where the terminal has no bars
_MOST_BINS, _FEWEST_BINS = 28, 8
_LEAST_CENTS = 1.0  # from the lowest bar to the highest, so that noise does not look like a glide
# Quantiles of all that was measured which lie between the lowest and the highest bar. What a note
# does in its last faint moments must not flatten the others; its bars end at the edge.
_LOW, _HIGH = 0.02, 0.98


@dataclass(frozen=True)
class _Row:
    """A string, and its pitch in each bin of time by note; None where it is not heard."""

    name: str
    cents: dict[str, list[float | None]]


def course_lines(report: Report, options: ConsoleOptions) -> Iterator[Text]:
    """A line for each string: time to the right, sharp upward, one scale for all."""
    drawn = [
        each for each in report.recordings if each.fret in ERROR_NOTES and each.track is not None
    ]
    names = {each.string: f"{each.string} {each.note}" for each in report.strings}
    wide = max(map(len, names.values()), default=0)
    bins = _bins(options.max_width - wide)
    seen = [cents for each in drawn for cents in _heard(each)]
    if not seen or bins < _FEWEST_BINS:
        return
    end_s = max(each.track.times_s[-1] for each in drawn if each.track is not None)
    rows = [
        _Row(
            name, {fret: _binned(_takes(drawn, string, fret), end_s, bins) for fret in ERROR_NOTES}
        )
        for string, name in names.items()
    ]
    low, high = _ends(seen, [cents for each in drawn if each.course for cents in each.course.cents])
    marks = _DIGITS if options.ascii_only else _BARS
    yield line(
        f"Pitch over {end_s:.1f} s, from {marks[0]} {signed(low)} to {marks[-1]} {signed(high)} "
        "cents about the settled pitch:"
    )
    for row in rows:
        words = "  ".join(
            f"{note} {_drawn(row.cents[fret], low, high, marks)}"
            for fret, note in ERROR_NOTES.items()
        )
        yield line(f" {row.name:<{wide}}  {words}".rstrip())


def _bins(width: int) -> int:
    """How many bins of time each note has room for."""
    words = 1 + 2 * len(ERROR_NOTES) + sum(len(note) + 1 for note in ERROR_NOTES.values())
    return min((width - words) // len(ERROR_NOTES), _MOST_BINS)


def _takes(drawn: Sequence[RecordingResult], string: int, fret: str) -> list[RecordingResult]:
    return [each for each in drawn if (each.string, each.fret) == (string, fret)]


def _heard(take: RecordingResult) -> list[float]:
    return [each for each in (take.track.cents if take.track else ()) if each is not None]


def _ends(seen: Sequence[float], fitted: Sequence[float]) -> tuple[float, float]:
    """The cents of the lowest bar and the highest; the fits and the settled pitch lie between."""
    ordered = sorted(seen)
    low, high = (ordered[round(share * (len(ordered) - 1))] for share in (_LOW, _HIGH))
    low, high = min(low, 0.0, *fitted), max(high, 0.0, *fitted)
    spare = max(_LEAST_CENTS - (high - low), 0.0) / 2
    return low - spare, high + spare


def _binned(takes: Sequence[RecordingResult], end_s: float, bins: int) -> list[float | None]:
    """The median of what all takes show in each bin."""
    found: list[list[float]] = [[] for _ in range(bins)]
    for take in takes:
        track = take.track
        for at_s, cents in zip(track.times_s, track.cents, strict=True) if track else ():
            if cents is not None:
                found[min(int(bins * at_s / end_s), bins - 1)].append(cents)
    return [median(each) if each else None for each in found]


def _drawn(cents: Sequence[float | None], low: float, high: float, marks: str) -> str:
    return "".join(" " if each is None else _mark(each, low, high, marks) for each in cents)


def _mark(cents: float, low: float, high: float, marks: str) -> str:
    share = (cents - low) / (high - low)
    return marks[min(max(int(share * len(marks)), 0), len(marks) - 1)]
