"""The result as values: what every output is written from. Names are those of the JSON report.

A value that could not be had is None, and the ``reason`` beside it says why.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from analyzer.bridge import Direction
from analyzer.findings.model import Finding
from analyzer.frets.judge import FretResult

SCHEMA_VERSION = 1


@dataclass(frozen=True)
class RecordingResult:
    file: str
    string: int | None
    fret: str | None
    take: int | None
    status: Literal["used", "rejected"]
    reason: str | None = None
    settled_hz: float | None = None
    settled_uncertainty_cents: float | None = None
    first_partial_hz: float | None = None
    misfit_cents: float | None = None
    sustain_drift_cents: float | None = None
    glide_cents: float | None = None
    glide_time_s: float | None = None
    late_slope_cents_per_s: float | None = None
    stiffness: float | None = None
    stiffness_uncertainty: float | None = None


@dataclass(frozen=True)
class StringResult:
    string: int
    note: str
    reason: str | None = None
    open_hz: float | None = None
    fretted_hz: float | None = None
    error_cents: float | None = None
    error_uncertainty_cents: float | None = None
    open_drift_cents: float | None = None
    fretted_drift_cents: float | None = None
    sustain_drift_cents: float | None = None
    saddle_move_mm: float | None = None
    saddle_move_uncertainty_mm: float | None = None


@dataclass(frozen=True)
class SaddleResult:
    """``residual_cents`` maps a string to its error after the move."""

    strings: tuple[int, ...]
    reason: str | None = None
    move_mm: float | None = None
    turns: float | None = None
    direction: Direction | None = None
    residual_cents: dict[int, float] | None = None


@dataclass(frozen=True)
class Report:
    """One instrument's analysis."""

    instrument: str
    tuning: tuple[str, ...]
    a4_hz: float
    strings: tuple[StringResult, ...]
    saddles: tuple[SaddleResult, ...]
    recordings: tuple[RecordingResult, ...]
    warnings: tuple[str, ...]
    frets: tuple[FretResult, ...] = ()
    findings: tuple[Finding, ...] = ()

    @property
    def rejected(self) -> tuple[RecordingResult, ...]:
        return tuple(each for each in self.recordings if each.status == "rejected")

    @property
    def measured(self) -> tuple[StringResult, ...]:
        return tuple(each for each in self.strings if each.error_cents is not None)

    @property
    def complete(self) -> bool:
        """Every string has a result and no recording had to be left out."""
        return len(self.measured) == len(self.strings) and not self.rejected

    def verdict(self) -> str:
        """The last line of an analysis: how much of it could be done, and the worst string."""
        used = len(self.recordings) - len(self.rejected)
        line = (
            f"{len(self.measured)} of {len(self.strings)} strings have a result; "
            f"{_counted(used, 'recording')} used, {len(self.rejected)} left out."
        )
        errors = {each.string: each.error_cents for each in self.measured if each.error_cents}
        if errors:
            worst = max(errors, key=lambda string: abs(errors[string]))
            line += f" Largest error: string {worst}, {_in_words(errors[worst])}."
        return line


def _in_words(error_cents: float) -> str:
    size = f"{abs(error_cents):.1f} cents"
    if float(f"{error_cents:.1f}") == 0:
        return size
    return f"{size} sharp" if error_cents > 0 else f"{size} flat"


def _counted(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
