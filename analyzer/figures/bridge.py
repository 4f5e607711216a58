"""The bridge from above: the drawing of the page, on axes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analyzer.figures.style import (
    EARLIER,
    FAINT,
    INK,
    NOW,
    POINTS,
    RULE,
    SHADE,
    WIDTH_IN,
    axes_of,
    only_words,
    plain_axes,
)
from analyzer.page.bridge_drawing import ARROW_ABOVE, BridgeDrawing, StringLine, bridge_drawing
from analyzer.report.model import Report

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_AXIS = 26.0  # of the drawing's height, which the page needs below for its own axis
_HEIGHT_WITHOUT_IN = 1.2


def plot_bridge(report: Report, ax: Axes | None = None) -> Axes:
    """Draw every saddle where it is (dashed) and where it should go (filled), with its move in mm.

    Along the strings there is one scale, in mm; across, they lie as in the page's drawing. ``ax``:
    axes to draw on, or None for new ones. Without a bridge in the report it says so.
    """
    drawing = bridge_drawing(report)
    if drawing is None:
        return only_words(
            axes_of(ax, _HEIGHT_WITHOUT_IN), "The instrument file says nothing of a bridge."
        )
    ax = axes_of(ax, WIDTH_IN * drawing.height / drawing.width)
    ax.set_xlim(drawing.left, drawing.right)
    ax.set_ylim(drawing.height - _AXIS, 0)
    for place, each in enumerate(drawing.strings):
        thick = 0.8 + 1.6 * (len(drawing.strings) - 1 - place) / len(drawing.strings)
        ax.axhline(each.y, color=RULE, linewidth=thick, zorder=1)
        _arrow(ax, each)
        _best(ax, each)
    _saddles(ax, drawing)
    ax.set_yticks(
        [each.y for each in drawing.strings],
        [f"string {each.string} ({each.note})" for each in drawing.strings],
    )
    ax.set_xticks(
        [tick.at for tick in drawing.ticks],
        [
            f"{tick.value:.{tick.decimals}f}".replace("-", "\N{MINUS SIGN}")
            for tick in drawing.ticks
        ],
    )
    plain_axes(ax, "The bridge from above: nut at the left, tail at the right", drawing.axis, None)
    ax.spines["left"].set_visible(False)
    ax.tick_params(axis="y", length=0)
    _words(ax, drawing)
    return ax


def _saddles(ax: Axes, drawing: BridgeDrawing) -> None:
    from matplotlib.patches import Polygon

    for each in drawing.saddles:
        if each.then is None:
            outline = _corners(each.now)
            ax.add_patch(Polygon(outline, facecolor=SHADE, edgecolor=INK, linewidth=1.4, zorder=3))
            continue
        ax.add_patch(Polygon(_corners(each.then), facecolor=NOW, edgecolor=NOW, zorder=3))
        ax.add_patch(
            Polygon(
                _corners(each.now),
                fill=False,
                edgecolor=EARLIER,
                linestyle=(0, (3, 2)),
                linewidth=1.6,
                zorder=4,
            )
        )


def _corners(points: str) -> list[tuple[float, float]]:
    """Places out of the ``points`` of SVG."""
    pairs = (each.split(",") for each in points.split())
    return [(float(x), float(y)) for x, y in pairs]


def _arrow(ax: Axes, each: StringLine) -> None:
    if not each.arrow:
        return
    y = each.y - ARROW_ABOVE
    style = {"arrowstyle": "-|>", "color": INK, "linewidth": 1.6, "shrinkA": 0, "shrinkB": 0}
    ax.annotate("", xy=(each.then_x, y), xytext=(each.now_x, y), arrowprops=style, zorder=5)


def _best(ax: Axes, each: StringLine) -> None:
    """The best place with its interval, on the string; an end that is open has no stop."""
    best, y = each.ideal, each.y
    if best is None:
        return
    # On white, so that it is seen upon a saddle as well.
    for colour, wider in (("white", 3.0), (INK, 0.0)):
        ends = [best.from_x, best.to_x]
        ax.plot(ends, [y, y], color=colour, linewidth=1.4 + wider, zorder=5)
        ax.plot([best.x], [y], marker="D", markersize=3.5 + wider, color=colour, zorder=5)
    for x, is_open in ((best.from_x, best.open_from), (best.to_x, best.open_to)):
        if not is_open:
            ax.plot([x], [y], marker="|", markersize=6, color=INK, zorder=5)


def _words(ax: Axes, drawing: BridgeDrawing) -> None:
    """What is said at the right of each string, and what the signs are."""
    beside = ax.get_yaxis_transform()
    for each in drawing.strings:
        y = each.y - 6 if each.labelled else each.y
        ax.text(1.02, y, each.move, transform=beside, va="center", fontsize=POINTS - 1)
    for label in drawing.turns:
        text, y = f"{label.turns} {label.direction}", label.y + (9 if label.in_row else 0)
        ax.text(1.02, y, text, transform=beside, va="center", fontsize=POINTS - 2, color=FAINT)
    key = "dashed: where it is; filled: where it should go; pale: stays; bar: the best place, 95 %"
    ax.text(0.0, 1.0, key, transform=ax.transAxes, va="top", fontsize=POINTS - 2, color=FAINT)
