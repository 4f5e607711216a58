r"""Every instrument of a lot as a line of text, from which the page's script makes its table.

A line is readable by itself: fields with tabs between, the first line names them. No field holds a
tab or a line's end, since ``printable`` writes those as ``\t`` and ``\n``. What needs to be looked
at comes first: what does not conform, then what is not decided, the furthest off before others.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analyzer.errors import printable
from analyzer.lot.decision import Verdict
from analyzer.lot.page.words import SAID
from analyzer.lot.specification import IN_WORDS
from analyzer.lot.summary_model import JudgedString
from analyzer.page.rounding import MINUS, NOT_HAD, decimals_for, signed

MOST_LISTED = 250  # rows of the table that needs no script, and is printed: some ten sheets
LONGEST_NAME, LONGEST_REASON = 200, 2000  # characters
_ORDER: tuple[Verdict, ...] = ("not conform", "not decided", "conform")
_MOST_PERCENT = 9999  # of the way to a limit; a limit that is the target makes it infinite
_DRAWN_BEYOND = 0.35  # of the tolerance's width, on either side of a small drawing
_HEADS = (
    "serial number",
    "station",
    "operator",
    "recorded at",
    "verdict",
    "worst value",
    "its cents",
    "% of the way from target to limit",
    "probability that it conforms",
    "more takes of each open note",
    "recordings",
    "left out",
    "sessions",
    "page",
    "reason",
)


@dataclass(frozen=True)
class ListedInstrument:
    """A row of the table that needs no script. ``page`` is a link, None without one."""

    serial: str
    station: str
    operator: str
    recorded: str
    verdict: Verdict
    said: str
    worst: str
    reason: str
    page: str | None


@dataclass(frozen=True)
class InstrumentTable:
    """``text``: all instruments. ``columns``: JSON, what each value of a line is and its limits.

    ``listed``: every instrument, or where they are many the first of those that do not conform or
    are not decided; ``more`` counts those of these two that are not among them.
    """

    text: str
    columns: str
    listed: tuple[ListedInstrument, ...]
    whole: bool
    more: int
    count: int


def instrument_table(
    judged: Sequence[JudgedString],
    sessions: pd.DataFrame,
    values: pd.DataFrame,
    pages: Mapping[str, str],
) -> InstrumentTable:
    """The last session of every serial number; frames as ``analyzer.lot.records`` has them."""
    latest = sessions[sessions["latest"].astype(bool)].reset_index(drop=True)
    spread = _spread(judged, latest, values)
    worst, used = _worst(judged, spread)
    verdicts = latest["verdict"].astype(str).tolist()
    order = sorted(
        range(len(latest)), key=lambda place: (_ORDER.index(verdicts[place]), -used[place])
    )
    named = [_named(judged, spread, *each) for each in enumerate(worst)]
    counted = sessions.groupby("serial")["analysis"].size()
    rows = list(_rows(latest, named, used, counted, pages))
    fields = _value_fields(spread)
    lines = ["\t".join((*_HEADS, *_value_heads(judged)))]
    lines += ["\t".join((*rows[place], *(each[place] for each in fields))) for place in order]
    open_ones = [place for place in order if verdicts[place] != "conform"]
    whole = len(latest) <= MOST_LISTED
    chosen = order if whole else open_ones[:MOST_LISTED]
    return InstrumentTable(
        "\n".join(lines),
        json.dumps([_column(each) for each in judged]),
        tuple(_listed(rows[place]) for place in chosen),
        whole,
        0 if whole else len(open_ones) - len(chosen),
        len(latest),
    )


@dataclass(frozen=True)
class _Spread:
    """Shape (judged, instruments): NaN, or an empty verdict, where an instrument has none."""

    cents: NDArray[np.float64]
    uncertainty: NDArray[np.float64]
    verdicts: NDArray[np.object_]


def _spread(judged: Sequence[JudgedString], latest: pd.DataFrame, values: pd.DataFrame) -> _Spread:
    places = pd.Index(latest["analysis"]).get_indexer(pd.Index(values["analysis"]))
    keys = pd.MultiIndex.from_tuples(
        [(each.characteristic, each.string) for each in judged], names=("c", "s")
    )
    rows = keys.get_indexer(
        pd.MultiIndex.from_arrays([values["characteristic"].astype(object), values["string"]])
    ) if len(judged) else np.full(len(values), -1)  # fmt: skip
    known = (places >= 0) & (rows >= 0)
    at, shape = (rows[known], places[known]), (len(judged), len(latest))

    def table(name: str) -> NDArray[np.float64]:
        found = np.full(shape, math.nan)
        found[at] = values[name].to_numpy(dtype=float, na_value=math.nan)[known]
        return found

    verdicts = np.full(shape, "", dtype=object)
    verdicts[at] = values["verdict"].astype(object).to_numpy()[known]
    return _Spread(table("value_cents"), table("standard_uncertainty_cents"), verdicts)


def _worst(
    judged: Sequence[JudgedString], spread: _Spread
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Which value is the furthest on its way from target to limit, and how far in per cent.

    -1 and NaN where an instrument has no value.
    """
    count = spread.cents.shape[1]
    if not len(judged) or not count:
        return np.full(count, -1), np.full(count, -math.inf)
    ways = np.array([_way(each, cents) for each, cents in zip(judged, spread.cents, strict=True)])
    known = np.isfinite(spread.cents)
    ways = np.where(known, np.minimum(ways, _MOST_PERCENT), -math.inf)
    worst = np.where(known.any(axis=0), np.argmax(ways, axis=0), -1)
    return worst, np.max(ways, axis=0)


