"""The strings' errors with their intervals, now and in the round before."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from analyzer.figures.style import EARLIER, INK, NOW, POINTS, axes_of, only_words, plain_axes
from analyzer.page.rounding import with_interval
from analyzer.report.model import Report

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_ROW_IN, _AROUND_IN = 0.42, 1.1  # of height
_APART = 0.17  # of a row: now above, before below
_NARROWEST_CENTS = 2.0  # to either side of nought

_Intervals = Mapping[int, tuple[float, float]]


def plot_errors(report: Report, ax: Axes | None = None) -> Axes:
    """Draw the error of each string at the 12th fret, in cents, with its 95 % interval.

    A filled circle is now; a hollow square with a dashed line is the round before. ``ax``: axes to
    draw on, or None for new ones, whose figure is ``ax.figure``.
    """
    ax = axes_of(ax, _AROUND_IN + _ROW_IN * len(report.strings))
    now, before = report.intervals, report.intervals_before
    if not now:
        return only_words(ax, "No string has a result.")
    rows = {each.string: float(row) for row, each in enumerate(report.strings)}
    apart = _APART if before else 0.0
    ax.axvline(0.0, color=INK, linewidth=1.0)
    _draw(ax, now, rows, -apart, earlier=False)
    _draw(ax, before, rows, apart, earlier=True)
    ax.set_yticks(
        list(rows.values()), [f"string {each.string} ({each.note})" for each in report.strings]
    )
    ax.set_ylim(len(rows) - 0.5, -0.5)
    reach = max(_NARROWEST_CENTS, *(abs(x) + half for x, half in (*now.values(), *before.values())))
    ax.set_xlim(-1.1 * reach, 1.1 * reach)
    across = "cents, with 95 % intervals; minus is flat, plus is sharp"
    plain_axes(ax, "Error at the 12th fret", across, None)
    _figures(ax, report, rows, now, before, apart)
    if before:
        ax.legend(
            frameon=False,
            fontsize=POINTS - 1,
            loc="lower right",
            bbox_to_anchor=(1.0, 1.0),
            ncols=2,
        )
    return ax


def _draw(
    ax: Axes, errors: _Intervals, rows: Mapping[int, float], shift: float, *, earlier: bool
) -> None:
    drawn = {string: each for string, each in errors.items() if string in rows}
    if not drawn:
        return
    container = ax.errorbar(
        [value for value, _ in drawn.values()],
        [rows[string] + shift for string in drawn],
        xerr=[half for _, half in drawn.values()],
        fmt="s" if earlier else "o",
        color=EARLIER if earlier else NOW,
        markerfacecolor="white" if earlier else NOW,
        markersize=6.0,
        capsize=3.5,
        linewidth=1.6,
        label="the round before" if earlier else "now",
        zorder=3,
    )
    if earlier:
        container[2][0].set_linestyle("--")


def _figures(
    ax: Axes,
    report: Report,
    rows: Mapping[int, float],
    now: _Intervals,
    before: _Intervals,
    apart: float,
) -> None:
    """The numbers at the right, beside the marks that they belong to."""
    for each in report.strings:
        row = rows[each.string]
        said = with_interval(*now[each.string]) if each.string in now else "no result"
        _beside(ax, row - apart, said or "", INK)
        if each.string in before:
            _beside(ax, row + apart, with_interval(*before[each.string]) or "", EARLIER)


def _beside(ax: Axes, row: float, text: str, colour: str) -> None:
    ax.text(
        1.02, row, text, transform=ax.get_yaxis_transform(), va="center", color=colour,
        fontsize=POINTS - 1,
    )  # fmt: skip
