"""The chart of a characteristic in characters: values over checks, limits and mean."""

from __future__ import annotations

import math
from collections.abc import Iterator

from analyzer.inspection.dots import Canvas, line_places
from analyzer.lot.station_check.model import Judged
from analyzer.lot.station_check.words import figure
from analyzer.page.scale import Scale, with_room

_WIDEST, _MARGIN, _ROWS = 100, 14, 7  # characters: drawing, figures at its left, height
_MOST_CHECKS = 100  # the last so many
_DOTTED = 3  # dots from one of a limit to the next
_ROOM = 0.05  # beyond the outermost, of the whole


def chart_key(judged: Judged) -> str:
    """What the drawing shows."""
    count = 0 if judged.baseline is None else judged.baseline.count
    unit = f", {judged.value.unit}" if judged.value.unit else ""
    return (
        f"{judged.value.name.capitalize()}{unit}, check by check. Dotted: the mean of the "
        f"baseline ({count} checks) and its limits."
    )


def chart_lines(judged: Judged, width: int, *, plain: bool) -> Iterator[str]:
    """Rows of a drawing; none without a chart."""
    if judged.charts is None or judged.baseline is None:
        return
    chart = judged.charts.location
    points = chart.points[-_MOST_CHECKS:]
    low, high = judged.limits or (0.0, 0.0)
    mean = judged.baseline.mean
    canvas = Canvas(max(8, min(width, _WIDEST) - _MARGIN), _ROWS, plain)
    wide, tall = canvas.size
    values = Scale(*with_room([low, high, *points], _ROOM, high - low), tall - 1.0, 0.0)
    order = Scale(0.0, max(len(points) - 1.0, 1.0), 0.0, wide - 1.0)
    dotted = [
        (float(x), values.at(each)) for each in (low, mean, high) for x in range(0, wide, _DOTTED)
    ]
    line = line_places(list(enumerate(map(float, points))), order, values)
    rows = canvas.drawn([*dotted, *line])
    labels = {
        min(math.floor(values.at(each) * len(rows) / tall), len(rows) - 1): figure(
            each, "", high - low
        )
        for each in (mean, low, high)
    }
    for number, row in enumerate(rows):
        yield f"{labels.get(number, ''):>{_MARGIN - 2}}  {row}".rstrip()
    first = chart.labels[-len(points)][:10]
    yield f"{'':<{_MARGIN}}{first}{chart.labels[-1][:10]:>{max(canvas.columns - len(first), 11)}}"
