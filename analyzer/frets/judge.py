"""From the notes of one string to what its frets say: the parts, and which of them to cure."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from analyzer.frets.fit import FEWEST_FRETS, FretError, Part, Parts, fit_parts, harmonic_law_cents
from analyzer.music import cents_between, ratio_of_cents
from analyzer.pitch.settle import SettledPitch
from analyzer.recording.labels import HARMONIC, OPEN, TWELFTH_FRET, Label
from analyzer.strings import Note, Scatter, combine_takes

# Smaller is not worth curing: a goal that the trade sets itself, from memory.
NOTICEABLE_CENTS = 1.0
# A part known less well than this is not known. Two to three cents are called good: from memory.
WIDEST_CENTS = 2.0
# Stretch at fret 1 that sound instruments have: [AB24]'s, 1 mm high at the nut, has 0.6 to 0.9.
USUAL_STRETCH_CENTS = 1.0
# A note so far from its fret is a slip in the label or the fingering.
FURTHEST_FROM_FRET_CENTS = 50.0
_LENGTH_WITHOUT_SCALE_MM = 650.0  # only for the allowance for the frets' own placing


@dataclass(frozen=True)
class FretResult:
    """What the other frets of a string say; None is what could not be had, and ``reason`` says why.

    Parts as in ``fit``: the saddle's in cents at fret 12, the nut's at every fret, the stretch's at
    fret 1; moves in mm, the saddle's positive away from the nut, the nut's negative toward the
    saddle. ``cure`` names the parts that should be cured, ``unclear`` those that the notes cannot
    tell. ``harmonic_cents`` is how far h12 lies above twice the open note, ``harmonic_law_cents``
    how far the string law has it there.
    """

    string: int
    reason: str | None = None
    fret_errors_cents: dict[str, float] | None = None
    saddle_part_cents: float | None = None
    saddle_part_uncertainty_cents: float | None = None
    nut_part_cents: float | None = None
    nut_part_uncertainty_cents: float | None = None
    stretch_part_cents: float | None = None
    stretch_part_uncertainty_cents: float | None = None
    saddle_move_mm: float | None = None
    saddle_move_uncertainty_mm: float | None = None
    nut_move_mm: float | None = None
    nut_move_uncertainty_mm: float | None = None
    misfit_cents: float | None = None
    cure: tuple[str, ...] = ()
    unclear: tuple[str, ...] = ()
    verdict: str | None = None
    harmonic_cents: float | None = None
    harmonic_uncertainty_cents: float | None = None
    harmonic_law_cents: float | None = None

    @property
    def nut_first(self) -> bool:
        """Whether the nut is to be seen to before the saddle, as is the trade's order."""
        return bool({"nut", "stretch"} & set(self.cure))


def judge_frets(
    string: int,
    takes: Mapping[str, Sequence[SettledPitch]],
    scatter: Scatter,
    scale_length_mm: float | None,
) -> FretResult | None:
    """What the notes beside open and f12 say; None where there are none.

    ``takes`` maps the label of a fret (``open``, ``f5``, ``h12``) to its takes.
    """
    others = [label for label in takes if label not in {OPEN, TWELFTH_FRET}]
    if not others:
        return None
    result = FretResult(string)
    if OPEN not in takes:
        return replace(
            result, reason=f"There is no open note. Record {Label(string, OPEN).file_name}."
        )
    notes = {label: combine_takes(each, scatter) for label, each in takes.items()}
    result = _with_harmonic(result, notes, takes[OPEN], scatter)
    errors = _errors(notes)
    labels = {f"f{fret}": error.cents for fret, error in errors.items()}
    result = replace(result, fret_errors_cents=labels)
    reason = _why_not(string, errors)
    if reason is not None:
        return replace(result, reason=reason)
    length_mm = scale_length_mm or _LENGTH_WITHOUT_SCALE_MM
    parts = fit_parts(errors, notes[OPEN].variance, scatter.coverage, length_mm)
    return _with_parts(result, parts, known_length=scale_length_mm is not None)


def _errors(notes: Mapping[str, Note]) -> dict[int, FretError]:
    """Errors by fret, without notes that cannot be of their fret."""
    errors = {}
    for label, note in notes.items():
        if label in {OPEN, HARMONIC}:
            continue
        fret = int(label[1:])
        cents = cents_between(notes[OPEN].hz * ratio_of_cents(100 * fret), note.hz)
        if abs(cents) <= FURTHEST_FROM_FRET_CENTS:
            errors[fret] = FretError(cents, note.variance)
    return dict(sorted(errors.items()))


def _why_not(string: int, errors: Mapping[int, FretError]) -> str | None:
    if len(errors) >= FEWEST_FRETS:
        return None
    wanted = [fret for fret in (1, 5, 12) if fret not in errors][: FEWEST_FRETS - len(errors)]
    names = " and ".join(Label(string, f"f{fret}").file_name for fret in wanted)
    return (
        f"{FEWEST_FRETS} frets are needed to tell saddle, nut and stretch apart, and "
        f"{len(errors)} could be used. Record {names}."
    )


