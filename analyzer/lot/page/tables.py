"""Tables before they have a form, and the figures of statistics as text in them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from analyzer.lot.statistics.figure import Figure
from analyzer.page.rounding import NOT_HAD, plain, signed

_DECIMALS = 2  # of an index or of cents: finer than any lot tells them
_MOST_PERCENT_DECIMALS = 3


@dataclass(frozen=True)
class Cell:
    """A text; ``value`` is the number behind it, ``bar`` its share of the longest bar, 0 to 1."""

    text: str
    value: float | None = None
    bar: float | None = None


@dataclass(frozen=True)
class Table:
    """``heads`` name the columns; the first cell of a row heads it. ``notes`` stand below."""

    caption: str
    heads: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    notes: tuple[str, ...] = ()


def cents(value: float | None) -> Cell:
    """Cents with a sign."""
    return Cell(NOT_HAD) if value is None else Cell(signed(value, _DECIMALS), value)


def size(value: float | None) -> Cell:
    """A standard deviation, or an index without an interval."""
    return Cell(NOT_HAD) if value is None else Cell(plain(value, _DECIMALS), value)


def index(figure: Figure) -> Cell:
    """An index with its interval."""
    if figure.value is None:
        return Cell(NOT_HAD)
    text = plain(figure.value, _DECIMALS)
    if figure.lower is not None and figure.upper is not None:
        text += f" ({plain(figure.lower, _DECIMALS)} to {plain(figure.upper, _DECIMALS)})"
    return Cell(text, figure.value)


def share(figure: Figure) -> Cell:
    """A share with its interval, in per cent."""
    if figure.value is None:
        return Cell(NOT_HAD)
    text = percent(figure.value)
    if figure.lower is not None and figure.upper is not None:
        text += f" ({percent(figure.lower)} to {percent(figure.upper)})"
    return Cell(text, figure.value)


def percent(part: float) -> str:
    """A share of 1 in per cent, never rounded to all or nothing.

    >>> percent(0.9996), percent(0.5), percent(1.0), percent(2e-7)
    ('99.96 %', '50.0 %', '100 %', 'less than 0.001 %')
    """
    if part in {0.0, 1.0}:
        return f"{100 * part:.0f} %"
    rest = 100 * min(part, 1 - part)
    smallest = 10.0**-_MOST_PERCENT_DECIMALS
    if rest < smallest:
        return f"less than {smallest:g} %" if part < rest else f"more than {100 - smallest:g} %"
    decimals = min(max(1, 1 - math.floor(math.log10(rest))), _MOST_PERCENT_DECIMALS)
    return f"{100 * part:.{decimals}f} %"


def counted(count: int, noun: str) -> str:
    """``1 session``, ``2,000 sessions``."""
    return f"{count:,} {noun}{'' if count == 1 else 's'}"


def notes_of(figures: Sequence[tuple[str, Figure]]) -> tuple[str, ...]:
    """By which methods figures were had, why some were not, and what to mind, each said once.

    ``figures`` come with what they are of, such as ``string 6``.
    """
    methods = dict.fromkeys(_method(each) for _, each in figures if each.value is not None)
    missing = _grouped(
        (f"{each.method}: {each.reason}", of) for of, each in figures if each.reason
    )
    cautions = _grouped((each.caution, of) for of, each in figures if each.caution)
    return (
        *(f"{each}." for each in methods),
        *(f"Not given, {', '.join(of)}: {said}." for said, of in missing.items()),
        *(f"Mind, {', '.join(of)}: {said}." for said, of in cautions.items()),
    )


def _method(figure: Figure) -> str:
    if figure.interval_method is None:
        return figure.method
    if figure.confidence is None:
        return f"{figure.method}; interval {figure.interval_method}"
    return f"{figure.method}; {100 * figure.confidence:g} % interval, {figure.interval_method}"


def _grouped(said: Iterable[tuple[str | None, str]]) -> Mapping[str, list[str]]:
    found: dict[str, list[str]] = {}
    for text, of in said:
        if of not in (kept := found.setdefault(text or "", [])):
            kept.append(of)
    return found