def _way(judged: JudgedString, cents: NDArray[np.float64]) -> NDArray[np.float64]:
    """Per cent of the way from the target to the limit on a value's side; 0 without that limit."""
    limits, off = judged.limits, cents - judged.limits.target_cents
    way = np.zeros(len(cents))
    for limit, side in ((limits.upper_cents, off > 0), (limits.lower_cents, off < 0)):
        if limit is not None:
            room = abs(limit - limits.target_cents)
            way[side] = np.abs(off[side]) / room * 100 if room else math.inf
    return way


def _named(
    judged: Sequence[JudgedString], spread: _Spread, place: int, column: int
) -> tuple[str, str]:
    """What the worst value is of, and its cents."""
    if column < 0:
        return "", ""
    text = _number(spread.cents[column, place], spread.uncertainty[column, place])
    return judged[column].named, text


def _number(cents: float, uncertainty: float) -> str:
    """Rounded to its uncertainty, with a plain minus sign, which spreadsheets read."""
    return signed(cents, decimals_for(uncertainty)).replace(MINUS, "-")


def _rows(
    latest: pd.DataFrame,
    worst: Sequence[tuple[str, str]],
    used: NDArray[np.float64],
    sessions: Mapping[Any, int],
    pages: Mapping[str, str],
) -> Iterator[tuple[str, ...]]:
    """The fields of ``_HEADS``."""
    texts = [_texts(latest[name], LONGEST_NAME) for name in ("serial", "station", "operator")]
    verdicts, serials = _texts(latest["verdict"]), latest["serial"].tolist()
    times = latest["recorded_at"].dt.strftime("%Y-%m-%d %H:%M:%S").fillna("").tolist()
    probabilities = [_or_none(each, ".4g") for each in _floats(latest["conformity_probability"])]
    takes = [_or_none(each, ".0f") for each in _floats(latest["more_takes"])]
    counts = [latest[name].astype(int).astype(str).tolist() for name in ("recordings", "left_out")]
    reasons = _texts(latest["reason"], LONGEST_REASON)
    for place, serial in enumerate(serials):
        yield (
            *(each[place] for each in texts),
            times[place],
            verdicts[place],
            *worst[place],
            _or_none(used[place], ".0f"),
            probabilities[place],
            takes[place],
            *(each[place] for each in counts),
            str(sessions[serial]),
            link_of(pages.get(serial)) or "",
            reasons[place],
        )


def link_of(page: str | None) -> str | None:
    """A relative path as a link, which stays relative whatever it holds."""
    return None if page is None else f"./{quote(page.lstrip('/'), safe='/')}"


def _texts(column: pd.Series, longest: int = LONGEST_NAME) -> list[str]:
    given = column.astype(object).fillna("").astype(str)
    return [printable(each, longest) for each in given]


def _floats(column: pd.Series) -> list[float]:
    numbers: list[float] = column.astype(float).tolist()
    return numbers


def _or_none(value: float, form: str) -> str:
    return f"{value:{form}}" if math.isfinite(value) else ""


def _value_heads(judged: Sequence[JudgedString]) -> Iterator[str]:
    for each in judged:
        yield f"{each.named}, cents"
        yield "its standard uncertainty, cents"
        yield "its verdict, unless it conforms"


def _value_fields(spread: _Spread) -> list[list[str]]:
    """Three columns for each value, as ``_value_heads`` names them."""
    fields: list[list[str]] = []
    for cents, uncertainties, verdicts in zip(
        spread.cents.tolist(), spread.uncertainty.tolist(), spread.verdicts.tolist(), strict=True
    ):
        decimals = [decimals_for(each) for each in uncertainties]
        fields += (
            ["" if c != c else _number(c, u) for c, u in zip(cents, uncertainties, strict=True)],
            ["" if u != u else f"{u:.{d}f}" for u, d in zip(uncertainties, decimals, strict=True)],
            ["" if each == "conform" else each for each in verdicts],
        )
    return fields


def _column(each: JudgedString) -> dict[str, object]:
    """What the script needs to draw a value: its names, its limits, and what the drawing spans."""
    limits = each.limits
    ends = [end for end in (limits.lower_cents, limits.upper_cents) if end is not None]
    low, high = min(*ends, limits.target_cents), max(*ends, limits.target_cents)
    room = _DRAWN_BEYOND * (high - low or 1.0)
    return {
        "string": each.string,
        "characteristic": IN_WORDS[each.characteristic],
        "limits": str(limits),
        "lower": limits.lower_cents,
        "upper": limits.upper_cents,
        "target": limits.target_cents,
        "from": low - room,
        "to": high + room,
    }


def _listed(row: Sequence[str]) -> ListedInstrument:
    of = dict(zip(_HEADS, row, strict=True))
    verdict = next((each for each in _ORDER if each == of["verdict"]), "not decided")
    cents, way = of["its cents"].replace("-", MINUS), of["% of the way from target to limit"]
    return ListedInstrument(
        of["serial number"],
        of["station"],
        of["operator"],
        of["recorded at"],
        verdict,
        SAID[verdict],
        f"{of['worst value']} {cents} cents ({way} %)" if way else NOT_HAD,
        of["reason"],
        of["page"] or None,
    )
