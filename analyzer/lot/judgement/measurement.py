"""From a report to measured values with standard uncertainties: what a decision is made from.

The report's interval is t u with the degrees of freedom of the scatter from pluck to pluck
(``analyzer.strings``). Here u is built again from its parts, whose degrees of freedom are
kept apart, and so that it is known what more takes would make of it:

    u^2 = sum over notes (scatter + own) + reproducibility^2                              (1)

``scatter`` and ``own`` are variances of a note's mean: what comes from pluck to pluck, estimated
from the repeats on top of what is known beforehand, and what each pluck's own fit leaves open. The
latter, and the reproducibility, which is stated, count as known; the report's interval has the
scatter's degrees of freedom for all of it, and is the wider for it. Takes shrink both parts
of a note, and leave the reproducibility as it is.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analyzer.lot.judgement.specification import Characteristic, Requirement, Specification
from analyzer.lot.judgement.uncertainty import Uncertainty
from analyzer.music import cents_between, note_hz
from analyzer.recording.labels import OPEN, TWELFTH_FRET
from analyzer.report.model import RecordingResult, Report, StringResult
from analyzer.strings import Scatter, combine_takes, pluck_scatter, take_shares

# What is recorded for each.
NOTES: dict[Characteristic, tuple[str, ...]] = {
    "error_cents": (OPEN, TWELFTH_FRET),
    "open_pitch_cents": (OPEN,),
    "open_drift_cents": (OPEN,),
    "fretted_drift_cents": (TWELFTH_FRET,),
}
_DRIFTS = frozenset({"open_drift_cents", "fretted_drift_cents"})
_NOT_SURE = (
    "How far its drift strays from take to take is not known. Record two takes or more of each "
    "note, or give take_scatter_cents under [sustain_drift]."
)
_NO_DRIFT = (
    "The drift of this note could not be had. Record it again, with its start and two seconds "
    "after it."
)


@dataclass(frozen=True)
class NoteSpread:
    """The variance of a note's mean over ``takes``, in its two parts, cents squared."""

    takes: int
    scatter: float
    own: float

    def with_more(self, takes: int) -> NoteSpread:
        """The same after so many more takes like these."""
        shrunk = self.takes / (self.takes + takes)
        return NoteSpread(self.takes + takes, self.scatter * shrunk, self.own * shrunk)


@dataclass(frozen=True)
class Measurement:
    """A characteristic of a string as it was measured.

    ``value_cents`` is None where it could not be had, and ``notes`` is empty where its
    uncertainty is not known; ``reason`` then says why. ``scatter_freedom``: the degrees of
    freedom behind the scatter.
    """

    characteristic: Characteristic
    string: int
    value_cents: float | None
    notes: tuple[NoteSpread, ...] = ()
    scatter_freedom: float = math.inf
    reproducibility_cents: float = 0.0
    reason: str | None = None

    @property
    def uncertainty(self) -> Uncertainty | None:
        """Equation (1) in its two parts; None where it is not known."""
        if not self.notes:
            return None
        own = sum(each.own for each in self.notes)
        return Uncertainty(
            math.sqrt(sum(each.scatter for each in self.notes)),
            self.scatter_freedom,
            math.sqrt(own + self.reproducibility_cents**2),
        )

    def with_more_takes(self, takes: int) -> Measurement:
        """What it would be after so many more takes of each note, if the value stays."""
        return replace(
            self,
            notes=tuple(each.with_more(takes) for each in self.notes),
            scatter_freedom=self.scatter_freedom + takes * len(self.notes),
        )


@dataclass(frozen=True)
class _Take:
    settled_hz: float
    settled_uncertainty_cents: float
    sustain_drift_cents: float


_Takes = Mapping[tuple[int, str], Sequence[_Take]]


@dataclass(frozen=True)
class _Heard:
    """The takes that are used, by string and fret, and how they scatter."""

    takes: _Takes
    pitches: Scatter
    drifts: Scatter | None


