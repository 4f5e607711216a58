"""One characteristic of one string over the lot: its yield, capability, guard bands and risk."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
from numpy.typing import NDArray

from analyzer.lot.judgement.conformity import (
    GuardBands,
    guard_bands,
    measurement_capability_index,
    simple_acceptance,
)
from analyzer.lot.judgement.risk import global_risk, process_of
from analyzer.lot.judgement.specification import Characteristic, DecisionRule, Limits
from analyzer.lot.judgement.uncertainty import Uncertainty
from analyzer.lot.statistics.capability import FEWEST_VALUES, Capability, capability
from analyzer.lot.statistics.figure import Figure, NotGiven
from analyzer.lot.statistics.moments import moments
from analyzer.lot.statistics.shares import conforming_share
from analyzer.lot.statistics.spread import Spread
from analyzer.lot.statistics.tolerance import Tolerance
from analyzer.lot.summing.arrays import LotArrays, Values, tally
from analyzer.lot.summing.summary_model import (
    ControlCharts,
    JudgedString,
    MeasuringShare,
    ProcessRisk,
)

_SHARE = (
    "observed variance less the mean square of the standard uncertainties, as if all of these "
    "scattered from instrument to instrument"
)
_RISK = (
    "global risks (JCGM 106:2012, 9.5), normal process, normal error of measurement with the "
    "median standard uncertainty"
)
_PROCESS_PP = "Pp of the process alone, without the measurement's scatter"
_NOTHING_LEFT = (
    "the values scatter no more than their uncertainties: nothing is left to the process"
)
_Spreads = Mapping[tuple[Characteristic, int | None], Spread | NotGiven]


def judged_strings(
    lot: LotArrays, rule: DecisionRule, control: ControlCharts
) -> tuple[JudgedString, ...]:
    """Everything that is judged; the scatter within subgroups is that of the charts."""
    spreads = {
        (each.characteristic, each.string): each.charts
        if isinstance(each.charts, NotGiven)
        else each.charts.process.spread
        for each in control.charts
        if each.charted == "string"
    }
    return tuple(string for each in lot.judged for string in _strings(each, rule, spreads))


def tolerance_of(limits: Limits) -> Tolerance:
    """The specification's limits as the statistics take them."""
    return Tolerance(limits.lower_cents, limits.upper_cents, limits.target_cents)


def _strings(values: Values, rule: DecisionRule, spreads: _Spreads) -> Iterator[JudgedString]:
    for place, (string, limits) in enumerate(zip(values.strings, values.limits, strict=True)):
        cents, verdicts = values.cents[:, place], values.verdicts[:, place]
        conform, not_conform, not_decided = tally(verdicts)
        uncertainties = values.uncertainties[:, place]
        known = np.isfinite(uncertainties) & np.isfinite(cents)
        median = float(np.median(uncertainties[known])) if np.any(known) else None
        bands = None if median is None else _bands(limits, median, rule)
        within = spreads[values.characteristic, string]
        found = capability(cents, tolerance_of(limits), within)
        yield JudgedString(
            values.characteristic,
            string,
            limits,
            conform,
            not_conform,
            not_decided,
            int(np.sum(values.missing[:, place])),
            conforming_share(conform, conform + not_conform),
            median,
            bands,
            found,
            _measuring(cents[known], uncertainties[known], limits),
            _risk(cents[known], uncertainties[known], limits, bands, found),
        )


def _bands(limits: Limits, uncertainty_cents: float, rule: DecisionRule) -> GuardBands:
    if rule.kind == "shared risk":
        return simple_acceptance(limits)
    return guard_bands(limits, Uncertainty(uncertainty_cents), rule.confidence)


def _measuring(
    cents: NDArray[np.float64], uncertainties: NDArray[np.float64], limits: Limits
) -> MeasuringShare | NotGiven:
    """Of values that each have an uncertainty."""
    if reason := _too_few(cents):
        return NotGiven(_SHARE, reason)
    observed = moments(cents).sd or 0.0
    measuring = float(np.sqrt(np.mean(uncertainties**2)))
    process = process_of(cents, uncertainties).deviation_cents
    return MeasuringShare(
        _SHARE,
        observed,
        measuring,
        process,
        100 * min(1.0, (measuring / observed) ** 2) if observed else 100.0,
        measurement_capability_index(limits, float(np.median(uncertainties))),
        _process_pp(tolerance_of(limits), process),
    )


def _process_pp(tolerance: Tolerance, process_sd: float) -> Figure:
    if tolerance.width is None:
        return Figure(_PROCESS_PP, reason="one limit only; Ppk judges by one")
    if process_sd == 0:
        return Figure(_PROCESS_PP, reason=_NOTHING_LEFT)
    no_interval = "none: it rests on the stated uncertainties as well"
    return Figure(_PROCESS_PP, tolerance.width / (6 * process_sd), interval_method=no_interval)


def _risk(
    cents: NDArray[np.float64],
    uncertainties: NDArray[np.float64],
    limits: Limits,
    bands: GuardBands | None,
    found: Capability,
) -> ProcessRisk | NotGiven:
    reason = _too_few(cents)
    if reason or bands is None:
        return NotGiven(_RISK, reason or "no uncertainty is known")
    process = process_of(cents, uncertainties)
    cautions = [found.ppk.caution, None if process.deviation_cents else _NOTHING_LEFT]
    return ProcessRisk(
        _RISK,
        process,
        global_risk(process, limits, bands, float(np.median(uncertainties))),
        "; ".join(filter(None, cautions)) or None,
    )


def _too_few(cents: NDArray[np.float64]) -> str | None:
    if len(cents) >= FEWEST_VALUES:
        return None
    return f"{len(cents)} values with an uncertainty; {FEWEST_VALUES} are the least"
