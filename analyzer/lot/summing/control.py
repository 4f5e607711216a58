"""Control charts of a lot: each string, and the mean and the farthest string of instruments."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analyzer.lot.judgement.specification import Subgroups
from analyzer.lot.statistics.charts import ChartPair, individuals_charts, mean_charts
from analyzer.lot.statistics.constants import SMALLEST_SUBGROUP
from analyzer.lot.statistics.figure import NotGiven
from analyzer.lot.statistics.groups import PERIODS
from analyzer.lot.statistics.run_rules import (
    BEYOND_LIMITS,
    ZONE_RULES,
    ZONE_TESTS_RUN_LENGTH,
    violations,
)
from analyzer.lot.statistics.subgroups import means_of, subgroups_by_code
from analyzer.lot.summing.arrays import LotArrays, Values, moment
from analyzer.lot.summing.summary_model import (
    Charted,
    ChartOf,
    ControlCharts,
    Subgrouping,
    SubgroupOf,
)

# The range serves to about 10 values, beyond which s wastes less of them (common practice).
LARGEST_FOR_RANGE = 10


@dataclass(frozen=True)
class _Codes:
    """For each instrument the place of its subgroup among the ``labels``, -1 for none."""

    of: NDArray[np.int64]
    labels: tuple[str, ...]


def control_charts(lot: LotArrays, subgroups: Subgroups) -> ControlCharts:
    """The charts of everything that is judged, by what the specification says of subgroups."""
    codes = _codes(lot.instruments, subgroups)
    charts = tuple(chart for each in lot.judged for chart in _of(each, codes))
    return ControlCharts(
        Subgrouping(
            subgroups.by,
            _in_words(subgroups),
            tuple(_described(lot.instruments, codes)),
            int(np.sum(codes.of < 0)),
        ),
        ZONE_RULES,
        charts,
        sum(map(_by_chance, charts)),
    )


def _of(values: Values, codes: _Codes) -> Iterator[ChartOf]:
    for place, string in enumerate(values.strings):
        yield _chart(values, "string", string, values.cents[:, place], codes)
    if len(values.strings) > 1:
        yield _chart(values, "mean of strings", None, values.means_cents, codes)
        yield _chart(values, "farthest string", None, values.farthest_cents, codes)


def _chart(
    values: Values,
    charted: Charted,
    string: int | None,
    cents: NDArray[np.float64],
    codes: _Codes,
) -> ChartOf:
    pair = _pair(cents, codes)
    if isinstance(pair, NotGiven):
        return ChartOf(values.characteristic, charted, string, pair)
    rules = (BEYOND_LIMITS,) if charted == "farthest string" else ZONE_RULES
    return ChartOf(
        values.characteristic,
        charted,
        string,
        pair,
        violations(pair.location, rules),
        violations(pair.scatter, rules),
    )


def _pair(cents: NDArray[np.float64], codes: _Codes) -> ChartPair | NotGiven:
    """By what the subgroups' sizes allow: individuals, ranges, or standard deviations."""
    found = subgroups_by_code(cents, codes.of, codes.labels)
    if not found:
        return NotGiven("control charts", "no value to chart")
    largest = max(each.size for each in found)
    if largest < SMALLEST_SUBGROUP:
        return individuals_charts(means_of(found), [each.label for each in found])
    return mean_charts(found, "range" if largest <= LARGEST_FOR_RANGE else "sd")


def _by_chance(chart: ChartOf) -> float:
    """About how many of its signals chance alone would give."""
    if isinstance(chart.charts, NotGiven):
        return 0.0
    beyond = BEYOND_LIMITS.false_alarm
    rate = beyond if chart.charted == "farthest string" else 1 / ZONE_TESTS_RUN_LENGTH
    return rate * len(chart.charts.location.points) + beyond * len(chart.charts.scatter.points)


def _codes(instruments: pd.DataFrame, subgroups: Subgroups) -> _Codes:
    if subgroups.by == "count":
        size = subgroups.size or 1
        return _Codes(*_in_runs(instruments["serial"].tolist(), size))
    if subgroups.by in PERIODS:
        keys = instruments["recorded_at"].dt.strftime(PERIODS[subgroups.by])
    else:
        keys = instruments[subgroups.by].replace("", None)
    codes, labels = pd.factorize(keys)
    return _Codes(codes.astype(np.int64), tuple(map(str, labels)))


def _in_runs(serials: Sequence[str], size: int) -> tuple[NDArray[np.int64], tuple[str, ...]]:
    """Every ``size`` instruments that follow one another; single ones go by their serial."""
    codes = np.arange(len(serials), dtype=np.int64) // size
    if size == 1:
        return codes, tuple(serials)
    labels = []
    for number, start in enumerate(range(0, len(serials), size), 1):
        run = serials[start : start + size]
        to = f" to {run[-1]}" if len(run) > 1 else ""
        labels.append(f"{number} ({run[0]}{to})")
    return codes, tuple(labels)


def _described(instruments: pd.DataFrame, codes: _Codes) -> Iterator[SubgroupOf]:
    charted = instruments[codes.of >= 0]
    grouped = charted.groupby(codes.of[codes.of >= 0], sort=True)
    serials, times = grouped["serial"].agg(["first", "last", "size"]), grouped["recorded_at"]
    for label, (first, last, size), start, end in zip(
        codes.labels,
        serials.itertuples(index=False),
        times.min(),
        times.max(),
        strict=True,
    ):
        yield SubgroupOf(label, first, last, moment(start), moment(end), int(size))


def _in_words(subgroups: Subgroups) -> str:
    if subgroups.by != "count":
        return f"instruments of one {subgroups.by}"
    if subgroups.size == 1:
        return "single instruments"
    return f"{subgroups.size} instruments that follow one another"
