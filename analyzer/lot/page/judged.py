"""What is said of each characteristic, string by string: against its limits, and of its process."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analyzer.lot.page.distribution_drawing import DistributionDrawing, distribution_drawing
from analyzer.lot.page.tables import (
    Cell,
    Table,
    cents,
    index,
    notes_of,
    percent,
    share,
    size,
)
from analyzer.lot.specification import IN_WORDS, Characteristic
from analyzer.lot.statistics.capability import Capability
from analyzer.lot.statistics.figure import Figure, NotGiven
from analyzer.lot.summary_model import JudgedString, MeasuringShare, ProcessRisk
from analyzer.page.rounding import NOT_HAD

_INDICES: dict[str, Callable[[Capability], Figure]] = {
    "Cp": lambda each: each.cp,
    "Cpk": lambda each: each.cpk,
    "Pp": lambda each: each.pp,
    "Ppk": lambda each: each.ppk,
    "Cpm": lambda each: each.cpm,
    "Pp, quantiles": lambda each: each.quantiles.pp,
    "Ppk, quantiles": lambda each: each.quantiles.ppk,
}


@dataclass(frozen=True)
class CharacteristicPart:
    key: str
    named: str
    drawing: DistributionDrawing | None
    tables: tuple[Table, ...]


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
        (_counts(judged), _capability(judged), _measuring(judged), _risk(judged)),
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
            Cell(str(each.limits)),
            Cell(f"{each.conforming:,}", each.conforming),
            Cell(f"{each.nonconforming:,}", each.nonconforming),
            Cell(f"{each.undecided:,}", each.undecided),
            Cell(f"{each.not_measured:,}", each.not_measured),
            share(each.conforming_share),
            cents(each.capability.moments.mean),
            size(each.capability.moments.sd),
        )
        for each in judged
    )
    return Table(
        "Instruments by string; yield is of those decided. Cents.",
        ("String", "Limits", "Conform", "Do not", "Not decided", "of them not measured")
        + ("Yield", "Mean", "Standard deviation"),
        rows,
        notes_of([(_named(each), each.conforming_share) for each in judged]),
    )


def _capability(judged: Sequence[JudgedString]) -> Table:
    found = [(each, {name: of(each.capability) for name, of in _INDICES.items()}) for each in judged]
    return Table(
        "Capability and performance, with intervals.",
        ("String", *_INDICES),
        tuple((_string(each), *map(index, figures.values())) for each, figures in found),
        notes_of([(_named(each), one) for each, figures in found for one in figures.values()]),
    )


def _measuring(judged: Sequence[JudgedString]) -> Table:
    """What of the scatter is the measurement's, and where that puts the acceptance limits."""
    return Table(
        "The measurement's part in it, and the acceptance limits of a value with the median "
        "uncertainty. Cents, standard uncertainties and deviations.",
        ("String", "Acceptance limits", "Uncertainty, median", "Cₘ = T / 4u")
        + ("Measuring", "Process", "Measuring, of variance", "Pp of the process alone"),
        tuple(_measuring_row(each) for each in judged),
        tuple(_measuring_notes(judged)),
    )


def _measuring_row(each: JudgedString) -> tuple[Cell, ...]:
    bands, found = each.bands, each.measuring
    acceptance = NOT_HAD
    if bands is not None:
        acceptance = "none possible" if bands.acceptance is None else str(bands.acceptance)
    head = (_string(each), Cell(acceptance), size(each.median_uncertainty))
    if isinstance(found, NotGiven):
        return (*head, *(Cell(NOT_HAD) for _ in range(5)))
    return (
        *head,
        size(found.capability_index),
        size(found.measuring_sd),
        size(found.process_sd),
        Cell(f"{found.share_percent:.1f} %", found.share_percent),
        index(found.process_pp),
    )


def _measuring_notes(judged: Sequence[JudgedString]) -> Iterator[str]:
    yield from dict.fromkeys(f"{each.measuring.method}." for each in judged)
    known = [(each, each.measuring) for each in judged]
    figures = [
        (_named(each), found.process_pp) for each, found in known if isinstance(found, MeasuringShare)
    ]
    yield from notes_of(figures)
    yield from _reasons(known)


def _risk(judged: Sequence[JudgedString]) -> Table:
    known = [(each, each.risk) for each in judged]
    cautions = [
        f"Mind, {_named(each)}: {found.caution}."
        for each, found in known
        if isinstance(found, ProcessRisk) and found.caution
    ]
    return Table(
        "Risks of the decision rule over all that this process would make.",
        ("String", "Consumer's: accepted, does not conform", "Producer's: rejected, conforms")
        + ("Not decided, conforms", "Not decided, does not conform"),
        tuple((_string(each), *_risk_cells(each.risk)) for each in judged),
        (*dict.fromkeys(f"{each.risk.method}." for each in judged), *cautions, *_reasons(known)),
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


def _reasons(known: Sequence[tuple[JudgedString, object]]) -> Iterator[str]:
    for each, found in known:
        if isinstance(found, NotGiven):
            yield f"Not given, {_named(each)}: {found.reason}."


def _string(each: JudgedString) -> Cell:
    return Cell(str(each.string))


def _named(each: JudgedString) -> str:
    return f"string {each.string}"
