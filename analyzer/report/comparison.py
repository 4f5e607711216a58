"""Two reports of one instrument side by side, and what changed beyond uncertainty."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, fields, replace
from typing import Literal

from analyzer.bridge.response import Change
from analyzer.report.earlier import EarlierReport, EarlierString
from analyzer.report.json_text import head, json_text
from analyzer.report.model import SCHEMA_VERSION, StringResult
from analyzer.report.round_before import check_same_instrument
from analyzer.report.tables import table_as_csv

Verdict = Literal["better", "worse", "changed", "no sure change"]
_String = EarlierString | StringResult


@dataclass(frozen=True)
class StringComparison:
    """One string before and after, cents; the ± of the change combines both (root sum of squares).

    ``verdict`` is ``no sure change`` unless the change exceeds its uncertainty; then the string is
    ``better`` or ``worse`` by the size of its error, ``changed`` where that is the same to 0.05.
    """

    string: int
    note: str
    reason: str | None = None
    before_cents: float | None = None
    before_uncertainty_cents: float | None = None
    after_cents: float | None = None
    after_uncertainty_cents: float | None = None
    change_cents: float | None = None
    change_uncertainty_cents: float | None = None
    verdict: Verdict | None = None


@dataclass(frozen=True)
class Comparison:
    """``before`` and ``after`` name the two reports."""

    instrument: str
    before: str
    after: str
    strings: tuple[StringComparison, ...]

    @property
    def complete(self) -> bool:
        """Every string has a result in both."""
        return all(each.verdict is not None for each in self.strings)

    def in_words(self) -> str:
        """The last line: how many strings are better, and the worst of either."""
        counts = [
            f"{sum(each.verdict == verdict for each in self.strings)} {verdict}"
            for verdict in ("better", "worse", "no sure change")
        ]
        line = f"Of {len(self.strings)} strings: {', '.join(counts)}."
        pairs = [
            (abs(each.before_cents), abs(each.after_cents))
            for each in self.strings
            if each.before_cents is not None and each.after_cents is not None
        ]
        if pairs:
            before, after = (max(column) for column in zip(*pairs, strict=True))
            line += f" Largest error: {before:.1f} cents before, {after:.1f} after."
        return line


_SAME_SIZE_CENTS = 0.05  # what the table shows as one figure


def compare_reports(before: EarlierReport, after: EarlierReport) -> Comparison:
    """Compare two reports, string by string.

    Raises UnusableInputError where they are of different instruments.
    """
    check_same_instrument(before, after.instrument if after.name_given else None, after.tuning)
    name = after.instrument if after.name_given else before.instrument
    strings = compare_strings(before.strings, after.strings)
    return Comparison(name, before.file, after.file, strings)


def compare_strings(
    before: Sequence[_String], after: Sequence[_String]
) -> tuple[StringComparison, ...]:
    """The strings of ``after``, each beside the one of its number before, of one instrument."""
    earlier = {each.string: each for each in before}
    return tuple(_compared(earlier.get(each.string), each) for each in after)


def _compared(before: _String | None, after: _String) -> StringComparison:
    a, ua = (before.error_cents, before.error_uncertainty_cents) if before else (None, None)
    b, ub = after.error_cents, after.error_uncertainty_cents
    row = StringComparison(
        after.string,
        after.note,
        before_cents=a,
        before_uncertainty_cents=ua,
        after_cents=b,
        after_uncertainty_cents=ub,
    )
    if a is None or ua is None:
        return replace(row, reason="No result before.")
    if b is None or ub is None:
        return replace(row, reason="No result after.")
    change = Change(a, ua, b, ub)
    return replace(
        row,
        change_cents=change.found_cents,
        change_uncertainty_cents=change.uncertainty_cents,
        verdict=_verdict(change),
    )


def _verdict(change: Change) -> Verdict:
    if not change.beyond_doubt:
        return "no sure change"
    grown = abs(change.after_cents) - abs(change.before_cents)
    if abs(grown) <= _SAME_SIZE_CENTS:
        return "changed"
    return "worse" if grown > 0 else "better"


def comparison_as_json(comparison: Comparison) -> str:
    """The comparison as JSON text; numbers are unrounded."""
    body = {
        **head(SCHEMA_VERSION),
        **asdict(comparison),
    }
    return json_text(body)


def comparison_as_csv(comparison: Comparison) -> str:
    """A row for each string."""
    return table_as_csv(comparison.strings, [each.name for each in fields(StringComparison)])