def measurements(report: Report, specification: Specification) -> tuple[Measurement, ...]:
    """Everything that the specification judges of an instrument, as its report has it."""
    takes = _takes(report.recordings)
    drift = specification.sustain_drift
    notes = list(takes.values())
    stated = None if drift is None else drift.take_scatter_cents
    heard = _Heard(takes, pluck_scatter(notes), drift_scatter(notes, stated))
    by_number = {each.string: each for each in report.strings}
    return tuple(
        _measured(
            characteristic,
            by_number[string],
            heard,
            report.a4_hz,
            specification.requirement(characteristic),
        )
        for characteristic, string, _ in specification.judged(tuple(by_number))
    )


def _measured(
    characteristic: Characteristic,
    string: StringResult,
    heard: _Heard,
    a4_hz: float,
    requirement: Requirement | None,
) -> Measurement:
    value = _value(characteristic, string, a4_hz)
    found = Measurement(characteristic, string.string, value)
    if value is None:
        return replace(found, reason=_why_missing(characteristic, string, heard.takes))
    scatter = heard.drifts if characteristic in _DRIFTS else heard.pitches
    if scatter is None:
        return replace(found, reason=_NOT_SURE)
    spread = _drift_spread if characteristic in _DRIFTS else _pitch_spread
    notes = [heard.takes[string.string, note] for note in NOTES[characteristic]]
    return replace(
        found,
        notes=tuple(spread(takes, heard.pitches, scatter) for takes in notes),
        scatter_freedom=scatter.freedom,
        reproducibility_cents=requirement.reproducibility_cents if requirement else 0.0,
    )


def drift_scatter(notes: Sequence[Sequence[_Take]], known_cents: float | None) -> Scatter | None:
    """How far drifts stray from take to take: as stated, else from all repeats together.

    None where nothing was stated and no note has two takes with a drift. Nothing is known
    beforehand as it is of the pitch; how a string is plucked decides it.
    """
    if known_cents is not None:
        return Scatter(known_cents, math.inf)
    drifts = [[take.sustain_drift_cents for take in takes] for takes in notes]
    known = [np.array(each)[np.isfinite(each)] for each in drifts]
    freedom = sum(len(each) - 1 for each in known if len(each))
    if freedom == 0:
        return None
    squares = sum(float(np.sum((each - np.mean(each)) ** 2)) for each in known if len(each))
    return Scatter(math.sqrt(squares / freedom), float(freedom))


def _pitch_spread(takes: Sequence[_Take], _: Scatter, scatter: Scatter) -> NoteSpread:
    part = scatter.cents**2 * float(np.sum(take_shares(takes, scatter) ** 2))
    whole = combine_takes(takes, scatter).variance
    return NoteSpread(len(takes), part, max(0.0, whole - part))


def _drift_spread(takes: Sequence[_Take], pitches: Scatter, scatter: Scatter) -> NoteSpread:
    """The report's mean drift weighs the takes as it does for the pitch."""
    share = take_shares(takes, pitches)
    share = share[np.isfinite([take.sustain_drift_cents for take in takes])]
    effect = float(np.sum(share**2) / np.sum(share) ** 2)
    return NoteSpread(len(share), scatter.cents**2 * effect, 0.0)


def _value(characteristic: Characteristic, string: StringResult, a4_hz: float) -> float | None:
    if characteristic == "open_pitch_cents":
        hz = string.open_hz
        return None if hz is None else cents_between(note_hz(string.note, a4_hz), hz)
    value: float | None = getattr(string, characteristic)
    return value


def _why_missing(characteristic: Characteristic, string: StringResult, takes: _Takes) -> str:
    if characteristic != "error_cents" and all(
        (string.string, note) in takes for note in NOTES[characteristic]
    ):
        return _NO_DRIFT
    return string.reason or _NO_DRIFT


def _takes(recordings: Sequence[RecordingResult]) -> _Takes:
    """The takes that are used, by string and fret, as the report put them together."""
    found: dict[tuple[int, str], list[_Take]] = {}
    for each in recordings:
        if each.string is None or each.fret is None or each.settled_hz is None:
            continue
        if each.status != "rejected":
            take = _Take(
                each.settled_hz,
                _or(each.settled_uncertainty_cents, math.inf),
                _or(each.sustain_drift_cents, math.nan),
            )
            found.setdefault((each.string, each.fret), []).append(take)
    return found


def _or(value: float | None, otherwise: float) -> float:
    return otherwise if value is None else value
