"""The pitch over time of a string's two notes: as the partials show it, and the fit."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from analyzer.errors import UnusableInputError
from analyzer.figures.style import (
    EARLIER,
    FAINT,
    INK,
    NOW,
    POINTS,
    SHADE,
    axes_of,
    only_words,
    plain_axes,
)
from analyzer.page.scale import with_room
from analyzer.pitch.settle import EARLY_S
from analyzer.recording.labels import ERROR_NOTES, OPEN
from analyzer.report.model import RecordingResult, Report

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_HEIGHT_IN = 3.6
_NARROWEST_CENTS = 1.0
_ROOM = 0.08
_OUTERMOST = 0.02  # of the measured points at either end: where a note is faint they are noise


def plot_course(report: Report, string: int, ax: Axes | None = None) -> Axes:
    """Draw how the pitch of a string's notes runs, in cents above the pitch each settles to.

    Open notes are solid lines that begin with a circle, those at the 12th fret dashed ones that
    begin with a square; the lines are the fits, and the dots what the partials show. ``string`` is
    its number; ``ax``: axes to draw on, or None for new ones.

    Raises UnusableInputError for a string that the report has not.
    """
    note = next((each.note for each in report.strings if each.string == string), None)
    if note is None:
        numbers = ", ".join(str(each.string) for each in report.strings)
        raise UnusableInputError("string", f"is {string}", f"Give one of {numbers}")
    ax = axes_of(ax, _HEIGHT_IN)
    takes = drawn_takes(report, string)
    if not takes:
        return only_words(ax, f"String {string} ({note}) has no note to draw.")
    ax.axvspan(*EARLY_S, color=SHADE, linewidth=0)
    ax.axhline(0.0, color=INK, linewidth=1.0)
    named: set[str] = set()
    for each in takes:
        _draw(ax, each, named)
    ends_s = [each.course.times_s[-1] for each in takes if each.course is not None]
    ax.set_xlim(0.0, max(ends_s))
    ax.set_ylim(*_reach(takes))
    ax.text(
        EARLY_S[0], 0.99, "early part", transform=ax.get_xaxis_transform(), va="top",
        fontsize=POINTS - 2, color=FAINT,
    )  # fmt: skip
    ax.legend(frameon=False, fontsize=POINTS - 1, loc="upper right")
    title = f"String {string} ({note}): pitch over time"
    plain_axes(ax, title, "seconds after the pluck", "cents above the settled pitch")
    return ax


def drawn_takes(report: Report, string: int) -> list[RecordingResult]:
    """The recordings in use of the open string and its 12th fret that have a course."""
    found = [
        each
        for each in report.recordings
        if each.string == string and each.fret in ERROR_NOTES and each.course is not None
    ]
    # The dashed lines of the 12th fret lie above the solid ones, which show between the dashes.
    return sorted(found, key=lambda each: each.fret != OPEN)


def _draw(ax: Axes, take: RecordingResult, named: set[str]) -> None:
    """One take; a kind of line is named once, whatever number of takes there is."""
    if take.course is None or take.fret is None:
        return
    is_open = take.fret == OPEN
    colour, name = (NOW if is_open else EARLIER), ERROR_NOTES[take.fret]
    if take.track is not None:
        ax.plot(
            take.track.times_s,
            [float("nan") if cents is None else cents for cents in take.track.cents],
            linestyle="none",
            marker="o" if is_open else "s",
            markersize=2.2,
            color=colour,
            alpha=0.55,
            label=_once(f"{name}, measured", named),
        )
    ax.plot(
        take.course.times_s,
        take.course.cents,
        linestyle="-" if is_open else (0, (5, 2.5)),
        marker="o" if is_open else "s",
        markevery=[0],
        markersize=6.0,
        linewidth=1.8,
        color=colour,
        label=_once(f"{name}, fit", named),
    )


def _once(label: str, named: set[str]) -> str:
    """A label the first time; then what matplotlib leaves out of the key."""
    if label in named:
        return "_"
    named.add(label)
    return label


def _reach(takes: Sequence[RecordingResult]) -> tuple[float, float]:
    """Upward is sharp; the fits and the settled pitch are always in it."""
    fits = [cents for each in takes if each.course is not None for cents in each.course.cents]
    dots = sorted(
        cents
        for each in takes
        if each.track is not None
        for cents in each.track.cents
        if cents is not None
    )
    spare = int(_OUTERMOST * len(dots))
    values = [0.0, *fits, *dots[spare : len(dots) - spare]]
    return with_room(values, _ROOM, _NARROWEST_CENTS)
