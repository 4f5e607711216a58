"""What is to be recorded again so that an instrument can be decided."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
import pandas as pd

from analyzer.lot.judgement.measurement import NOTES
from analyzer.lot.summing.arrays import NOT_DECIDED, LotArrays
from analyzer.lot.summing.summary_model import MoreTakes, MoreTakesOf

_METHOD = (
    "recordings of each note that would settle every value that is not decided, if values and "
    "scatter stay; a note that several values share is counted once"
)


def more_takes(lot: LotArrays, values: pd.DataFrame) -> MoreTakes:
    """For each instrument that is not decided; ``values`` as in ``analyzer.lot.records``."""
    not_decided = lot.instruments[lot.instruments["verdict"] == NOT_DECIDED]
    of = tuple(_of_each(not_decided, _recordings(values, not_decided["analysis"])))
    settled = [each.recordings for each in of if each.recordings is not None]
    return MoreTakes(_METHOD, sum(settled), len(settled), len(of) - len(settled), of)


def _of_each(not_decided: pd.DataFrame, recordings: Mapping[int, float]) -> Iterator[MoreTakesOf]:
    for analysis, serial, station in not_decided[["analysis", "serial", "station"]].itertuples(
        index=False
    ):
        count = recordings.get(analysis, np.nan)
        yield MoreTakesOf(serial, station, int(count) if count > 0 else None)


def _recordings(values: pd.DataFrame, analyses: pd.Series) -> Mapping[int, float]:
    """By analysis, NaN where something in it cannot be settled."""
    columns = ["analysis", "string", "characteristic", "more_takes"]
    rows = values.loc[
        (values["verdict"] == "not decided") & values["analysis"].isin(analyses), columns
    ].reset_index(drop=True)
    rows["takes"] = pd.to_numeric(rows["more_takes"]).astype(float)
    hopeless = rows.loc[rows["takes"].isna(), "analysis"].unique()
    rows["note"] = rows["characteristic"].astype(object).map({k: list(v) for k, v in NOTES.items()})
    notes = rows.explode("note").groupby(["analysis", "string", "note"], observed=True)["takes"]
    total = notes.max().groupby("analysis").sum()
    total.loc[total.index.isin(hopeless)] = np.nan
    return dict(zip(total.index.tolist(), total.tolist(), strict=True))
