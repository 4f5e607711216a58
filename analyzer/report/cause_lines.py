"""What the frets beside the 12th say and what else may be wrong, as lines for a terminal."""

from __future__ import annotations

from collections.abc import Iterator

from analyzer.frets.judge import FretResult
from analyzer.instrument.model import strings_named
from analyzer.report.model import Report


def frets_and_causes(report: Report, sign: str) -> Iterator[str]:
    """A line for each string with other frets, then one for each cause; ``sign`` is ± or +/-."""
    for each in report.frets:
        yield f"Frets of string {each.string}: {_fret_words(each)}".replace("±", sign)
    for finding in report.findings:
        strings = strings_named(finding.strings)
        yield (
            f"Look at {strings}: {finding.cause}? Evidence: {finding.evidence}. "
            f"To confirm: {finding.confirm}"
        ).replace("±", sign)


def _fret_words(each: FretResult) -> str:
    if each.verdict is not None:
        return each.verdict
    return each.reason or ""