def _with_harmonic(
    result: FretResult, notes: Mapping[str, Note], opens: Sequence[SettledPitch], scatter: Scatter
) -> FretResult:
    """The harmonic is the open string's second partial: it knows no fret, saddle error or stretch.

    So it tells nothing of them apart, but checks the open note that all errors stand on.
    """
    if HARMONIC not in notes:
        return result
    spread = math.sqrt(notes[OPEN].variance + notes[HARMONIC].variance)
    stiffness = [each.stiffness for each in opens if math.isfinite(each.stiffness)]
    law = harmonic_law_cents(sum(stiffness) / len(stiffness)) if stiffness else None
    return replace(
        result,
        harmonic_cents=cents_between(2 * notes[OPEN].hz, notes[HARMONIC].hz),
        harmonic_uncertainty_cents=scatter.coverage * spread,
        harmonic_law_cents=law,
    )


def _with_parts(result: FretResult, parts: Parts, *, known_length: bool) -> FretResult:
    result = replace(
        result,
        saddle_part_cents=parts.saddle.cents,
        saddle_part_uncertainty_cents=parts.saddle.uncertainty_cents,
        nut_part_cents=parts.nut.cents,
        nut_part_uncertainty_cents=parts.nut.uncertainty_cents,
        stretch_part_cents=parts.stretch.cents,
        stretch_part_uncertainty_cents=parts.stretch.uncertainty_cents,
        misfit_cents=parts.misfit_cents,
        cure=tuple(name for name, part, usual in _named(parts) if _stands_out(part, usual)),
        unclear=tuple(name for name, part, usual in _named(parts) if _unclear(part, usual)),
    )
    if known_length:
        result = replace(
            result,
            saddle_move_mm=parts.saddle_move_mm,
            saddle_move_uncertainty_mm=parts.saddle_move_uncertainty_mm,
            nut_move_mm=parts.nut_move_mm,
            nut_move_uncertainty_mm=parts.nut_move_uncertainty_mm,
        )
    return replace(result, verdict=" ".join(_sentences(result, parts)))


def _named(parts: Parts) -> tuple[tuple[str, Part, float], ...]:
    return (
        ("saddle", parts.saddle, 0.0),
        ("nut", parts.nut, 0.0),
        ("stretch", parts.stretch, USUAL_STRETCH_CENTS),
    )


def _stands_out(part: Part, usual_cents: float) -> bool:
    """Beyond its own interval and what is usual. Stretch only adds; less of it needs no cure."""
    if usual_cents:
        return part.cents - part.uncertainty_cents > usual_cents
    return abs(part.cents) > max(part.uncertainty_cents, NOTICEABLE_CENTS)


def _unclear(part: Part, usual_cents: float) -> bool:
    return not _stands_out(part, usual_cents) and part.uncertainty_cents > WIDEST_CENTS


def _sentences(result: FretResult, parts: Parts) -> Iterator[str]:
    if "stretch" in result.cure:
        yield (
            f"Pressing the string down sharpens fret 1 by {_both(parts.stretch)} cents more than "
            "saddle and nut can make up for: it stands high at the nut, or was pressed hard. See "
            "to the nut slot first, then record again: saddle and nut read otherwise then."
        )
        return
    if "nut" in result.cure:
        yield _nuts_part(result, parts.nut)
    if "saddle" in result.cure:
        yield _saddles_part(result, parts.saddle)
    if result.unclear:
        yield (
            f"The notes cannot tell the part of {' and '.join(result.unclear)} to "
            f"{WIDEST_CENTS:g} cents: record more takes, with frets 1, 3 and 12 among them."
        )
    if not (result.cure or result.unclear):
        yield "Saddle, nut and fretting stretch are in order as far as the notes can tell."


def _nuts_part(result: FretResult, nut: Part) -> str:
    by = _by(result.nut_move_mm, result.nut_move_uncertainty_mm, "saddle")
    return (
        f"Every fretted note is {_both(nut)} cents {_sharp(nut)} alike: the nut's part, cured{by} "
        "at the nut; a saddle can only trade it between the frets."
    )


def _saddles_part(result: FretResult, saddle: Part) -> str:
    part = f"The saddle's part is {_both(saddle)} cents {_sharp(saddle)} at fret 12"
    if "nut" not in result.cure:
        return f"{part}: the saddle's move for the 12th fret is its cure."
    by = _by(result.saddle_move_mm, result.saddle_move_uncertainty_mm, "nut")
    return f"{part}, cured{by} at the saddle once the nut is right."


def _both(part: Part) -> str:
    return f"{abs(part.cents):.1f} ± {part.uncertainty_cents:.1f}"


def _sharp(part: Part) -> str:
    return "sharp" if part.cents > 0 else "flat"


def _by(move_mm: float | None, half_mm: float | None, other_end: str) -> str:
    """A move toward the other end shortens the string: negative for both."""
    if move_mm is None or half_mm is None:
        return ""
    way = f"away from the {other_end}" if move_mm > 0 else f"toward the {other_end}"
    return f" by {abs(move_mm):.2f} ± {half_mm:.2f} mm {way}"
