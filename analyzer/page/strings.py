"""What is said of each string, beside its drawing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from analyzer.music import cents_between
from analyzer.page.course_drawing import CourseDrawing, course_drawings
from analyzer.page.rounding import (
    NOT_HAD,
    hz_with_interval,
    scientific,
    sharp_or_flat,
    signed,
    unsigned_with_interval,
    with_interval,
)
from analyzer.recording.labels import ERROR_NOTES
from analyzer.report.model import RecordingResult, Report, StringResult
from analyzer.report.words import way


@dataclass(frozen=True)
class Figure:
    """A number of the JSON report as ``value``, and as it is shown."""

    value: float | None
    text: str


@dataclass(frozen=True)
class Take:
    """A recording in use, as it is shown."""

    named: str
    note: str
    settled: str
    drift: str
    stiffness: str
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class LeftOut:
    named: str
    reason: str


@dataclass(frozen=True)
class StringPart:
    """One string: a row of the table of results, and the part that unfolds."""

    string: int
    note: str
    reason: str | None
    error: Figure
    before: Figure | None
    drift: Figure
    needs: Figure
    needs_way: str
    residual: Figure
    summary: str
    courses: tuple[CourseDrawing, ...]
    facts: tuple[tuple[str, str], ...]
    takes: tuple[Take, ...]
    left_out: tuple[LeftOut, ...]


def string_parts(report: Report) -> tuple[StringPart, ...]:
    """Every string, the highest number first."""
    return tuple(_part(report, each) for each in report.strings)


def left_out_of_none(report: Report) -> tuple[LeftOut, ...]:
    """What was rejected and belongs to no string."""
    known = {each.string for each in report.strings}
    return tuple(
        LeftOut(each.named, each.reason or "")
        for each in report.rejected
        if each.string not in known
    )


def _part(report: Report, result: StringResult) -> StringPart:
    own = [each for each in report.recordings if each.string == result.string]
    used = [each for each in own if each.status != "rejected"]
    left_out = [each for each in own if each.status == "rejected"]
    return StringPart(
        result.string,
        result.note,
        result.reason,
        _figure(result.error_cents, result.error_uncertainty_cents),
        _before(report, result.string),
        Figure(result.sustain_drift_cents, _cents(result.sustain_drift_cents)),
        _needs(result),
        _needs_way(result),
        _residual(report, result.string),
        _summary(result, len(used), len(left_out)),
        course_drawings(used),
        tuple(_facts(report, result, used)),
        tuple(map(_take, used)),
        tuple(LeftOut(each.named, each.reason or "") for each in left_out),
    )


def _figure(value: float | None, half_width: float | None) -> Figure:
    return Figure(value, with_interval(value, half_width) or NOT_HAD)


def _cents(value: float | None) -> str:
    return NOT_HAD if value is None else signed(value)


def _before(report: Report, string: int) -> Figure | None:
    for each in report.errors_before:
        if each.string == string:
            return _figure(each.error_cents, each.error_uncertainty_cents)
    return Figure(None, NOT_HAD) if report.errors_before else None


def _needs(result: StringResult) -> Figure:
    move_mm, half_width = result.saddle_move_mm, result.saddle_move_uncertainty_mm
    if move_mm is None or half_width is None:
        return Figure(move_mm, NOT_HAD)
    size = unsigned_with_interval(abs(move_mm), half_width, 2)
    return Figure(move_mm, size or NOT_HAD)


def _needs_way(result: StringResult) -> str:
    """Which way; none where the move is shown as nothing."""
    move_mm, shown = result.saddle_move_mm, _needs(result).text.partition(" ")[0]
    return way(move_mm) if move_mm and float(shown) else ""


def _residual(report: Report, string: int) -> Figure:
    for each in report.saddles:
        if each.residual_cents and string in each.residual_cents:
            half_width = (each.residual_uncertainty_cents or {}).get(string)
            return _figure(each.residual_cents[string], half_width)
    return Figure(None, NOT_HAD)


def _summary(result: StringResult, used: int, left_out: int) -> str:
    error, half_width = result.error_cents, result.error_uncertainty_cents
    if error is None or half_width is None:
        head = "no result"
    else:
        head = f"{with_interval(error, half_width)} cents, {sharp_or_flat(error, half_width)}"
    takes = f"{used} recording{'' if used == 1 else 's'}"
    return f"{head}; {takes}" + (f", {left_out} left out" if left_out else "")


def _facts(
    report: Report, result: StringResult, used: Sequence[RecordingResult]
) -> Iterator[tuple[str, str]]:
    for name, hz, drift in (
        ("Open", result.open_hz, result.open_drift_cents),
        ("12th fret", result.fretted_hz, result.fretted_drift_cents),
    ):
        if hz is not None:
            yield f"{name}, settled", f"{hz:.3f} Hz"
            yield f"{name}, drift", f"{_cents(drift)} cents" if drift is not None else NOT_HAD
    for fret, name in ERROR_NOTES.items():
        takes = [each for each in used if each.fret == fret and each.settled_hz is not None]
        if takes:
            yield f"{name.capitalize()}, takes", _scatter(takes)
    for frets in report.frets:
        if frets.string == result.string and (frets.verdict or frets.reason):
            yield "Other frets", frets.verdict or frets.reason or ""
    for each in report.outcome:
        if each.string == result.string:
            found = with_interval(each.found_change_cents, each.found_uncertainty_cents)
            predicted = with_interval(each.predicted_change_cents, each.predicted_uncertainty_cents)
            yield (
                "Since the round before",
                f"changed by {found} cents, predicted {predicted}: {each.in_words}",
            )


def _scatter(takes: Sequence[RecordingResult]) -> str:
    """How far the takes of one note lie apart."""
    if len(takes) == 1:
        return "one: nothing tells its scatter from pluck to pluck"
    pitches = [each.settled_hz for each in takes if each.settled_hz is not None]
    apart = cents_between(min(pitches), max(pitches))
    return f"{len(takes)}, at most {max(apart, 0.01):.2f} cents apart"


def _take(each: RecordingResult) -> Take:
    settled = NOT_HAD
    if each.settled_hz is not None and each.settled_uncertainty_cents is not None:
        settled = hz_with_interval(each.settled_hz, each.settled_uncertainty_cents) or NOT_HAD
    note = ERROR_NOTES.get(each.fret or "", each.fret or "")
    stiffness = scientific(each.stiffness, each.stiffness_uncertainty) or NOT_HAD
    drift = _cents(each.sustain_drift_cents)
    return Take(each.named, f"{note}, take {each.take}", settled, drift, stiffness, each.cautions)
