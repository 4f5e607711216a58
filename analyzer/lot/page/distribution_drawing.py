"""How a characteristic lies between its limits: a strip of bars for each string, on one scale."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analyzer.lot.judgement.specification import Interval
from analyzer.lot.output.words import counted
from analyzer.lot.summing.summary_model import JudgedString
from analyzer.page.rounding import plain, signed
from analyzer.page.scale import Scale, Tick, round_step, with_room

WIDTH, LEFT, RIGHT = 340.0, 24.0, 330.0
_TOP, _ROW, _BARS, _BOTTOM = 8.0, 44.0, 32.0, 38.0
_ABOUT_BARS = 40  # over the drawing: as many as can be told apart on a phone
_TICKS = 7
_OUTERMOST = 0.002  # of the values: may run out of the drawing, and are counted at its edge
_ROOM, _NARROWEST_CENTS = 0.06, 1.0


@dataclass(frozen=True)
class StringStrip:
    """A string: where its bars stand, its limits, its acceptance limits, its target and mean.

    ``bars`` is a path. ``below`` and ``above`` count the values that lie beyond the drawing.
    """

    string: int
    y: float
    top: float
    bars: str
    limits: tuple[float, ...]
    acceptance: tuple[float, ...]
    target: float
    mean: float | None
    below: int
    above: int


@dataclass(frozen=True)
class DistributionDrawing:
    """``bar_cents``: how wide a bar is."""

    width: float
    height: float
    left: float
    right: float
    strips: tuple[StringStrip, ...]
    ticks: tuple[Tick, ...]
    bar_cents: float
    description: str


def distribution_drawing(
    judged: Sequence[JudgedString], values: Mapping[int, NDArray[np.float64]]
) -> DistributionDrawing | None:
    """One characteristic; ``values`` in cents by string, finite. None where there is none."""
    known = [values.get(each.string, np.empty(0)) for each in judged]
    if not any(len(each) for each in known):
        return None
    scale = _scale(judged, known)
    bar = round_step((scale.high - scale.low) / _ABOUT_BARS)
    tallest = max(int(_counts(each, scale, bar)[0].max(initial=1)) for each in known)
    strips = tuple(
        _strip(each, own, place, (scale, bar, tallest))
        for place, (each, own) in enumerate(zip(judged, known, strict=True))
    )
    return DistributionDrawing(
        WIDTH,
        _TOP + _ROW * len(strips) + _BOTTOM,
        LEFT,
        RIGHT,
        strips,
        tuple(scale.ticks(_TICKS)),
        bar,
        "; ".join(map(_in_words, judged)) + ".",
    )


def _scale(judged: Sequence[JudgedString], known: Sequence[NDArray[np.float64]]) -> Scale:
    ends = [each.limits.target_cents for each in judged]
    ends += [end for each in judged for end in _ends(each.limits)]
    for each in known:
        if len(each):
            ends += np.quantile(each, (_OUTERMOST, 1 - _OUTERMOST)).tolist()
    return Scale(*with_room(ends, _ROOM, _NARROWEST_CENTS), LEFT, RIGHT)


def _counts(
    values: NDArray[np.float64], scale: Scale, bar: float
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """How many values are in each bar, and where the bars end."""
    edges = np.arange(np.floor(scale.low / bar), np.ceil(scale.high / bar) + 1) * bar
    found, _ = np.histogram(values, edges)
    return found, edges


def _strip(
    judged: JudgedString,
    values: NDArray[np.float64],
    place: int,
    form: tuple[Scale, float, int],
) -> StringStrip:
    scale, bar, tallest = form
    y = _TOP + _ROW * place + _BARS
    counts, edges = _counts(values, scale, bar)
    places = [min(max(scale.at(each), LEFT), RIGHT) for each in edges]
    # Never less than a hair: a bar of one value among thousands is what is looked for.
    heights = np.where(counts > 0, np.maximum(_BARS * counts / tallest, 1.0), 0.0)
    bars = "".join(
        f"M{places[at]:g} {y:g}V{y - height:.1f}H{places[at + 1]:g}V{y:g}z"
        for at, height in enumerate(heights.tolist())
        if height
    )
    acceptance = judged.bands.acceptance if judged.bands is not None else None
    mean = judged.capability.moments.mean
    return StringStrip(
        judged.string,
        y,
        y - _BARS,
        bars,
        tuple(map(scale.at, _ends(judged.limits))),
        () if acceptance is None else tuple(map(scale.at, _ends(acceptance))),
        scale.at(judged.limits.target_cents),
        None if mean is None else min(max(scale.at(mean), LEFT), RIGHT),
        int(np.sum(values < edges[0])),
        int(np.sum(values > edges[-1])),
    )


def _ends(interval: Interval) -> Iterable[float]:
    return (each for each in (interval.lower_cents, interval.upper_cents) if each is not None)


def _in_words(judged: JudgedString) -> str:
    moments = judged.capability.moments
    if moments.mean is None:
        return f"string {judged.string}: no value"
    scatter = "" if moments.sd is None else f", standard deviation {plain(moments.sd, 2)}"
    return (
        f"string {judged.string}: {counted(moments.count, 'value')}, mean "
        f"{signed(moments.mean, 2)} cents{scatter}, limits {judged.limits}"
    )
