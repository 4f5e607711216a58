"""How all figures look: size, colours, type; the colours are those of the page in the light."""

from __future__ import annotations

from importlib.util import find_spec
from typing import TYPE_CHECKING

from analyzer.errors import UnusableInputError

if TYPE_CHECKING:
    from matplotlib.axes import Axes

INK, FAINT, RULE, SHADE = "#1b2224", "#4a5559", "#6d777b", "#e4e6de"
NOW, EARLIER = "#075e73", "#8f3a10"
WIDTH_IN = 6.4  # of a figure; a column of a sheet of A4 or Letter paper is a little wider
POINTS = 10.0  # of the type
_SMALL_POINTS = 9.0


def check_can_draw(what: str) -> None:
    """Raise UnusableInputError, naming ``what``, where what draws is not installed."""
    if find_spec("matplotlib") is None:
        raise UnusableInputError(
            what,
            "needs matplotlib, which is not installed",
            "Install it with: pip install 'pluckcheck[plots]'",
        )


def axes_of(ax: Axes | None, height_in: float) -> Axes:
    """These axes, or new ones in a figure of their own of this height.

    Raises UnusableInputError where matplotlib is not installed.
    """
    if ax is not None:
        return ax
    check_can_draw("a figure")
    from matplotlib.figure import Figure

    return Figure(figsize=(WIDTH_IN, height_in), layout="constrained").add_subplot()


def plain_axes(ax: Axes, title: str, across: str, up: str | None) -> None:
    """Title and words of the axes with their units; no box where no scale is."""
    ax.set_title(title, fontsize=POINTS + 1, color=INK, loc="left")
    ax.set_xlabel(across, fontsize=POINTS, color=INK)
    if up is not None:
        ax.set_ylabel(up, fontsize=POINTS, color=INK)
    ax.spines[["top", "right"]].set_visible(False)
    for spine in ax.spines.values():
        spine.set_color(RULE)
    ax.tick_params(colors=INK, labelsize=_SMALL_POINTS)


def only_words(ax: Axes, text: str) -> Axes:
    """What is said where there is nothing to draw."""
    ax.set_axis_off()
    ax.text(0.5, 0.5, text, ha="center", va="center", fontsize=POINTS, color=INK, wrap=True)
    return ax
