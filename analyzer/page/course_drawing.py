"""The pitch over time of a string's two notes, against the pitch that each settles to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analyzer.page.scale import Scale, Tick
from analyzer.pitch.settle import EARLY_S, Course
from analyzer.recording.labels import OPEN, TWELFTH_FRET
from analyzer.report.model import RecordingResult

WIDTH, HEIGHT = 340.0, 190.0
LEFT, RIGHT, TOP, BOTTOM = 42.0, 332.0, 18.0, 150.0
_MARGIN, _NARROWEST_CENTS = 0.08, 1.0
_TICKS_S, _TICKS_CENTS = 6, 5
_DRAWN = (OPEN, TWELFTH_FRET)


@dataclass(frozen=True)
class CourseLine:
    """One take: ``points`` of SVG, and where it starts, which has a mark of its own."""

    fret: str
    points: str
    x: float
    y: float


@dataclass(frozen=True)
class CourseDrawing:
    width: float
    height: float
    left: float
    right: float
    top: float
    bottom: float
    settled_y: float
    early: tuple[float, float]
    lines: tuple[CourseLine, ...]
    ticks_s: tuple[Tick, ...]
    ticks_cents: tuple[Tick, ...]
    description: str


def course_drawing(takes: Sequence[RecordingResult]) -> CourseDrawing | None:
    """The courses of the open and the 12th-fret takes; None where there are none."""
    drawn = [(each.fret or "", each.course) for each in takes if each.fret in _DRAWN]
    # The dashed lines of the 12th fret lie above the solid ones, which show between the dashes.
    courses = sorted(
        ((fret, course) for fret, course in drawn if course is not None),
        key=lambda each: _DRAWN.index(each[0]),
    )
    if not courses:
        return None
    times = Scale(0.0, max(course.times_s[-1] for _, course in courses), LEFT, RIGHT)
    cents = _cents_scale([course for _, course in courses])
    early = (times.at(EARLY_S[0]), times.at(min(EARLY_S[1], times.high)))
    return CourseDrawing(
        WIDTH,
        HEIGHT,
        LEFT,
        RIGHT,
        TOP,
        BOTTOM,
        cents.at(0.0),
        early,
        tuple(_line(fret, course, times, cents) for fret, course in courses),
        tuple(times.ticks(_TICKS_S)),
        tuple(cents.ticks(_TICKS_CENTS)),
        _in_words(takes),
    )


def _cents_scale(courses: Sequence[Course]) -> Scale:
    """Upward is sharp; the settled pitch is always in it."""
    values = [0.0, *(each for course in courses for each in course.cents)]
    low, high = min(values), max(values)
    spare = max((high - low) * _MARGIN, (_NARROWEST_CENTS - (high - low)) / 2)
    return Scale(low - spare, high + spare, BOTTOM, TOP)


def _line(fret: str, course: Course, times: Scale, cents: Scale) -> CourseLine:
    places = [
        (times.at(at_s), cents.at(value))
        for at_s, value in zip(course.times_s, course.cents, strict=True)
    ]
    points = " ".join(f"{x:g},{y:g}" for x, y in places)
    return CourseLine(fret, points, *places[0])


def _in_words(takes: Sequence[RecordingResult]) -> str:
    words = []
    for each in takes:
        if each.course is not None and each.fret in _DRAWN:
            note = "open" if each.fret == OPEN else "12th fret"
            start = each.course
            words.append(
                f"{note}, take {each.take}: {start.cents[0]:.1f} cents above its settled pitch at "
                f"{start.times_s[0]:.2f} s, {start.cents[-1]:.1f} at {start.times_s[-1]:.1f} s"
            )
    return "; ".join(words).replace("-", "\N{MINUS SIGN}") + "."
