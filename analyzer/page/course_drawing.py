"""The pitch over time of each of a string's notes, against the pitch that it settles to."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from analyzer.page.scale import Scale, Tick, with_room
from analyzer.pitch.settle import EARLY_S, Course
from analyzer.pitch.track import Track, settled_from_s
from analyzer.recording.labels import ERROR_NOTES
from analyzer.report.model import RecordingResult

WIDTH, HEIGHT = 340.0, 192.0
LEFT, RIGHT, TOP, BOTTOM = 42.0, 334.0, 40.0, 154.0
_MARGIN, _NARROWEST_CENTS = 0.08, 1.0
_TICKS_S, _TICKS_CENTS = 6, 5
# Quantiles of the measured track that are always in the drawing. What runs out of it at the end of
# a note, where beats and noise are all that is left, must not make the rest too small to read.
_SHOWN = (0.04, 0.96)
_FEWEST = 2  # points of a line


@dataclass(frozen=True)
class Take:
    """One take: the ``points`` of SVG of its fit, and a line for each unbroken part measured."""

    fit: str
    measured: tuple[str, ...]


@dataclass(frozen=True)
class CourseDrawing:
    """A note's takes; ``early`` and ``settled`` are where those parts begin and end.

    ``settled`` is None where some take never settles.
    """

    name: str
    width: float
    height: float
    left: float
    right: float
    top: float
    bottom: float
    settled_y: float
    early: tuple[float, float]
    settled: tuple[float, float] | None
    takes: tuple[Take, ...]
    ticks_s: tuple[Tick, ...]
    ticks_cents: tuple[Tick, ...]
    description: str


def course_drawings(recordings: Sequence[RecordingResult]) -> tuple[CourseDrawing, ...]:
    """A drawing of the open note's takes and one of the 12th fret's, to one scale of cents."""
    drawn = [each for each in recordings if each.fret in ERROR_NOTES and each.course is not None]
    if not drawn:
        return ()
    cents = _cents_scale(drawn)
    notes = ((fret, [each for each in drawn if each.fret == fret]) for fret in ERROR_NOTES)
    return tuple(_drawing(fret, takes, cents) for fret, takes in notes if takes)


def _drawing(fret: str, takes: Sequence[RecordingResult], cents: Scale) -> CourseDrawing:
    end_s, from_s = max(_course(each).times_s[-1] for each in takes), _settled_from_s(takes)
    times = Scale(0.0, end_s, LEFT, RIGHT)
    return CourseDrawing(
        ERROR_NOTES[fret],
        WIDTH,
        HEIGHT,
        LEFT,
        RIGHT,
        TOP,
        BOTTOM,
        cents.at(0.0),
        (times.at(EARLY_S[0]), times.at(min(EARLY_S[1], times.high))),
        None if from_s is None else (times.at(from_s), times.at(end_s)),
        tuple(_take(each, times, cents) for each in takes),
        tuple(times.ticks(_TICKS_S)),
        tuple(cents.ticks(_TICKS_CENTS)),
        "; ".join(_in_words(each) for each in takes).replace("-", "\N{MINUS SIGN}") + ".",
    )


def _course(take: RecordingResult) -> Course:
    return take.course or Course((), ())


def _cents_scale(takes: Sequence[RecordingResult]) -> Scale:
    """Upward is sharp; the settled pitch and the whole of the fits are always in it."""
    values = [0.0, *(each for take in takes for each in _course(take).cents)]
    for take in takes:
        values += _quantiles(take.track)
    return Scale(*with_room(values, _MARGIN, _NARROWEST_CENTS), BOTTOM, TOP)


def _quantiles(track: Track | None) -> list[float]:
    seen = sorted(each for each in ((track and track.cents) or ()) if each is not None)
    return [seen[round(share * (len(seen) - 1))] for share in _SHOWN] if seen else []


def _take(take: RecordingResult, times: Scale, cents: Scale) -> Take:
    course = _course(take)
    fit = _points(list(zip(course.times_s, course.cents, strict=True)), times, cents)
    return Take(fit, tuple(_points(each, times, cents) for each in _unbroken(take.track)))


def _unbroken(track: Track | None) -> Iterator[list[tuple[float, float]]]:
    """The parts of a track between its gaps; a point alone makes no line."""
    part: list[tuple[float, float]] = []
    for at_s, value in zip(track.times_s, track.cents, strict=True) if track else ():
        if value is not None:
            part.append((at_s, value))
            continue
        if len(part) >= _FEWEST:
            yield part
        part = []
    if len(part) >= _FEWEST:
        yield part


def _points(places: Sequence[tuple[float, float]], times: Scale, cents: Scale) -> str:
    """As fine as a screen shows."""
    return " ".join(f"{times.at(at_s):.1f},{cents.at(value):.1f}" for at_s, value in places)


def settled_s(take: RecordingResult) -> float | None:
    """From when a take is at its settled pitch, never before the early part has ended."""
    course, half = _course(take), take.settled_uncertainty_cents or 0.0
    from_s = settled_from_s(course.times_s, course.cents, half) if course.times_s else None
    return None if from_s is None else max(from_s, EARLY_S[1])


def _settled_from_s(takes: Sequence[RecordingResult]) -> float | None:
    """From when all takes are."""
    known = [from_s for from_s in map(settled_s, takes) if from_s is not None]
    return max(known) if len(known) == len(takes) else None


def _in_words(take: RecordingResult) -> str:
    course, from_s = _course(take), settled_s(take)
    then = "not settled at its end" if from_s is None else f"settled from {from_s:.1f} s on"
    return (
        f"take {take.take}: {course.cents[0]:.1f} cents above its settled pitch at "
        f"{course.times_s[0]:.2f} s, {course.cents[-1]:.1f} at {course.times_s[-1]:.1f} s, {then}"
    )
