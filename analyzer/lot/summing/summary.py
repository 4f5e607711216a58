"""From the frames of a lot to its summary: what was decided, and how the process fares."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from analyzer.lot.judgement.decision import VERDICTS
from analyzer.lot.judgement.risk import lot_risk
from analyzer.lot.judgement.specification import DecisionRule, Specification
from analyzer.lot.records import Fault
from analyzer.lot.statistics.shares import conforming_share
from analyzer.lot.summing.arrays import NOT_DECIDED, LotArrays, lot_arrays, moment, tally
from analyzer.lot.summing.causes import causes
from analyzer.lot.summing.control import control_charts
from analyzer.lot.summing.gauge import gauge_studies
from analyzer.lot.summing.groups import group_tables, station_trends
from analyzer.lot.summing.strings import judged_strings
from analyzer.lot.summing.summary_model import Counts, LotSummary, Span
from analyzer.lot.summing.takes import more_takes

_RISK = (
    "specific risks (JCGM 106:2012, 9.3), the mean over the instruments, their limits as if "
    "independent"
)


def summarise(
    sessions: pd.DataFrame,
    values: pd.DataFrame,
    left_out: pd.DataFrame,
    specification: Specification,
    faults: Sequence[Fault] = (),
    warnings: Sequence[str] = (),
) -> LotSummary:
    """The summary of a lot.

    ``sessions``, ``values`` and ``left_out`` have the columns that ``analyzer.lot.records`` names,
    and may be empty. ``faults`` could not become sessions; ``warnings`` are passed on.
    """
    lot = lot_arrays(sessions, values)
    control = control_charts(lot, specification.subgroups)
    counts = _counts(sessions, lot, len(faults))
    verdicts = [VERDICTS[code] for code in lot.instruments["verdict"]]
    return LotSummary(
        name=specification.name,
        counts=counts,
        span=_span(lot.instruments),
        conforming_share=conforming_share(counts.conform, counts.conform + counts.not_conform),
        rule=specification.rule,
        rule_in_words=_in_words(specification.rule),
        risk=lot_risk(verdicts, lot.instruments["conformity_probability"]),
        risk_method=_RISK,
        more_takes=more_takes(lot, values),
        judged=judged_strings(lot, specification.rule, control),
        control=control,
        causes=causes(lot, values, left_out),
        groups=group_tables(lot),
        trends=station_trends(lot),
        gauge=gauge_studies(sessions, values),
        faults=tuple(faults),
        warnings=tuple(warnings),
    )


def _counts(sessions: pd.DataFrame, lot: LotArrays, faults: int) -> Counts:
    verdicts = lot.instruments["verdict"].to_numpy()
    conform, not_conform, not_decided = tally(verdicts)
    return Counts(
        len(sessions),
        len(verdicts),
        conform,
        not_conform,
        not_decided,
        int(np.sum((verdicts == NOT_DECIDED) & lot.not_measured)),
        faults,
        int(sessions["recordings"].sum()),
        int(sessions["left_out"].sum()),
        int(lot.instruments["recorded_at"].isna().sum()),
    )


def _span(instruments: pd.DataFrame) -> Span | None:
    first, last = (moment(instruments["recorded_at"].agg(end)) for end in ("min", "max"))
    return None if first is None or last is None else Span(first, last)


def _in_words(rule: DecisionRule) -> str:
    if rule.kind == "shared risk":
        return (
            "The measured value alone decides: inside its limits or on them it conforms, outside "
            "it does not (simple acceptance with shared risk, JCGM 106)."
        )
    return (
        "A value conforms, or does not, where that is proven with a probability of "
        f"{100 * rule.confidence:g} %, and is not decided in between (guard bands after "
        "ISO 14253-1 and JCGM 106). An instrument conforms where all its values do."
    )
