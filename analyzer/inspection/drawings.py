"""What the page draws of a recording, as numbers; ``drawings.html.jinja`` draws it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analyzer.inspection.model import Inspection, Levels, PluckList
from analyzer.page.rounding import signed
from analyzer.page.scale import Scale, Tick, with_room
from analyzer.pitch.partial_tracks import PartialTrack
from analyzer.pitch.settle import Course

WIDTH = 340.0
LEFT, RIGHT, TOP = 42.0, 332.0, 42.0
_BELOW = 40.0  # of a drawing's axis: figures and words
_HEIGHTS = {"wave": 100.0, "level": 56.0, "course": 150.0, "deviations": 130.0}
_LOWEST_DBFS = -80.0
_TICKS, _TICKS_HIGH = 6, 5
_MARGIN, _NARROWEST_CENTS = 0.08, 1.0
OUTERMOST = 0.01  # of the dots at either end: a faint partial's last window is noise
LEAST_DEVIATION_CENTS = 0.05


@dataclass(frozen=True)
class Frame:
    """The box of a drawing with its axes; ``below`` is its lower edge."""

    width: float
    height: float
    left: float
    right: float
    top: float
    below: float
    ticks: tuple[Tick, ...]
    ticks_high: tuple[Tick, ...]
    zero_y: float | None


@dataclass(frozen=True)
class Band:
    """A part of a note, between two places, with its words above it."""

    from_x: float
    to_x: float
    words: str


@dataclass(frozen=True)
class WaveDrawing:
    """The wave as an outline; ``start_x`` and ``end_x`` of the pluck."""

    frame: Frame
    outline: str
    start_x: float
    end_x: float
    early: Band
    settled: Band | None
    description: str


@dataclass(frozen=True)
class LevelDrawing:
    """The level over the whole file, and the plucks in it with their words."""

    frame: Frame
    points: str
    plucks: tuple[Band, ...]
    description: str


@dataclass(frozen=True)
class CourseDrawing:
    """The fit as a line; the partials' tracks as dots, as ``d`` of a path."""

    frame: Frame
    fit: str
    dots: str
    early: Band
    settled: Band | None
    description: str


@dataclass(frozen=True)
class Deviation:
    """One partial's place against the law, with the ends of its interval."""

    number: int
    x: float
    y: float
    from_y: float
    to_y: float
    used: bool


@dataclass(frozen=True)
class DeviationsDrawing:
    frame: Frame
    marks: tuple[Deviation, ...]
    description: str


def wave_drawing(found: Inspection) -> WaveDrawing | None:
    """The wave of the pluck; None where there was none."""
    wave, place = found.wave, found.place
    if wave is None or place is None or not wave.low:
        return None
    peak = max(1e-9, *(-each for each in wave.low), *wave.high)
    time = Scale(wave.start_s, wave.start_s + wave.step_s * len(wave.low), LEFT, RIGHT)
    frame, high = _frame("wave", time, (-peak, peak), zero=True)
    places = [time.at(wave.start_s + (n + 0.5) * wave.step_s) for n in range(len(wave.low))]
    above = [f"{x:g},{high.at(y):g}" for x, y in zip(places, wave.high, strict=True)]
    under = [f"{x:g},{high.at(y):g}" for x, y in zip(places, wave.low, strict=True)]
    return WaveDrawing(
        frame,
        " ".join((*above, *reversed(under))),
        time.at(place.start_s),
        time.at(min(place.end_s, time.high)),
        _band(time, place.early_s, "early"),
        None if place.settled_s is None else _band(time, place.settled_s, "settled part"),
        f"The pluck begins at {place.start_s:.2f} s of the file and is taken to end at "
        f"{place.end_s:.2f} s; its highest sample is {peak:.3g} of full scale.",
    )


def level_drawing(found: Inspection | PluckList) -> LevelDrawing:
    """The level of the whole file."""
    levels: Levels = found.levels
    time = Scale(0.0, levels.step_s * len(levels.dbfs), LEFT, RIGHT)
    frame, high = _frame("level", time, (_LOWEST_DBFS, 0.0))
    points = " ".join(
        f"{time.at((n + 0.5) * levels.step_s):g},{high.at(max(each, _LOWEST_DBFS)):g}"
        for n, each in enumerate(levels.dbfs)
    )
    plucks = tuple(_plucks(found, time))
    said = "; ".join(f"{each.words or 'the pluck'}" for each in plucks) or "none"
    return LevelDrawing(
        frame,
        points,
        plucks,
        f"{time.high:.2f} s long, loudest {max(levels.dbfs):.0f} dBFS; plucks: {said}.".replace(
            "-", "\N{MINUS SIGN}"
        ),
    )


