"""What a finding is, and what it is drawn from."""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from analyzer.frets.judge import FretResult
from analyzer.pitch.settle import SettledPitch
from analyzer.string_model.from_data import Modelled


@dataclass(frozen=True)
class Finding:
    """A cause, the strings it was heard on, the evidence that raised it, what would confirm it."""

    cause: str
    strings: tuple[int, ...]
    evidence: str
    confirm: str


@dataclass(frozen=True)
class StringCase:
    """All that is known of one string.

    ``takes`` maps a fret's label to its plucks in the order of their takes. ``saddle_move_mm`` is
    what the 12th fret asks of its saddle.
    """

    string: int
    takes: Mapping[str, tuple[SettledPitch, ...]]
    saddle_move_mm: float | None = None
    saddle_move_uncertainty_mm: float | None = None
    frets: FretResult | None = None
    model: Modelled | None = None
    setback_mm: float | None = None


@dataclass(frozen=True)
class Room:
    """What one saddle is asked for, and the travel it has left either way, mm."""

    strings: tuple[int, ...]
    wanted_mm: float
    toward_nut_mm: float
    away_from_nut_mm: float


def middle(values: Iterable[float]) -> float:
    """The median of what is known; NaN where nothing is."""
    known = [value for value in values if math.isfinite(value)]
    return statistics.median(known) if known else math.nan
