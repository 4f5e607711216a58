"""Measurement system analysis from the instruments that were measured again.

A part is an instrument, by one string; taken together, every string of every instrument is one. All
sessions count, not the last only. An operator is who recorded; where no two are named, but stations
differ, a station stands for one.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

import numpy as np
import pandas as pd

from analyzer.lot.judgement.specification import IN_WORDS, Characteristic
from analyzer.lot.statistics.figure import NotGiven
from analyzer.lot.statistics.gauge_anova import gauge_anova
from analyzer.lot.statistics.gauge_model import gauge_table
from analyzer.lot.statistics.gauge_range import gauge_range
from analyzer.lot.summing.summary_model import GaugeStudy

_METHOD = "measurement system analysis"
_NOT_REPEATED = (
    "no instrument was measured twice by one operator; give some of them two sessions or more by "
    "each operator, in a table of the lot with repeat"
)
_ALL_STRINGS = "parts are strings of instruments: part to part holds what differs between strings"
_TOGETHER = "operators had stations of their own: what differs between them is that of both"
_OperatorsAre = Literal["operators", "stations", "one operator"]


def gauge_studies(
    sessions: pd.DataFrame, values: pd.DataFrame
) -> tuple[GaugeStudy, ...] | NotGiven:
    """Of each characteristic, string by string and all strings together; or why there is none."""
    repeated = _repeated(sessions)
    if repeated.empty:
        return NotGiven(_METHOD, _NOT_REPEATED)
    column, operators_are = _operators(repeated)
    kept = repeated[["analysis", "serial"]].assign(operator=repeated[column] if column else "")
    needed = ["analysis", "string", "characteristic", "value_cents", "lower_cents", "upper_cents"]
    rows = kept.merge(values.loc[values["analysis"].isin(kept["analysis"]), needed], on="analysis")
    caution = _TOGETHER if operators_are == "operators" and _stations_differ(repeated) else None
    return tuple(
        study
        for each in IN_WORDS
        if len(of := rows[rows["characteristic"] == each])
        for study in _of_characteristic(each, of, operators_are, caution)
    )


def _repeated(sessions: pd.DataFrame) -> pd.DataFrame:
    """The sessions of instruments that one operator at one station measured twice or more."""
    texts = {
        name: sessions[name].astype(object).fillna("").astype(str)
        for name in ("serial", "station", "operator")
    }
    frame = sessions[["analysis", "repeat"]].assign(**texts)
    again = frame.duplicated(["serial", "station", "operator"], keep=False)
    repeated = frame[frame["serial"].isin(frame.loc[again, "serial"])]
    # What is used of uneven repeats must not hang on which of them was stored first.
    return repeated.sort_values(["serial", "operator", "station", "repeat", "analysis"])


def _operators(repeated: pd.DataFrame) -> tuple[str | None, _OperatorsAre]:
    if len(repeated["operator"].unique()) > 1:
        return "operator", "operators"
    if len(repeated["station"].unique()) > 1:
        return "station", "stations"
    return None, "one operator"


def _stations_differ(repeated: pd.DataFrame) -> bool:
    return len(repeated.groupby("operator")["station"].first().unique()) > 1


def _of_characteristic(
    characteristic: Characteristic,
    rows: pd.DataFrame,
    operators_are: _OperatorsAre,
    caution: str | None,
) -> Iterator[GaugeStudy]:
    strings = sorted(rows["string"].unique().tolist(), reverse=True)
    for string in strings:
        own = rows[rows["string"] == string]
        yield _study(characteristic, int(string), own, own["serial"], operators_are, caution)
    if len(strings) > 1:
        parts = rows["serial"] + ", string " + rows["string"].astype(str)
        cautions = "; ".join(filter(None, [_ALL_STRINGS, caution]))
        yield _study(characteristic, None, rows, parts, operators_are, cautions)


def _study(
    characteristic: Characteristic,
    string: int | None,
    rows: pd.DataFrame,
    parts: pd.Series,
    operators_are: _OperatorsAre,
    caution: str | None,
) -> GaugeStudy:
    known = rows["value_cents"].notna()
    whole = _measured_by_all(parts[known], rows.loc[known, "operator"])
    # Where none is whole, the table says what the first of them lacks.
    used = known & parts.isin(whole) if len(whole) > 1 else known
    operators = rows.loc[used, "operator"]
    table = gauge_table(rows.loc[used, "value_cents"], parts[used].tolist(), operators.tolist())
    width = _width(rows)
    return GaugeStudy(
        characteristic,
        string,
        parts[used].nunique(),
        parts.nunique() - parts[used].nunique(),
        tuple(operators.unique()),
        operators_are,
        width,
        table if isinstance(table, NotGiven) else gauge_anova(table, width),
        table if isinstance(table, NotGiven) else gauge_range(table, width),
        caution,
    )


def _measured_by_all(parts: pd.Series, operators: pd.Series) -> list[str]:
    """The parts that every operator has measured twice or more."""
    counts = pd.crosstab(parts, operators)
    return counts.index[(counts > 1).all(axis=1)].tolist()


def _width(rows: pd.DataFrame) -> float | None:
    """Upper less lower limit; None where one is missing or strings differ."""
    widths = (rows["upper_cents"].astype(float) - rows["lower_cents"].astype(float)).unique()
    return float(widths[0]) if len(widths) == 1 and np.isfinite(widths[0]) else None
