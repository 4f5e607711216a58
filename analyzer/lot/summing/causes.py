"""Why instruments do not conform, are not decided, and why recordings were left out.

Reasons are written for one case, with its numbers and file names. What is counted here has neither,
or every case were a cause of its own; one reason in full goes along as an example.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator

import numpy as np
import pandas as pd

from analyzer.lot.judgement.specification import IN_WORDS, Characteristic
from analyzer.lot.statistics.pareto import pareto
from analyzer.lot.summing.arrays import (
    NOT_CONFORM,
    NOT_DECIDED,
    NOT_JUDGED,
    LotArrays,
    Values,
)
from analyzer.lot.summing.summary_model import Causes
from analyzer.report.plain_words import in_plain_words

# How a value beyond its upper limit, and beyond its lower one, is called.
_WAYS: dict[Characteristic, tuple[str, str]] = {
    "error_cents": ("sharp", "flat"),
    "open_pitch_cents": ("sharp", "flat"),
    "open_drift_cents": ("too far up", "too far down"),
    "fretted_drift_cents": ("too far up", "too far down"),
}
_NEAR_A_LIMIT = "too near a limit for its uncertainty"
_NO_UNCERTAINTY = "its uncertainty is not known"
_UNSAID = "no reason is given"
_BLANK = "…"
# A quantity or a file's name within a sentence; "12th" is neither.
_PARTICULAR = re.compile(
    r"\S*\.(?:wav|flac|ogg|aiff?|m4a|mp[34]|mov|toml|csv)\b|[-+]?\d[\d.,]*(?![\w.,])"
)
_SENTENCE_END = re.compile(r"(?<=[.!?])\s")


def causes(lot: LotArrays, values: pd.DataFrame, left_out: pd.DataFrame) -> Causes:
    """All three tables; ``values`` and ``left_out`` as in ``analyzer.lot.records``."""
    failed: Counter[str] = Counter()
    not_decided: Counter[str] = Counter()
    for each in lot.judged:
        failed.update(dict(_failed(each)))
        not_decided.update(dict(_near_a_limit(each)))
    missing, examples = _missing(values)
    not_decided.update(missing)
    whole, more = _without_values(lot)
    not_decided.update(whole)
    dropped, of_recordings = _by_kind(left_out["reason"])
    return Causes(
        pareto(failed),
        pareto(not_decided, {**more, **examples}),
        pareto(dropped, of_recordings),
    )


def kind_of(reason: str) -> str:
    """The cause that a reason is an instance of: in plain words, else its first sentence."""
    plain = in_plain_words(reason)
    if plain is not None:
        return plain.fault
    first = _SENTENCE_END.split(reason.strip(), maxsplit=1)[0].rstrip(".")
    return _PARTICULAR.sub(_BLANK, first) or _UNSAID


def _failed(values: Values) -> Iterator[tuple[str, int]]:
    """By string, and by the side on which it does not conform."""
    for place, (string, limits) in enumerate(zip(values.strings, values.limits, strict=True)):
        failing = values.verdicts[:, place] == NOT_CONFORM
        upper = np.inf if limits.upper_cents is None else limits.upper_cents
        above = failing & (values.cents[:, place] > _middle(limits.lower_cents, upper))
        for way, which in zip(_WAYS[values.characteristic], (above, failing & ~above), strict=True):
            if count := int(np.sum(which)):
                yield f"string {string}, {IN_WORDS[values.characteristic]} {way}", count


def _middle(lower_cents: float | None, upper_cents: float) -> float:
    """What lies between a value too low and one too high; infinite with one limit."""
    return upper_cents if lower_cents is None else (lower_cents + upper_cents) / 2


def _near_a_limit(values: Values) -> Iterator[tuple[str, int]]:
    """What was measured and still left open."""
    known = np.isfinite(values.uncertainties)
    was_open = (values.verdicts == NOT_DECIDED) & np.isfinite(values.cents)
    for place, string in enumerate(values.strings):
        for words, which in ((_NEAR_A_LIMIT, known), (_NO_UNCERTAINTY, ~known)):
            if count := int(np.sum((was_open & which)[:, place])):
                yield f"string {string}, {IN_WORDS[values.characteristic]}: {words}", count


def _missing(values: pd.DataFrame) -> tuple[Counter[str], dict[str, str]]:
    """What has no value, once for each instrument: one note that is not there costs several."""
    rows = values.loc[
        values["value_cents"].isna()
        & (values["verdict"] == "not decided")
        & values["latest"].astype(bool),
        ["analysis", "string", "reason"],
    ]
    reasons = rows["reason"].astype(object).fillna("").astype(str)
    words = {each: _of_string(each) for each in reasons.unique()}
    named = "string " + rows["string"].astype(int).astype(str) + ": " + reasons.map(words)
    causes = pd.DataFrame({"analysis": rows["analysis"], "cause": named, "reason": reasons})
    once = causes.drop_duplicates(["analysis", "cause"])
    return Counter(once["cause"].tolist()), _first_of_each(once["cause"], once["reason"])


def _of_string(reason: str) -> str:
    """The kind of a reason that begins by naming what it is of."""
    _, named, why = reason.partition(": ")
    return kind_of(why if named and reason.startswith("String ") else reason)


def _without_values(lot: LotArrays) -> tuple[Counter[str], dict[str, str]]:
    """Instruments that nothing was judged of: no report, or no limits for their strings."""
    judged = np.zeros(len(lot.instruments), dtype=bool)
    for each in lot.judged:
        judged |= np.any(each.verdicts != NOT_JUDGED, axis=1)
    return _by_kind(lot.instruments.loc[~judged, "reason"])


def _by_kind(reasons: pd.Series) -> tuple[Counter[str], dict[str, str]]:
    given = reasons.astype(object).fillna("").astype(str)
    kinds = given.map({each: kind_of(each) for each in given.unique()})
    return Counter(kinds.tolist()), _first_of_each(kinds, given)


def _first_of_each(kinds: pd.Series, reasons: pd.Series) -> dict[str, str]:
    """For each cause the first reason that says more than it."""
    first = ~kinds.duplicated()
    pairs = zip(kinds[first].tolist(), reasons[first].tolist(), strict=True)
    return {kind: reason for kind, reason in pairs if reason and reason != kind}
