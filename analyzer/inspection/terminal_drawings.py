"""What is drawn of an inspection in characters: level, course and deviations."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from analyzer.inspection.dots import Canvas, bars, line_places, resampled
from analyzer.inspection.drawings import deviations_reach_cents, inner
from analyzer.inspection.model import Inspection, PluckList
from analyzer.page.scale import Scale
from analyzer.pitch.partial_tracks import PartialTrack

_WIDEST, _MARGIN = 100, 8  # characters: of a drawing, and of the figures at its left
_LOWEST_DBFS = -60.0
_COURSE_ROWS = 9
_ZERO_EVERY = 4  # dots: the settled pitch is a dotted line
_LEAST_CENTS = 0.5  # half the height of a course at least
_MARKS = 17  # characters of the drawing of a deviation
_LEAST_DEVIATION_CENTS = 0.1


def level_lines(found: Inspection | PluckList, width: int, *, plain: bool) -> Iterator[str]:
    """The level over the whole file, and under it what was taken as the pluck."""
    columns = min(width, _WIDEST) - _MARGIN
    levels = resampled(found.levels.dbfs, columns)
    row = bars(levels, _LOWEST_DBFS, 0.0, ascii_only=plain)
    yield f"{'level':<{_MARGIN}}{row}"
    length_s = found.levels.step_s * len(found.levels.dbfs)
    time = Scale(0.0, length_s, 0.0, float(len(levels)))
    yield f"{'':<{_MARGIN}}{_ruler(found, time, len(levels))}"
    end = f"{length_s:.1f} s"
    yield f"{'':<{_MARGIN}}0{end:>{max(len(levels) - 1, len(end) + 1)}}"


def level_key(found: Inspection | PluckList) -> str:
    """What the marks under the level are."""
    marks = "number: a pluck begins"
    if isinstance(found, Inspection):
        marks = "-: pluck, e: early part, s: settled part"
    return f"Level of the whole file, {_LOWEST_DBFS:g} to 0 dBFS. {marks}."


def _ruler(found: Inspection | PluckList, time: Scale, columns: int) -> str:
    row = [" "] * columns
    if isinstance(found, PluckList):
        for each in found.plucks:
            at = min(int(time.at(each.start_s)), columns - 1)
            for offset, digit in enumerate(str(each.number)):
                if at + offset < columns:
                    row[at + offset] = digit
        return "".join(row)
    place = found.place
    if place is not None:
        _mark(row, time, (place.start_s, place.end_s), "-")
        if place.settled_s is not None:
            _mark(row, time, place.settled_s, "s")
        _mark(row, time, place.early_s, "e")
    return "".join(row)


def _mark(row: list[str], time: Scale, part_s: tuple[float, float], sign: str) -> None:
    first, last = (min(max(int(time.at(each)), 0), len(row) - 1) for each in part_s)
    row[first : last + 1] = sign * (last + 1 - first)


COURSE_KEY = (
    "Pitch over time, cents above the settled pitch. Line: the fit. Dots: each partial by itself, "
    "where the string law would put it at nought."
)


def course_lines(found: Inspection, width: int, *, plain: bool) -> Iterator[str]:
    """The pitch over time: the fit as a line, and every partial's own track as dots."""
    pitch = found.pitch
    if pitch is None or pitch.course is None:
        return
    fit = list(zip(pitch.course.times_s, pitch.course.cents, strict=True))
    tracks = [each for each in found.tracks if each.used]
    dots = [point for each in tracks for point in zip(each.times_s, each.cents, strict=True)]
    canvas = Canvas(min(width, _WIDEST) - _MARGIN, _COURSE_ROWS, plain)
    wide, high = canvas.size
    seen = inner([cents for _, cents in (*fit, *dots)])
    low, top = min(-_LEAST_CENTS, seen[0]), max(_LEAST_CENTS, seen[-1])
    end_s = fit[-1][0]
    times, cents = Scale(0.0, end_s, 0.0, wide - 1.0), Scale(low, top, high - 1.0, 0.0)
    zero = [(float(x), cents.at(0.0)) for x in range(0, wide, _ZERO_EVERY)]
    places = [*zero, *line_places(fit, times, cents), *_places(dots, times, cents)]
    rows = canvas.drawn(places)
    labels = {0: f"{top:+.1f}", len(rows) - 1: f"{low:+.1f}"}
    labels[min(int(cents.at(0.0) * len(rows) / high), len(rows) - 1)] = "0"
    for number, row in enumerate(rows):
        yield f"{labels.get(number, ''):>{_MARGIN - 2}}  {row}"
    end = f"{end_s:.1f} s"
    yield f"{'':<{_MARGIN}}0{end:>{canvas.columns - 1}}"


def _places(
    points: Sequence[tuple[float, float]], times: Scale, cents: Scale
) -> list[tuple[float, float]]:
    return [(times.at(at_s), cents.at(value)) for at_s, value in points]


@dataclass(frozen=True)
class DeviationColumn:
    """Head, scale and rows of the drawing of how far each partial lies from the law."""

    heading: str
    scale: str
    rows: tuple[str, ...]


def deviation_column(tracks: Sequence[PartialTrack], *, plain: bool) -> DeviationColumn:
    """Each partial's deviation with its interval, on one scale."""
    reach = deviations_reach_cents(tracks, _LEAST_DEVIATION_CENTS)
    scale = Scale(-reach, reach, 0.0, _MARKS - 1.0)
    bar, dot, middle = ("-", "o", "|") if plain else ("─", "●", "│")
    rows = []
    for each in tracks:
        row = [" "] * _MARKS
        half = each.deviation_uncertainty_cents
        ends = [scale.at(each.deviation_cents + side * half) for side in (-1, 1)]
        first, last = (min(max(round(end), 0), _MARKS - 1) for end in ends)
        row[first : last + 1] = bar * (last + 1 - first)
        row[_MARKS // 2] = middle
        at = round(scale.at(each.deviation_cents))
        if 0 <= at < _MARKS:
            row[at] = dot
        rows.append("".join(row))
    low, high = f"-{reach:.2g}", f"+{reach:.2g}"
    return DeviationColumn("flat       sharp", f"{low}{high:>{_MARKS - len(low)}}", tuple(rows))
