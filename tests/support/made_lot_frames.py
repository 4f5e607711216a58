"""Frames of lots as the store gives them, from values that are known. Everything is invented."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from analyzer.lot.judgement.decision import combine, decide
from analyzer.lot.judgement.measurement import Measurement, NoteSpread
from analyzer.lot.judgement.specification import Limits, Requirement, Specification, Subgroups
from analyzer.lot.output.summary_json import as_json
from analyzer.lot.records import LEFT_OUT_COLUMNS, SESSION_COLUMNS, VALUE_COLUMNS
from analyzer.lot.summing.summary import summarise
from analyzer.lot.summing.summary_model import LotSummary

START_S = 1_927_000_000.0  # 2031-01-24, 05:46:40 UTC
DAY_S = 86_400.0


@dataclass(frozen=True)
class Made:
    """One session: ``cents`` by (characteristic, string), NaN where nothing was measured."""

    serial: str
    cents: dict[tuple[str, int], float]
    u: float = 0.1
    station: str = ""
    operator: str = ""
    repeat: int = 1
    at_s: float = math.nan
    latest: bool = True
    recordings: int = 4
    left_out: int = 0
    why: str = "No usable open recording. Record s6_open_1.wav."
    reason: str = ""


@dataclass(frozen=True)
class Frames:
    sessions: pd.DataFrame
    judged: pd.DataFrame
    left_out: pd.DataFrame = field(
        default_factory=lambda: pd.DataFrame(columns=list(LEFT_OUT_COLUMNS))
    )

    def summary(self, specification: Specification, **more: Any) -> LotSummary:
        return summarise(self.sessions, self.judged, self.left_out, specification, **more)


def specification(
    lower=-3.0, upper=3.0, target=0.0, size=5, by="count", **more: Any
) -> Specification:
    """All that is judged has the same limits."""
    asked = Requirement(Limits(lower, upper, target))
    subgroups = Subgroups(by, size if by == "count" else None)
    return Specification("week 12", asked, asked, asked, subgroups=subgroups, **more)


def frames(made: Sequence[Made], spec: Specification) -> Frames:
    """Decided as the program decides; the uncertainty of a value counts as known."""
    sessions, values = [], []
    for number, each in enumerate(made, 1):
        decisions = [
            decide(_measured(each, name, string), _limits(spec, name, string), spec.rule)
            for name, string in each.cents
        ]
        whole = combine(decisions)
        common = {
            "analysis": number,
            "serial": each.serial,
            "station": each.station,
            "operator": each.operator,
            "repeat": each.repeat,
            "recorded_at": pd.to_datetime(each.at_s, unit="s"),
            "recorded_s": each.at_s,
            "latest": each.latest,
        }
        strings = {string for _, string in each.cents}
        sessions.append(
            {
                **common,
                "analyzed_at": pd.Timestamp("2031-02-01"),
                "instrument": "six-string",
                "place": each.serial,
                "recordings": each.recordings,
                "left_out": each.left_out,
                "strings": len(strings),
                "strings_measured": len(strings),
                "verdict": whole.verdict,
                "reason": each.reason or whole.reason,
                "conformity_probability": _number(whole.conformity_probability),
                "more_takes": _number(whole.more_takes),
            }
        )
        values.extend({**common, **_row(decision)} for decision in decisions)
    return Frames(
        pd.DataFrame(sessions, columns=list(SESSION_COLUMNS)),
        pd.DataFrame(values, columns=list(VALUE_COLUMNS)),
    )


def left_out(*reasons: str) -> pd.DataFrame:
    rows = [(1, "a", "", "", f"{n}.wav", 1, "open", each) for n, each in enumerate(reasons)]
    return pd.DataFrame(rows, columns=list(LEFT_OUT_COLUMNS))


def _limits(spec: Specification, name, string) -> Limits:
    requirement = spec.requirement(name)
    assert requirement is not None
    limits = requirement.of_string(string)
    assert limits is not None
    return limits


def _measured(each: Made, name, string) -> Measurement:
    cents = each.cents[name, string]
    if math.isnan(cents):
        return Measurement(name, string, None, reason=each.why)
    return Measurement(name, string, cents, (NoteSpread(1, 0.0, each.u**2),))


def _row(decision) -> dict:
    u = decision.uncertainty
    return {
        "string": decision.string,
        "characteristic": decision.characteristic,
        "value_cents": _number(decision.value_cents),
        "standard_uncertainty_cents": math.nan if u is None else u.standard_cents,
        "lower_cents": _number(decision.limits.lower_cents),
        "upper_cents": _number(decision.limits.upper_cents),
        "target_cents": decision.limits.target_cents,
        "verdict": decision.verdict,
        "conformity_probability": _number(decision.conformity_probability),
        "more_takes": _number(decision.more_takes),
        "reason": decision.reason,
    }


def _number(value) -> float:
    return math.nan if value is None else float(value)


def shuffled(found: Frames, seed=4) -> Frames:
    """The same rows as a store may give them, in any order."""
    return Frames(
        found.sessions.sample(frac=1, random_state=seed),
        found.judged.sample(frac=1, random_state=seed),
    )


def study_of(table, by="operator", strings=1) -> list[dict]:
    """Of an array (parts, operators, repeats): each string of an instrument has the same values."""
    spec = specification(-20.0, 20.0)
    made = [
        Made(
            f"part {part}",
            {("error_cents", string): float(value) for string in range(1, strings + 1)},
            **{by: f"{by} {who}"},
            repeat=repeat + 1,
            at_s=START_S + 1000 * repeat + part,
            latest=(who, repeat) == (table.shape[1] - 1, table.shape[2] - 1),
        )
        for (part, who, repeat), value in np.ndenumerate(table)
    ]
    summary = shuffled(frames(made, spec)).summary(spec)
    assert summary.counts.sessions == table.size
    assert summary.counts.instruments == table.shape[0]
    return json.loads(as_json(summary))["gauge"]["studies"]
