"""Tables before they have a form, and the figures of statistics as text in them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from analyzer.instrument.model import strings_named
from analyzer.lot.output.words import percent
from analyzer.lot.statistics.figure import Figure
from analyzer.page.rounding import NOT_HAD, decimals_for, plain, signed

_DECIMALS = 2  # of an index or of cents: finer than any lot tells them
_MOST_PERCENT_DECIMALS = 3


@dataclass(frozen=True)
class Cell:
    """A text; ``value`` is the number behind it, a share of 1 where the text has per cent.

    ``bar``: its share of the longest bar, 0 to 1. ``whole``: it stays in one line.
    """

    text: str
    value: float | None = None
    bar: float | None = None
    whole: bool = False


@dataclass(frozen=True)
class Table:
    """``heads`` name the columns; the first cell of a row heads it. ``notes`` stand below."""

    caption: str
    heads: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    notes: tuple[str, ...] = ()

    def parted(self, count: int, caption: str) -> tuple[Table, Table | None]:
        """The first rows, and the others under a caption of their own; None without others."""
        rest = self.rows[count:]
        others = Table(caption, self.heads, rest) if rest else None
        return replace(self, rows=self.rows[:count]), others


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
    """A share with its interval, in per cent, as finely as the interval allows."""
    value, low, high = figure.value, figure.lower, figure.upper
    if value is None:
        return Cell(NOT_HAD)
    if low is None or high is None:
        return Cell(percent(value), value)
    decimals = max(1, decimals_for(100 * (high - low) / 2, _MOST_PERCENT_DECIMALS))
    low_text, high_text = (_percent(end, decimals) for end in (low, high))
    return Cell(f"{_percent(value, decimals)} % ({low_text} to {high_text})", value)


def _percent(part: float, decimals: int) -> str:
    """All and nothing without decimals, and nothing else shown as they."""
    if part in {0.0, 1.0}:
        return f"{100 * part:.0f}"
    least = 10.0**-decimals
    return f"{min(max(100 * part, least), 100 - least):.{decimals}f}"


def notes_of(figures: Sequence[tuple[int, Figure]]) -> tuple[str, ...]:
    """Why some figures could not be had, and what to mind, each said once.

    ``figures`` come with the string that they are of.
    """
    missing = [(of, f"{each.method}: {each.reason}") for of, each in figures if each.reason]
    cautions = [(of, each.caution) for of, each in figures if each.caution]
    return (
        *by_string("Not given", missing),
        *by_string("Caution", cautions),
    )


def by_string(head: str, said: Iterable[tuple[int, str]]) -> Iterator[str]:
    """What is said of strings, in one line: those of which the same is said are put together."""
    found: dict[str, dict[int, None]] = {}
    for string, text in said:
        found.setdefault(text, {})[string] = None
    parts = [f"{strings_named(tuple(of))}: {text}" for text, of in found.items()]
    if parts:
        yield f"{head}, {'; '.join(parts)}."


def method_of(figure: Figure) -> str:
    """How a figure and its interval were had."""
    if figure.interval_method is None:
        return figure.method
    if figure.confidence is None:
        return f"{figure.method}; interval {figure.interval_method}"
    return f"{figure.method}; {100 * figure.confidence:g} % interval, {figure.interval_method}"
