"""What is said of each characteristic, string by string: against its limits, and of its process."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analyzer.lot.judgement.specification import IN_WORDS, Characteristic, Interval
from analyzer.lot.output.words import percent
from analyzer.lot.page.distribution_drawing import DistributionDrawing, distribution_drawing
from analyzer.lot.page.tables import (
    Cell,
    Table,
    by_string,
    cents,
    index,
    method_of,
    notes_of,
    share,
    size,
)
from analyzer.lot.statistics.capability import Capability
from analyzer.lot.statistics.figure import Figure, NotGiven
from analyzer.lot.summing.summary_model import JudgedString, MeasuringShare, ProcessRisk
from analyzer.page.rounding import MINUS, NOT_HAD

_INDICES: dict[str, Callable[[Capability], Figure]] = {
    "Cp": lambda each: each.cp,
    "Cpk": lambda each: each.cpk,
    "Pp": lambda each: each.pp,
    "Ppk": lambda each: each.ppk,
    "Cpm": lambda each: each.cpm,
    "Pp, quantiles": lambda each: each.quantiles.pp,
    "Ppk, quantiles": lambda each: each.quantiles.ppk,
}

_MEASURING_HEADS = (
    "String",
    "Acceptance limits",
    "u",
    "Cₘ = T / 4u",
    "s of measuring",
    "s of the process",
    "Measuring, of variance",
    "Pp of the process alone",
)
_RISK_HEADS = (
    "String",
    "Consumer's: accepted, does not conform",
    "Producer's: rejected, conforms",
    "Not decided, conforms",
    "Not decided, does not conform",
)


@dataclass(frozen=True)
class CharacteristicPart:
    """``notes`` are of all its tables: what could not be had, what to mind."""

    key: str
    named: str
    drawing: DistributionDrawing | None
    counts: Table
    capability: Table
    measuring: Table
    risk: Table
    notes: tuple[str, ...]


def characteristic_parts(
    judged: Sequence[JudgedString], values: pd.DataFrame
) -> tuple[CharacteristicPart, ...]:
    """A part for each characteristic; ``values`` as ``analyzer.lot.records`` has them."""
    latest = values[values["latest"].astype(bool)]
    return tuple(
        _part(name, tuple(of), latest[latest["characteristic"] == name])
        for name, of in groupby(judged, key=lambda each: each.characteristic)
    )


def _part(
    name: Characteristic, judged: Sequence[JudgedString], values: pd.DataFrame
) -> CharacteristicPart:
    return CharacteristicPart(
        name,
        IN_WORDS[name],
        distribution_drawing(judged, _by_string(values)),
        _counts(judged),
        _capability(judged),
        _measuring(judged),
        _risk(judged),
        tuple(_notes(judged)),
    )


def _by_string(values: pd.DataFrame) -> Mapping[int, NDArray[np.float64]]:
    cents_of = values["value_cents"].to_numpy(dtype=float, na_value=np.nan)
    strings = values["string"].to_numpy()
    return {
        int(each): cents_of[(strings == each) & np.isfinite(cents_of)]
        for each in np.unique(strings)
    }


def _counts(judged: Sequence[JudgedString]) -> Table:
    rows = tuple(
        (
            _string(each),
            _limits(each.limits),
            Cell(f"{each.conform:,}", each.conform),
            Cell(f"{each.not_conform:,}", each.not_conform),
            Cell(_not_decided(each), each.not_decided),
            share(each.conforming_share),
        )
        for each in judged
    )
    heads = ("String", "Limits", "Conform", "Do not", "Not decided", "Yield")
    return Table("Instruments by string; yield is of those decided. Cents.", heads, rows)


def _limits(interval: Interval) -> Cell:
    """With a sign that screen readers say."""
    return Cell(str(interval).replace("-", MINUS), whole=True)


def _not_decided(each: JudgedString) -> str:
    missing = f", {each.not_measured:,} not measured" if each.not_measured else ""
    return f"{each.not_decided:,}{missing}"


def _capability(judged: Sequence[JudgedString]) -> Table:
    return Table(
        "Mean and standard deviation, cents; capability and performance, with intervals.",
        ("String", "Mean", "s", *_INDICES),
        tuple(
            (
                _string(each),
                cents(each.capability.moments.mean),
                size(each.capability.moments.sd),
                *(index(of(each.capability)) for of in _INDICES.values()),
            )
            for each in judged
        ),
    )


def _measuring(judged: Sequence[JudgedString]) -> Table:
    """What of the scatter is the measurement's, and where that puts the acceptance limits."""
    return Table(
        "The acceptance limits of a value with the median standard uncertainty u, and what of the "
        "scatter is measuring: standard deviations, cents.",
        _MEASURING_HEADS,
        tuple(_measuring_row(each) for each in judged),
    )


def _measuring_row(each: JudgedString) -> tuple[Cell, ...]:
    bands, found = each.bands, each.measuring
    acceptance = Cell(NOT_HAD)
    if bands is not None:
        inside = bands.acceptance
        acceptance = Cell("none possible") if inside is None else _limits(inside)
    head = (_string(each), acceptance, size(each.median_uncertainty))
    if isinstance(found, NotGiven):
        return (*head, *(Cell(NOT_HAD) for _ in range(5)))
    return (
        *head,
        size(found.capability_index),
        size(found.measuring_sd),
        size(found.process_sd),
        Cell(f"{found.share_percent:.1f} %", found.share_percent / 100),
        index(found.process_pp),
    )


def _risk(judged: Sequence[JudgedString]) -> Table:
    return Table(
        "Risks of the decision rule over all that this process would make.",
        _RISK_HEADS,
        tuple((_string(each), *_risk_cells(each.risk)) for each in judged),
    )


def _risk_cells(found: ProcessRisk | NotGiven) -> Iterator[Cell]:
    if isinstance(found, NotGiven):
        yield from (Cell(NOT_HAD) for _ in range(4))
        return
    risk = found.risk
    for part in (
        risk.consumers_risk,
        risk.producers_risk,
        risk.conforming_not_decided,
        risk.nonconforming_not_decided,
    ):
        yield Cell(percent(part), part)


def methods_of(judged: Sequence[JudgedString]) -> tuple[str, ...]:
    """By what all this was had, each method once."""
    named = [method_of(figure) for each in judged for figure in _figures(each) if figure.value]
    named += [found.method for each in judged for found in (each.measuring, each.risk)]
    named += [f"normality by {each.capability.normality_method}" for each in judged]
    return tuple(dict.fromkeys(f"{each[0].upper()}{each[1:]}." for each in named))


def _notes(judged: Sequence[JudgedString]) -> Iterator[str]:
    yield from notes_of([(each.string, figure) for each in judged for figure in _figures(each)])
    other = [(each.string, found) for each in judged for found in (each.measuring, each.risk)]
    missing = [(string, each.reason) for string, each in other if isinstance(each, NotGiven)]
    yield from by_string("Not given", missing)
    known = {each.capability.ppk.caution for each in judged}
    cautions = [
        (string, each.caution)
        for string, each in other
        if isinstance(each, ProcessRisk) and each.caution and each.caution not in known
    ]
    yield from by_string("Caution", cautions)


def _figures(each: JudgedString) -> Iterator[Figure]:
    yield each.conforming_share
    yield from (of(each.capability) for of in _INDICES.values())
    if isinstance(each.measuring, MeasuringShare):
        yield each.measuring.process_pp


def _string(each: JudgedString) -> Cell:
    return Cell(str(each.string))
