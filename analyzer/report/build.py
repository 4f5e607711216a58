"""From measured recordings to the report: takes by note, notes by string, strings by saddle."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import fields, replace
from typing import Any

from analyzer.bridge.effect import (
    SaddleEffect,
    effects_of,
    saddle_move_mm,
    saddle_move_uncertainty_mm,
)
from analyzer.frets.judge import FretResult
from analyzer.instrument.model import Instrument
from analyzer.measure import Measured
from analyzer.pitch.settle import SettledPitch
from analyzer.quality.model import status_of
from analyzer.recording.labels import OPEN, TWELFTH_FRET, Label, next_take
from analyzer.report.adjustment import Done, adjust
from analyzer.report.causes import findings_of, frets_of, nut_first
from analyzer.report.model import (
    BridgeLayout,
    ErrorBefore,
    RecordingResult,
    Report,
    StringResult,
)
from analyzer.string_model.of_instrument import unmodelled
from analyzer.strings import Scatter, combine_takes, intonation, larger_drift, pluck_scatter

Takes = dict[tuple[int, str], list[SettledPitch]]
_NEEDED = {OPEN: "open", TWELFTH_FRET: "12th-fret"}
_OTHER_NOTE = "Not part of the 12th-fret error; what it tells stands under frets."
# What a recording's result takes over from its pitch, under the same names.
_FIGURES = sorted(
    {each.name for each in fields(SettledPitch) if each.name not in {"course", "track"}}
    & {each.name for each in fields(RecordingResult)}
)
FURTHEST_FROM_OCTAVE_CENTS = 50.0  # no instrument is so far off; the next fret is 100 away


def build_report(
    instrument: Instrument,
    a4_hz: float,
    measured: Sequence[Measured],
    warnings: Sequence[str],
    done: Done | None = None,
) -> Report:
    """Put the report of one instrument together; ``done`` is what came before it, if anything."""
    takes = _takes(measured)
    scatter = pluck_scatter(list(takes.values()))
    labels = [each.label for each in measured if each.label is not None]
    strings = tuple(
        _string(instrument, number, takes, scatter, labels) for number in instrument.strings
    )
    found = adjust(instrument, strings, done)
    frets = frets_of(instrument, measured, scatter)
    return Report(
        instrument.name,
        instrument.tuning,
        a4_hz,
        strings,
        found.saddles,
        tuple(_recording(each) for each in measured),
        (
            *warnings,
            *_unsaid(instrument),
            *unmodelled(instrument),
            *(warning for each in measured for warning in each.warnings),
            *found.warnings,
            *_nut_first(frets, strings),
        ),
        found.adjusters,
        found.steps,
        found.response,
        None if done is None else done.file,
        found.outcome,
        instrument.name_given,
        instrument.scale_lengths_mm,
        frets,
        findings_of(instrument, measured, strings, frets, found.adjusters),
        tuple(_before(done)),
        _layout(instrument),
        moves_told=None if done is None else done.told,
    )


def _nut_first(frets: Sequence[FretResult], strings: Sequence[StringResult]) -> Iterator[str]:
    """The saddle's advice rests on the 12th fret as the nut stands; the order is the trade's."""
    for string in nut_first(frets, strings):
        yield (
            f"String {string}: its frets say that the nut comes first. Leave its saddle until the "
            "nut has been seen to, then record again: the steps here are for the nut as it is."
        )


def _before(done: Done | None) -> Iterator[ErrorBefore]:
    if done is not None:
        for string, (error_cents, half_width_cents) in done.errors_cents.items():
            yield ErrorBefore(string, error_cents, half_width_cents)


def _layout(instrument: Instrument) -> BridgeLayout | None:
    bridge = instrument.bridge
    if bridge is None:
        return None
    setback_mm = {string: bridge.setback_mm.get(string, 0.0) for string in instrument.strings}
    return BridgeLayout(dict(bridge.across_mm), setback_mm)


def _takes(measured: Sequence[Measured]) -> Takes:
    takes: Takes = {}
    for each in measured:
        if each.pitch is not None and each.label is not None:
            takes.setdefault((each.label.string, each.label.fret), []).append(each.pitch)
    return takes


def _string(
    instrument: Instrument, number: int, takes: Takes, scatter: Scatter, labels: Sequence[Label]
) -> StringResult:
    """The figures of one string, as far as its notes allow."""
    result = StringResult(number, instrument.note(number))
    missing = [fret for fret in _NEEDED if (number, fret) not in takes]
    open_note = fretted = None
    if OPEN not in missing:
        open_note = combine_takes(takes[number, OPEN], scatter)
        drift = _number(open_note.drift_cents)
        result = replace(result, open_hz=open_note.hz, open_drift_cents=drift)
    if TWELFTH_FRET not in missing:
        fretted = combine_takes(takes[number, TWELFTH_FRET], scatter)
        drift = _number(fretted.drift_cents)
        result = replace(result, fretted_hz=fretted.hz, fretted_drift_cents=drift)
    if open_note is None or fretted is None:
        return replace(result, reason=_what_is_missing(number, missing, labels))
    found = intonation(open_note, fretted, scatter)
    if abs(found.error_cents) > FURTHEST_FROM_OCTAVE_CENTS:
        return replace(result, reason=_not_the_octave(found.error_cents))
    result = replace(
        result,
        error_cents=found.error_cents,
        error_uncertainty_cents=found.error_uncertainty_cents,
        sustain_drift_cents=_number(larger_drift(open_note.drift_cents, fretted.drift_cents)),
    )
    return _with_move(result, effects_of(instrument).get(number))


def _not_the_octave(error_cents: float) -> str:
    return (
        f"The fretted note is {error_cents:+.0f} cents from the octave of the open string, more "
        f"than {FURTHEST_FROM_OCTAVE_CENTS:g}. Was it the 12th fret, and not retuned between? "
        "Record both notes again."
    )


def _with_move(result: StringResult, effect: SaddleEffect | None) -> StringResult:
    error, uncertainty = result.error_cents, result.error_uncertainty_cents
    if effect is None or error is None or uncertainty is None:
        return result
    return replace(
        result,
        saddle_move_mm=saddle_move_mm(error, effect),
        saddle_move_uncertainty_mm=saddle_move_uncertainty_mm(error, uncertainty, effect),
    )


def _what_is_missing(number: int, frets: Sequence[str], labels: Sequence[Label]) -> str:
    """The names to record under are free: an unusable recording keeps its own."""
    words = " and no usable ".join(_NEEDED[fret] for fret in frets)
    names = " and ".join(next_take(number, fret, labels).file_name for fret in frets)
    return f"No usable {words} recording. Record {names}."


def _unsaid(instrument: Instrument) -> Iterator[str]:
    """What the instrument file leaves out, and what that costs."""
    if instrument.scale_lengths_mm is None:
        return
    if instrument.bridge is None:
        yield "The instrument file has no [bridge]: moves are for each string alone, without turns."
    elif any(
        each.screw is None and each.steps.smallest_mm is None
        for each in instrument.bridge.adjusters
    ):
        yield "The [bridge] names no thread and screw_head: moves are in mm, without turns."


def _recording(each: Measured) -> RecordingResult:
    result = RecordingResult(each.file, None, None, None, "rejected", each.reason)
    if each.label is not None:
        label = each.label
        result = replace(result, string=label.string, fret=label.fret, take=label.take)
    if each.part_s is not None:
        result = replace(result, start_s=each.part_s[0], end_s=each.part_s[1])
    if each.pitch is None:
        return result
    known = each.label is not None and each.label.fret in _NEEDED
    figures: dict[str, Any] = {name: _number(getattr(each.pitch, name)) for name in _FIGURES}
    reason = None if known else _OTHER_NOTE
    cautions = tuple(caution.text for caution in each.cautions)
    result = replace(result, reason=reason, cautions=cautions, **figures)
    result = replace(result, course=each.pitch.course, track=each.pitch.track)
    return replace(result, status=status_of(None, each.cautions))


def _number(value: float) -> float | None:
    """JSON has no NaN: what could not be had is None."""
    return value if math.isfinite(value) else None