def _plucks(found: Inspection | PluckList, time: Scale) -> Sequence[Band]:
    if isinstance(found, PluckList):
        return [_band(time, (each.start_s, each.end_s), str(each.number)) for each in found.plucks]
    if found.place is None:
        return []
    return [_band(time, (found.place.start_s, found.place.end_s), "the pluck")]


def course_drawing(found: Inspection) -> CourseDrawing | None:
    """The pitch over time; None where nothing was fitted."""
    if found.pitch is None or found.pitch.course is None or found.place is None:
        return None
    course, onset_s = found.pitch.course, found.place.start_s
    used = [each for each in found.tracks if each.used]
    cents = [value for each in used for value in each.cents]
    time = Scale(0.0, course.times_s[-1], LEFT, RIGHT)
    frame, high = _frame("course", time, _reach(course, cents), zero=True)
    fit = " ".join(
        f"{time.at(x):g},{high.at(y):g}" for x, y in zip(course.times_s, course.cents, strict=True)
    )
    dots = "".join(
        f"M{time.at(x):g} {high.at(y):g}h0"
        for each in used
        for x, y in zip(each.times_s, each.cents, strict=True)
        if high.low <= y <= high.high
    )
    early_s, settled_s = (
        None if part is None else (part[0] - onset_s, min(part[1] - onset_s, time.high))
        for part in (found.place.early_s, found.place.settled_s)
    )
    return CourseDrawing(
        frame,
        fit,
        dots,
        _band(time, early_s or (0.0, 0.0), "early"),
        None if settled_s is None else _band(time, settled_s, "settled part"),
        f"The fit: {signed(course.cents[0], 2)} cents at {course.times_s[0]:.2f} s after the "
        f"pluck, {signed(course.cents[-1], 2)} at {course.times_s[-1]:.1f} s. "
        f"{len(used)} partials.",
    )


def _reach(course: Course, cents: Sequence[float]) -> tuple[float, float]:
    """Without the outermost dots; the fit and its settled pitch are always in it."""
    return with_room([0.0, *course.cents, *inner(cents)], _MARGIN, _NARROWEST_CENTS)


def inner(values: Sequence[float]) -> list[float]:
    """The values in order, without the outermost at either end."""
    ordered = sorted(values)
    spare = int(OUTERMOST * len(ordered))
    return ordered[spare : len(ordered) - spare]


def used_tracks(tracks: Sequence[PartialTrack]) -> list[PartialTrack]:
    """The partials that are in the fit; all of them where none is."""
    return [each for each in tracks if each.used] or list(tracks)


def deviations_reach_cents(tracks: Sequence[PartialTrack], least_cents: float) -> float:
    """How far from the law the intervals of the partials in the fit go, either way."""
    furthest = (
        abs(each.deviation_cents) + each.deviation_uncertainty_cents for each in used_tracks(tracks)
    )
    return max(least_cents, *furthest)


def deviations_drawing(tracks: Sequence[PartialTrack]) -> DeviationsDrawing | None:
    """How far each partial lies from the string law; None where there is none."""
    if not tracks:
        return None
    used = used_tracks(tracks)
    reach = deviations_reach_cents(tracks, LEAST_DEVIATION_CENTS) * (1 + _MARGIN)
    last = max(each.number for each in tracks)
    numbers = Scale(0.0, last + 1.0, LEFT, RIGHT)
    frame, high = _frame("deviations", numbers, (-reach, reach), zero=True)
    marks = []
    for each in tracks:
        half = each.deviation_uncertainty_cents
        ends = (each.deviation_cents - half, each.deviation_cents, each.deviation_cents + half)
        low_y, y, high_y = (high.at(min(max(end, -reach), reach)) for end in ends)
        marks.append(Deviation(each.number, numbers.at(each.number), y, low_y, high_y, each.used))
    furthest = max(used, key=lambda each: abs(each.deviation_cents))
    return DeviationsDrawing(
        frame,
        tuple(marks),
        f"{len(used)} partials in the fit; the furthest from the law is partial {furthest.number}, "
        f"by {signed(furthest.deviation_cents, 3)} cents.",
    )


def _frame(
    kind: str, across: Scale, values: tuple[float, float], *, zero: bool = False
) -> tuple[Frame, Scale]:
    below = TOP + _HEIGHTS[kind]
    high = Scale(*values, below, TOP)
    frame = Frame(
        WIDTH,
        below + _BELOW,
        LEFT,
        RIGHT,
        TOP,
        below,
        tuple(across.ticks(_TICKS)),
        tuple(high.ticks(_TICKS_HIGH)),
        high.at(0.0) if zero else None,
    )
    return frame, high


def _band(across: Scale, part: tuple[float, float], words: str) -> Band:
    from_x, to_x = (across.at(min(max(each, across.low), across.high)) for each in part)
    return Band(from_x, to_x, words)
