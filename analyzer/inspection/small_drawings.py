"""Each partial over time beside the fit: many small drawings on one scale."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analyzer.inspection.drawings import LEAST_DEVIATION_CENTS, OUTERMOST
from analyzer.inspection.model import Inspection
from analyzer.page.rounding import signed
from analyzer.page.scale import Scale
from analyzer.pitch.partial_tracks import PartialTrack
from analyzer.pitch.settle import Course

_WIDTH, _HEIGHT = 150.0, 62.0
_CUT_OFF = 5 * OUTERMOST  # of the windows of all partials: the faint ones go far


@dataclass(frozen=True)
class SmallDrawing:
    """One partial beside the fit, on the scale that all of them share."""

    number: int
    width: float
    height: float
    zero_y: float
    points: str
    description: str


@dataclass(frozen=True)
class SmallDrawings:
    """Every partial beside the fit; half their height is worth ``reach_cents``."""

    reach_cents: float
    drawings: tuple[SmallDrawing, ...]


def small_drawings(found: Inspection) -> SmallDrawings | None:
    """Each partial's track less the fit; None where nothing was fitted."""
    if found.pitch is None or found.pitch.course is None:
        return None
    course = found.pitch.course
    beside = [(each, _beside(each, course)) for each in found.tracks if len(each.times_s) > 1]
    sizes = sorted(abs(value) for each, values in beside for value in values if each.used)
    if not sizes:
        return None
    reach = max(LEAST_DEVIATION_CENTS, sizes[int((1 - _CUT_OFF) * (len(sizes) - 1))])
    time = Scale(0.0, course.times_s[-1], 4.0, _WIDTH - 4.0)
    high = Scale(-reach, reach, _HEIGHT - 4.0, 18.0)
    return SmallDrawings(reach, tuple(_small(each, values, time, high) for each, values in beside))


def _small(each: PartialTrack, values: Sequence[float], time: Scale, high: Scale) -> SmallDrawing:
    points = " ".join(
        f"{time.at(x):g},{high.at(min(max(y, high.low), high.high)):g}"
        for x, y in zip(each.times_s, values, strict=True)
    )
    return SmallDrawing(
        each.number,
        _WIDTH,
        _HEIGHT,
        high.at(0.0),
        points,
        f"Between {signed(min(values), 2)} and {signed(max(values), 2)} cents beside the fit.",
    )


def _beside(each: PartialTrack, course: Course) -> list[float]:
    fit = np.interp(each.times_s, course.times_s, course.cents)
    return [float(value) for value in np.asarray(each.cents) - fit]
