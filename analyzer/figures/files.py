"""The figures of a report as files: PNG and SVG, the same bytes for the same report."""

from __future__ import annotations

import errno
import logging
import os
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

from analyzer.errors import UnusableInputError
from analyzer.figures import plot_bridge, plot_course, plot_errors
from analyzer.figures.course import drawn_takes
from analyzer.figures.style import check_can_draw
from analyzer.instrument.file import MOST_STRINGS
from analyzer.report.files import check_place, write_bytes
from analyzer.report.model import Report

if TYPE_CHECKING:
    from matplotlib.axes import Axes

DPI = 200  # of the PNG; 6.4 inches are 1280 dots
_FORMATS = ("png", "svg")
_SETTINGS: dict[Any, Any] = {"svg.hashsalt": "pluckcheck", "svg.fonttype": "path"}


def figure_names() -> tuple[str, ...]:
    """Every name that a figure can have, whatever the report."""
    stems = ["errors", "bridge", *(f"string_{n}" for n in range(1, MOST_STRINGS + 1))]
    return tuple(f"{stem}.{kind}" for stem in stems for kind in _FORMATS)


def check_folder(folder: Path) -> None:
    """Look, before the work is done, whether figures can be written into this folder.

    It may be missing where its parent is there. Raises UnusableInputError where it is a file, has
    no place to be, or may not be written to; and where the library that draws is not installed.
    """
    check_can_draw("--plots")
    if not os.path.lexists(folder):
        if not folder.parent.is_dir():
            raise _not_made(folder, os.strerror(errno.ENOENT))
        check_place(folder)
        return
    if not folder.is_dir():
        raise UnusableInputError(str(folder), "is not a folder", "Give a folder for the figures")
    for name in figure_names():
        check_place(folder / name)


def write_figures(report: Report, folder: Path) -> None:
    """Write every figure of a report into a folder, which is made where it is not there.

    Raises UnusableInputError where one cannot be written.
    """
    # Before it is imported: where it keeps its fonts is its own matter.
    logging.getLogger("matplotlib").setLevel(logging.ERROR)
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise _not_made(folder, error.strerror) from error
    for stem, ax in _figures(report):
        for kind in _FORMATS:
            write_bytes(folder / f"{stem}.{kind}", _saved(ax, kind))


def _not_made(folder: Path, why: str | None) -> UnusableInputError:
    return UnusableInputError(
        str(folder),
        f"cannot be made ({why})",
        "Give a folder in one that exists and can be written to",
    )


def _figures(report: Report) -> Iterator[tuple[str, Axes]]:
    """Names without user's words, and the figures; those with nothing to draw are left out."""
    yield "errors", plot_errors(report)
    if report.saddles and report.layout is not None:
        yield "bridge", plot_bridge(report)
    for each in report.strings:
        if drawn_takes(report, each.string):
            yield f"string_{each.string}", plot_course(report, each.string)


def _saved(ax: Axes, kind: str) -> bytes:
    """A figure as bytes; no date and no version in them, so that the same report gives the same."""
    import matplotlib as mpl
    from matplotlib.figure import Figure

    figure, content = ax.figure, BytesIO()
    if not isinstance(figure, Figure):
        raise TypeError("axes of a part of a figure are not saved")
    metadata = {"Software": None} if kind == "png" else {"Date": None, "Creator": "pluckcheck"}
    with mpl.rc_context(_SETTINGS):
        figure.savefig(content, format=kind, dpi=DPI, metadata=metadata, facecolor="white")
    return content.getvalue()
