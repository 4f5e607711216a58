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
from analyzer.lot.judgement.decision import Verdict
from analyzer.lot.judgement.specification import IN_WORDS
from analyzer.lot.page.words import SAID
from analyzer.lot.page.worst import ValueTable, value_table, worst_of
from analyzer.lot.summing.summary_model import JudgedString
from analyzer.page.rounding import MINUS, NOT_HAD, decimals_for, signed

MOST_LISTED = 250  # rows of the table that needs no script, and is printed: some ten sheets
LONGEST_NAME, LONGEST_REASON = 200, 2000  # characters
_ORDER: tuple[Verdict, ...] = ("not conform", "not decided", "conform")
_DRAWN_BEYOND = 0.35  # of the tolerance's width, on either side of a small drawing
# Before its values a line has these fields: as the script knows them, and as the first line does.
_FIELDS = {
    "serial": "serial number",
    "station": "station",
    "operator": "operator",
    "recorded": "recorded at",
    "verdict": "verdict",
    "worst": "worst value",
    "cents": "its cents",
    "way": "% of the way from target to limit",
    "probability": "probability that it conforms",
    "takes": "more takes of each open note",
    "recordings": "recordings",
    "left_out": "left out",
    "sessions": "sessions",
    "page": "page",
    "reason": "reason",
}
HEADS = ("Serial number", "Station", "Operator", "Recorded", "Verdict", "Worst value", "Reason")


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
    """``text``: all instruments. ``meaning``: JSON, what its fields are, for the script.

    ``listed``: every instrument, or where they are many the first of those that do not conform or
    are not decided; ``more`` counts those of these two that are not among them.
    """

    text: str
    meaning: str
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
    latest["verdict"] = latest["verdict"].where(latest["verdict"].isin(_ORDER), "not decided")
    spread = value_table(judged, latest, values)
    worst, used = worst_of(judged, spread)
    verdicts = latest["verdict"].tolist()
    order = sorted(range(len(latest)), key=lambda at: (_ORDER.index(verdicts[at]), -used[at]))
    named = [_named(judged, spread, *each) for each in enumerate(worst)]
    counted = sessions.groupby("serial")["analysis"].size().to_dict()
    rows = list(_rows(latest, named, used, counted, pages))
    fields = _value_fields(spread)
    lines = ["\t".join((*_FIELDS.values(), *_value_heads(judged)))]
    lines += ["\t".join((*rows[place], *(each[place] for each in fields))) for place in order]
    open_ones = [place for place in order if verdicts[place] != "conform"]
    whole = len(latest) <= MOST_LISTED
    chosen = order if whole else open_ones[:MOST_LISTED]
    return InstrumentTable(
        "\n".join(lines),
        json.dumps(_meaning(judged)),
        tuple(_listed(rows[place]) for place in chosen),
        whole,
        0 if whole else len(open_ones) - len(chosen),
        len(latest),
    )


def _named(
    judged: Sequence[JudgedString], spread: ValueTable, place: int, column: int
) -> tuple[str, str]:
    """What the worst value is of, and its cents."""
    if column < 0:
        return "", ""
    decimals = decimals_for(spread.uncertainty[column, place])
    text = _number(spread.cents[column, place], decimals)
    return judged[column].named, text


def _number(cents: float, decimals: int) -> str:
    """With a plain minus sign, which spreadsheets read; empty for NaN."""
    return signed(cents, decimals).replace(MINUS, "-") if math.isfinite(cents) else ""


def _rows(
    latest: pd.DataFrame,
    worst: Sequence[tuple[str, str]],
    used: NDArray[np.float64],
    sessions: Mapping[Any, int],
    pages: Mapping[str, str],
) -> Iterator[tuple[str, ...]]:
    """The fields of ``_FIELDS``."""
    texts = [_texts(latest[name], LONGEST_NAME) for name in ("serial", "station", "operator")]
    verdicts, serials = latest["verdict"].tolist(), latest["serial"].tolist()
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


def _value_fields(spread: ValueTable) -> list[list[str]]:
    """Three columns for each value, as ``_value_heads`` names them."""
    fields: list[list[str]] = []
    for cents, uncertainties, verdicts in zip(
        spread.cents.tolist(), spread.uncertainty.tolist(), spread.verdicts.tolist(), strict=True
    ):
        decimals = [decimals_for(each) for each in uncertainties]
        fields += (
            [_number(c, d) for c, d in zip(cents, decimals, strict=True)],
            [_or_none(u, f".{d}f") for u, d in zip(uncertainties, decimals, strict=True)],
            ["" if each == "conform" else each for each in verdicts],
        )
    return fields


def _meaning(judged: Sequence[JudgedString]) -> dict[str, object]:
    return {
        "fields": list(_FIELDS),
        "columns": [_column(each) for each in judged],
        "said": SAID,
        "heads": HEADS,
    }


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
    of = dict(zip(_FIELDS, row, strict=True))
    verdict = next(each for each in _ORDER if each == of["verdict"])
    cents, way = of["cents"].replace("-", MINUS), of["way"]
    return ListedInstrument(
        of["serial"],
        of["station"],
        of["operator"],
        of["recorded"],
        verdict,
        SAID[verdict],
        f"{of['worst']} {cents} cents ({way} %)" if way else NOT_HAD,
        of["reason"],
        of["page"] or None,
    )
