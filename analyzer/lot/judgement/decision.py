"""Conform, not conform or not decided: for a measured value, and for a whole instrument.

ISO 14253-1's rule: who says that an instrument conforms must prove it, and so must who says that it
does not; between the two lies what the measurement does not decide. The guard bands are those of
``conformity``. Under shared risk the value alone decides, and only what was not measured is not
decided.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Literal, get_args

import numpy as np

from analyzer.lot.judgement.conformity import (
    GuardBands,
    conformity_probability,
    guard_bands,
    simple_acceptance,
)
from analyzer.lot.judgement.measurement import Measurement, NoteSpread, measurements
from analyzer.lot.judgement.specification import (
    IN_WORDS,
    Characteristic,
    DecisionRule,
    Limits,
    Specification,
)
from analyzer.lot.judgement.uncertainty import Uncertainty
from analyzer.report.model import Report

Verdict = Literal["conform", "not conform", "not decided"]
VERDICTS: tuple[Verdict, ...] = get_args(Verdict)
_NOTHING_JUDGED = (
    "The specification has no limits for any string of this instrument. Add them to lot.toml, or "
    "mend the numbers of the strings."
)


@dataclass(frozen=True)
class Decision:
    """What is decided of one characteristic of one string, and from what.

    ``uncertainty`` has a standard uncertainty in its two parts; what is not known is None.
    ``bands`` holds the acceptance and rejection limits. ``conformity_probability``: that the true
    value keeps the limits, given the measured one.
    ``more_takes``: of each note that goes into the value, 0 where none are needed, None where
    none would settle it or nobody can say.
    """

    characteristic: Characteristic
    string: int
    limits: Limits
    verdict: Verdict
    reason: str
    value_cents: float | None = None
    uncertainty: Uncertainty | None = None
    bands: GuardBands | None = None
    conformity_probability: float | None = None
    more_takes: int | None = 0

    @property
    def named(self) -> str:
        """What is decided, in words: ``string 3, 12th-fret error``."""
        return f"string {self.string}, {IN_WORDS[self.characteristic]}"


@dataclass(frozen=True)
class InstrumentDecision:
    """What is decided of an instrument from all that is judged of it.

    ``conformity_probability``: that it keeps every limit, as the product over ``decisions``, as
    if their uncertainties had nothing in common; None where one of them has none.
    ``more_takes``: of each note that is not decided, None where that would not settle it.
    """

    verdict: Verdict
    reason: str
    decisions: tuple[Decision, ...]
    conformity_probability: float | None
    more_takes: int | None


def decide_instrument(report: Report, specification: Specification) -> InstrumentDecision:
    """Decide everything that the specification judges of an instrument."""
    measured = {
        (each.characteristic, each.string): each for each in measurements(report, specification)
    }
    strings = tuple(each.string for each in report.strings)
    return combine(
        decide(measured[characteristic, string], limits, specification.rule)
        for characteristic, string, limits in specification.judged(strings)
    )


def combine(decisions: Iterable[Decision]) -> InstrumentDecision:
    """One value that does not conform is enough; else one that is not decided."""
    every = tuple(decisions)
    failed = [each for each in every if each.verdict == "not conform"]
    waiting = [each for each in every if each.verdict == "not decided"]
    known = [each.conformity_probability for each in every]
    probability = None
    if every and None not in known:
        probability = math.prod(each for each in known if each is not None)
    if failed:
        return InstrumentDecision("not conform", _listed(failed), every, probability, 0)
    if waiting:
        takes = [each.more_takes for each in waiting]
        most = None if None in takes else max(each for each in takes if each is not None)
        return InstrumentDecision("not decided", _listed(waiting), every, probability, most)
    if not every:
        return InstrumentDecision("not decided", _NOTHING_JUDGED, (), None, None)
    return InstrumentDecision("conform", "Every limit is kept.", every, probability, 0)


def _listed(decisions: Sequence[Decision]) -> str:
    """What lacks a value first, then the furthest off: lists may show only the beginning."""
    return " ".join(each.reason for each in sorted(decisions, key=_way, reverse=True))


def _way(decision: Decision) -> float:
    if decision.value_cents is None:
        return math.inf
    return float(decision.limits.way(np.array([decision.value_cents]))[0])


def decide(measurement: Measurement, limits: Limits, rule: DecisionRule) -> Decision:
    """Decide one measured value; ``reason`` says in words what was decided and why."""
    value, uncertainty = measurement.value_cents, measurement.uncertainty
    not_decided = Decision(
        measurement.characteristic, measurement.string, limits, "not decided", "", more_takes=None
    )
    if value is None or (uncertainty is None and rule.kind == "guarded"):
        return _with_reason(replace(not_decided, value_cents=value), measurement.reason or "")
    found = replace(not_decided, value_cents=value, bands=bands_of(measurement, limits, rule))
    if uncertainty is not None:
        probability = conformity_probability(value, uncertainty, limits)
        found = replace(found, uncertainty=uncertainty, conformity_probability=probability)
    verdict = verdict_of(measurement, limits, rule)
    if verdict != "not decided":
        found = replace(found, verdict=verdict, more_takes=0)
        return _with_reason(found, _decided_in_words(found, rule))
    found = replace(found, more_takes=more_takes(measurement, limits, rule))
    return _with_reason(found, _open_in_words(found, measurement, rule))


def bands_of(measurement: Measurement, limits: Limits, rule: DecisionRule) -> GuardBands:
    """The acceptance and rejection limits for a value that is as sure as this one."""
    uncertainty = measurement.uncertainty
    if rule.kind == "shared risk" or uncertainty is None:
        return simple_acceptance(limits)
    return guard_bands(limits, uncertainty, rule.confidence)


def verdict_of(measurement: Measurement, limits: Limits, rule: DecisionRule) -> Verdict:
    """The verdict alone, on a value that is there; under shared risk outside is not conform."""
    value = measurement.value_cents
    if value is None:
        return "not decided"
    bands = bands_of(measurement, limits, rule)
    if bands.accepts(value):
        return "conform"
    return "not conform" if bands.rejects(value) else "not decided"


def more_takes(measurement: Measurement, limits: Limits, rule: DecisionRule) -> int | None:
    """How many more takes of each note would decide the value if it stayed where it is.

    From 1 to the rule's most; None where these are not enough. The scatter from take to take is
    taken to stay as well; what takes cannot shrink remains.
    """
    for takes in range(1, rule.most_more_takes + 1):
        if verdict_of(measurement.with_more_takes(takes), limits, rule) != "not decided":
            return takes
    return None


def never_settled(measurement: Measurement, limits: Limits, rule: DecisionRule) -> bool:
    """Whether what no take can shrink is enough to leave the value open."""
    left = replace(measurement, notes=(NoteSpread(1, 0.0, 0.0),))
    return verdict_of(left, limits, rule) == "not decided"


def _with_reason(decision: Decision, why: str) -> Decision:
    return replace(decision, reason=f"{decision.named[0].upper()}{decision.named[1:]}: {why}")


def _decided_in_words(decision: Decision, rule: DecisionRule) -> str:
    value, limits, bands = decision.value_cents, decision.limits, decision.bands
    inside = decision.verdict == "conform"
    if rule.kind == "shared risk" or bands is None:
        where = "within" if inside else "outside"
        return f"{value:+.2f} cents is {where} the limits, {limits} cents (shared risk)."
    if inside:
        return (
            f"{value:+.2f} cents conforms, being within the acceptance limits, {bands.acceptance} "
            f"cents (limits {limits})."
        )
    return (
        f"{value:+.2f} cents does not conform, being beyond the rejection limits, "
        f"{bands.rejection} cents (limits {limits})."
    )


def _open_in_words(decision: Decision, measurement: Measurement, rule: DecisionRule) -> str:
    words = (
        f"{decision.value_cents:+.2f} cents cannot be decided against limits of "
        f"{decision.limits} cents with a standard uncertainty of "
        f"{_standard(decision):.2f} cents; it conforms with a probability of "
        f"{100 * (decision.conformity_probability or 0.0):.0f} %. "
    )
    if decision.more_takes is not None:
        notes = "both notes" if len(measurement.notes) > 1 else "the note"
        return f"{words}Record {_counted(decision.more_takes)} of {notes} at the same station."
    if never_settled(measurement, decision.limits, rule):
        return (
            f"{words}More takes cannot settle it: {measurement.reproducibility_cents:.2f} cents of "
            "that no take can lessen. Adjust the string and record it again, or decide by hand."
        )
    return (
        f"{words}More than {_counted(rule.most_more_takes)} would be needed to settle it. Adjust "
        "the string and record it again, or decide by hand."
    )


def _standard(decision: Decision) -> float:
    return 0.0 if decision.uncertainty is None else decision.uncertainty.standard_cents


def _counted(takes: int) -> str:
    return f"{takes} more take{'s' * (takes > 1)}"
