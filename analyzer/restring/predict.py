"""How each string's 12th-fret error and best setback change when other strings go on.

The model of ``string_model`` is asked twice with the saddle where it is now: with the string that
is on and with the next one. Its absolute error is known to some cents only, mostly because nobody
knows how the ends are held; much of that is common to both strings and falls out of the change.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from analyzer.instrument.model import Instrument
from analyzer.instrument.string_data import StringData
from analyzer.music import ISO16_A4_HZ
from analyzer.string_model.effect import ModelledEffect
from analyzer.string_model.fretting import Ends, FrettedString
from analyzer.string_model.from_data import Modelled, model_string
from analyzer.string_model.of_instrument import setback_mm

# Relative half-width of a string's heights where the file has none. A judgement.
HEIGHTS_UNCERTAINTY = 0.5
# Nobody knows the kind of all ends: pinned and clamped throughout are the extremes.
_OTHER_ENDS: tuple[Ends, ...] = ("pinned", "clamped")


@dataclass(frozen=True)
class StringChange:
    """What the next string changes; None is what could not be had, and ``reason`` says why.

    Uncertainties are half-widths of 95 % intervals. ``error_change_cents`` and, where the error
    now was measured, ``error_next_cents`` hold where the saddle stays. ``saddle_move_mm``, positive
    away from the nut, takes the next error to zero, or leaves the 12th fret as it is now where that
    is not known. Setbacks are those at which the model has no error. Tensions are at the nominal
    pitch.
    """

    string: int
    note: str
    reason: str | None = None
    error_change_cents: float | None = None
    error_change_uncertainty_cents: float | None = None
    error_now_cents: float | None = None
    error_next_cents: float | None = None
    error_next_uncertainty_cents: float | None = None
    setback_now_mm: float | None = None
    setback_next_mm: float | None = None
    saddle_move_mm: float | None = None
    saddle_move_uncertainty_mm: float | None = None
    tension_now_n: float | None = None
    tension_next_n: float | None = None


@dataclass(frozen=True)
class _Pair:
    """The string that is on and the next one, with the place of the saddle now."""

    now: Modelled
    after: Modelled
    setback_mm: float

    def change_cents(
        self, now: FrettedString, after: FrettedString, ends: Ends = "hybrid"
    ) -> float:
        at_mm = self.setback_mm
        return float(
            ModelledEffect(after, at_mm, ends).error_cents(at_mm)
            - ModelledEffect(now, at_mm, ends).error_cents(at_mm)
        )


def change_of(
    instrument: Instrument,
    number: int,
    after: StringData,
    a4_hz: float = ISO16_A4_HZ,
) -> StringChange:
    """What one next string changes. The instrument must have a scale length."""
    result = StringChange(number, instrument.note(number))
    length_mm, now = instrument.scale_length_mm(number), instrument.string_data.get(number)
    if length_mm is None or now is None:
        return replace(result, reason="The instrument file has no [[strings]] for what is on now.")
    open_hz = instrument.open_hz(number, a4_hz)
    models: dict[str, Modelled] = {}
    for word, data in (("on now", now), ("next", after.over(now))):
        found, missing = model_string(data, length_mm, open_hz)
        if found is None:
            return replace(result, reason=f"Of the string {word}, {missing} is missing.")
        models[word] = found
    pair = _Pair(models["on now"], models["next"], setback_mm(instrument, number))
    return _in_figures(result, pair)


def _in_figures(result: StringChange, pair: _Pair) -> StringChange:
    now, after = pair.now.string, pair.after.string
    change_cents = pair.change_cents(now, after)
    half_cents = math.sqrt(sum(each**2 for each in _shares_cents(pair, change_cents)))
    effect = ModelledEffect(after, pair.setback_mm)
    return replace(
        result,
        error_change_cents=change_cents,
        error_change_uncertainty_cents=half_cents,
        setback_now_mm=ModelledEffect(now, pair.setback_mm).best_setback_mm(),
        setback_next_mm=effect.best_setback_mm(),
        saddle_move_mm=effect.move_mm(change_cents),
        saddle_move_uncertainty_mm=effect.move_uncertainty_mm(change_cents, half_cents),
        tension_now_n=pair.now.tension_n,
        tension_next_n=pair.after.tension_n,
    )


def _shares_cents(pair: _Pair, change_cents: float) -> Iterator[float]:
    """What each thing that is not known well can change the change by, half-widths."""
    for now, after in _other_kappas(pair):
        yield pair.change_cents(now, after) - change_cents
    now, after = pair.now.string, pair.after.string
    yield max(abs(pair.change_cents(now, after, ends) - change_cents) for ends in _OTHER_ENDS)
    if not (pair.now.heights_given and pair.after.heights_given):
        shares = (1 - HEIGHTS_UNCERTAINTY, 1 + HEIGHTS_UNCERTAINTY)
        lower_and_higher = [
            pair.change_cents(_raised(now, share), _raised(after, share)) for share in shares
        ]
        yield max(abs(each - change_cents) for each in lower_and_higher)


def _other_kappas(pair: _Pair) -> Iterator[tuple[FrettedString, FrettedString]]:
    """Strings whose kappa is off by its half-width: both alike where a handbook's modulus is."""
    now_share = 1 + pair.now.kappa_uncertainty / pair.now.string.kappa
    after_share = 1 + pair.after.kappa_uncertainty / pair.after.string.kappa
    other_now = pair.now.with_kappa(pair.now.string.kappa * now_share)
    other_after = pair.after.with_kappa(pair.after.string.kappa * after_share)
    if pair.now.kappa_source == pair.after.kappa_source == "modulus":
        yield other_now, other_after
    else:
        yield other_now, pair.after.string
        yield pair.now.string, other_after


def _raised(string: FrettedString, share: float) -> FrettedString:
    return replace(
        string, height_nut_mm=share * string.height_nut_mm, rise_mm=share * string.rise_mm
    )
