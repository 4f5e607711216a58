"""Frames of invented lots, as the store gives them, made by hand: no recording stands behind them.

Verdicts follow from the values by a guard band of 1.645 u (normal, 95 %; JCGM 106:2012), without
the program's own rule.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from scipy.special import ndtr

from analyzer.lot.judgement.specification import (
    IN_WORDS,
    Characteristic,
    Limits,
    Requirement,
    Specification,
)
from analyzer.lot.records import LEFT_OUT_COLUMNS, SESSION_COLUMNS, VALUE_COLUMNS, Fault
from analyzer.lot.summing.summary import summarise
from analyzer.lot.summing.summary_model import LotSummary

LIMIT_CENTS, GUARD = 5.0, 1.645
STRINGS = (6, 5, 4, 3, 2, 1)
SPECIFICATION = Specification("Heron six-string", error=Requirement(Limits(-5.0, 5.0)))
BOTH = Specification(
    "Heron six-string",
    error=Requirement(Limits(-5.0, 5.0)),
    sustain_drift=Requirement(Limits(-9.0, 3.0, -2.0), take_scatter_cents=0.3),
)
FIRST = pd.Timestamp("2031-02-03 07:30")


@dataclass(frozen=True)
class Made:
    """The three frames and what belongs to them."""

    sessions: pd.DataFrame
    values: pd.DataFrame
    left_out: pd.DataFrame
    specification: Specification
    faults: tuple[Fault, ...] = ()
    warnings: tuple[str, ...] = ()

    @property
    def summary(self) -> LotSummary:
        return summarise(
            self.sessions,
            self.values,
            self.left_out,
            self.specification,
            self.faults,
            self.warnings,
        )


@dataclass(frozen=True)
class Process:
    """How the instruments of a lot are: ``mean_cents`` of each, by its place in the lot."""

    mean_cents: Callable[[np.ndarray], np.ndarray] = lambda place: 0.3 + 0 * place
    sd_cents: float = 1.1
    uncertainty_cents: float = 0.4
    stations: Sequence[str] = ("Line 1", "Line 2")
    operators: Sequence[str] = ("Ada", "Ben", "Cleo")
    minutes_apart: float = 6.0
    missing: Mapping[int, int] = field(default_factory=dict)  # place -> string without a value


def lot_of(
    count: int,
    process: Process = Process(),
    specification: Specification = SPECIFICATION,
    serials: Sequence[str] = (),
    repeats: int = 0,
    seed: int = 7,
) -> Made:
    """So many instruments; the first ten have ``repeats`` more sessions by every operator."""
    rng = np.random.default_rng(seed)
    names = list(serials) or [f"HS-{number:05d}" for number in range(1, count + 1)]
    at = [(place, 1, int(rng.integers(len(process.operators)))) for place in range(count)]
    at += [
        (place, 1 + repeat, operator)
        for repeat in range(1, repeats + 1)
        for operator in range(len(process.operators))
        for place in range(min(10, count))
    ]
    place, repeat, operator = np.array(at).T
    sessions = pd.DataFrame({
        "analysis": np.arange(1, len(at) + 1),
        "serial": [names[each] for each in place],
        "station": [process.stations[each % len(process.stations)] for each in place],
        "operator": [process.operators[each] for each in operator],
        "repeat": repeat,
    })  # fmt: skip
    minutes = np.arange(len(at)) * process.minutes_apart
    sessions["recorded_at"] = FIRST + pd.to_timedelta(minutes, unit="min")
    sessions["recorded_s"] = (sessions["recorded_at"] - pd.Timestamp(0)).dt.total_seconds()
    sessions["latest"] = ~sessions.duplicated("serial", keep="last")
    values = _values(sessions, place, process, specification, rng)
    return Made(_judged(sessions, values), values, left_out_frame(), specification)


def left_out_frame(*rows: Mapping[str, object]) -> pd.DataFrame:
    return pd.DataFrame(list(rows), columns=list(LEFT_OUT_COLUMNS))


def _values(sessions, place, process, specification, rng) -> pd.DataFrame:
    count = len(sessions)
    of_string = rng.normal(0, process.sd_cents, (int(place.max()) + 1, len(STRINGS)))
    frames = []
    for characteristic, string, limits in specification.judged(STRINGS):
        true = process.mean_cents(place) + limits.target_cents + of_string[place, 6 - string]
        frame = sessions[list(VALUE_COLUMNS[:8])].copy()
        frame["string"], frame["characteristic"] = string, characteristic
        frame["value_cents"] = true + rng.normal(0, process.uncertainty_cents, count)
        frame["standard_uncertainty_cents"] = process.uncertainty_cents
        gone = np.array([process.missing.get(each) == string for each in place])
        frame.loc[gone, ["value_cents", "standard_uncertainty_cents"]] = np.nan
        frames.append(_decided(frame, characteristic, string, limits))
    return pd.concat(frames, ignore_index=True)[list(VALUE_COLUMNS)]


def _decided(
    frame: pd.DataFrame, characteristic: Characteristic, string: int, limits: Limits
) -> pd.DataFrame:
    low, high = limits.lower_cents, limits.upper_cents
    assert low is not None
    assert high is not None
    value, u = frame["value_cents"], frame["standard_uncertainty_cents"]
    frame["lower_cents"], frame["upper_cents"] = low, high
    frame["target_cents"] = limits.target_cents
    inside = (value >= low + GUARD * u) & (value <= high - GUARD * u)
    outside = (value <= low - GUARD * u) | (value >= high + GUARD * u)
    frame["verdict"] = np.select([inside, outside], ["conform", "not conform"], "not decided")
    frame["conformity_probability"] = ndtr((high - value) / u) - ndtr((low - value) / u)
    frame["more_takes"] = np.where(inside | outside, 0, 3.0)
    frame.loc[value.isna(), "more_takes"] = np.nan
    name = f"String {string}, {IN_WORDS[characteristic]}"
    frame["reason"] = [
        f"{name}: no take of the 12th-fret note is usable. Record it again."
        if np.isnan(cents)
        else f"{name}: {cents:+.2f} cents: {verdict} (limits {limits})."
        for cents, verdict in zip(value, frame["verdict"], strict=True)
    ]
    return frame


def _judged(sessions: pd.DataFrame, values: pd.DataFrame) -> pd.DataFrame:
    grouped = values.groupby("analysis")
    failed = grouped["verdict"].agg(lambda each: (each == "not conform").any())
    left = grouped["verdict"].agg(lambda each: (each == "not decided").any())
    verdict = np.select([failed, left], ["not conform", "not decided"], "conform")
    counted = values[values["verdict"] == verdict[values["analysis"] - 1]]
    reasons = counted.groupby("analysis")["reason"].agg(" ".join)
    frame = sessions.assign(
        analyzed_at=sessions["recorded_at"] + pd.Timedelta(minutes=1),
        instrument="Heron six-string",
        place="lot/" + sessions["serial"],
        recordings=12,
        left_out=0,
        strings=len(STRINGS),
        strings_measured=len(STRINGS),
        verdict=verdict,
        reason=reasons.reindex(sessions["analysis"]).to_numpy(),
        conformity_probability=grouped["conformity_probability"].prod().to_numpy(),
        more_takes=grouped["more_takes"].max().to_numpy(),
    )
    frame.loc[frame["verdict"] == "conform", "reason"] = "Every limit is kept."
    frame.loc[frame["verdict"] != "not decided", "more_takes"] = 0
    return frame[list(SESSION_COLUMNS)]
