"""What the frets beside the 12th say and what else may be wrong, as lines for a terminal."""

from __future__ import annotations

from collections.abc import Iterator

from analyzer.findings.model import Finding
from analyzer.frets.judge import FretResult
from analyzer.report.model import Report


def frets_and_causes(report: Report, sign: str) -> Iterator[str]:
    """A line for each string with other frets, then one for each cause; ``sign`` is ± or +/-."""
    for each in report.frets:
        yield f"Frets of string {each.string}: {_fret_words(each)}".replace("±", sign)
    for finding in report.findings:
        yield (
            f"Look at {_strings(finding)}: {finding.cause}? Evidence: {finding.evidence}. "
            f"To confirm: {finding.confirm}"
        ).replace("±", sign)


def _fret_words(each: FretResult) -> str:
    if each.verdict is not None:
        return each.verdict
    return each.reason or ""


def _strings(finding: Finding) -> str:
    *others, last = map(str, finding.strings)
    return f"strings {', '.join(others)} and {last}" if others else f"string {last}"
