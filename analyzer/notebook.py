"""The analysis as a notebook likes it: frames, a table that shows itself, figures on axes."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from analyzer.analysis import Progress, analyze_folder
from analyzer.music import ISO16_A4_HZ
from analyzer.notebook_table import as_table
from analyzer.processes import ALL_CORES
from analyzer.recording.limits import TRUSTED, ReadingRules
from analyzer.report.model import Report
from analyzer.report.tables import recordings_frame, strings_frame

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes


@dataclass(frozen=True, repr=False)
class Analysis:
    """What came of a folder of recordings; ``report`` holds all of it.

    In a notebook it shows itself as a table.
    """

    report: Report

    def to_frame(self) -> pd.DataFrame:
        """A row for each string, the highest number first.

        Columns carry their units, as those of ``--csv``: ``error_cents`` with
        ``error_uncertainty_cents`` (half of a 95 % interval), ``saddle_move_mm``, ``turns`` ...
        What could not be had is missing, and ``reason`` says why.

        The demo was made with string 3 sharp by 11.4 cents and string 4 flat by 2.1.

        >>> frame = analyze("sample_audio/own_saddles", jobs=1).to_frame()
        >>> frame.set_index("string").error_cents[[3, 4]].round(1).tolist()
        [11.4, -2.1]
        """
        return strings_frame(self.report)

    def recordings_frame(self) -> pd.DataFrame:
        """A row for each recording, rejected ones too; columns as those of ``--recordings-csv``."""
        return recordings_frame(self.report)

    def plot_errors(self, ax: Axes | None = None) -> Axes:
        """Draw the strings' errors with their intervals, cents, on ``ax`` or on new axes.

        This and the next two need the extra ``plots``, and raise UnusableInputError without it.
        """
        from analyzer.figures import plot_errors

        return plot_errors(self.report, ax=ax)

    def plot_course(self, string: int, ax: Axes | None = None) -> Axes:
        """Draw the pitch over time of a string's notes, cents, on ``ax`` or on new axes."""
        from analyzer.figures import plot_course

        return plot_course(self.report, string, ax=ax)

    def plot_courses(self) -> tuple[Axes, ...]:
        """Draw that of every string with a result, each on new axes."""
        return tuple(self.plot_course(each.string) for each in self.report.measured)

    def __repr__(self) -> str:
        return f"<Analysis of {self.report.instrument!r}: {self.report.verdict()}>"

    def _repr_html_(self) -> str:
        return as_table(self.report)


def analyze(
    folder: Path | str,
    *,
    instrument_file: Path | str | None = None,
    previous: Path | str | None = None,
    turned: Path | str | None = None,
    a4_hz: float = ISO16_A4_HZ,
    jobs: int = ALL_CORES,
    progress: Progress | None = None,
    rules: ReadingRules = TRUSTED,
) -> Analysis:
    """Analyze the labelled recordings of one instrument.

    Parameters and errors are those of ``analyzer.analysis.analyze_folder``, which returns the bare
    report: in short, ``folder`` holds the recordings and ``instrument.toml``; ``previous`` is the
    JSON report of the round before, and ``turned`` the table of what was done since; ``a4_hz`` from
    380 Hz to 500 Hz names the notes; ``jobs`` counts processes, -1 for all cores. Raises
    ``analyzer.errors.UnusableInputError``, a single line, where nothing can be analyzed.

    >>> result = analyze("sample_audio/paired_saddles", jobs=1)
    >>> result.report.complete
    True
    >>> analyze("no such folder")
    Traceback (most recent call last):
    analyzer.errors.UnusableInputError: no such folder: does not exist. ...
    """
    report = analyze_folder(
        folder,
        instrument_file=instrument_file,
        previous=previous,
        turned=turned,
        a4_hz=a4_hz,
        jobs=jobs,
        progress=progress,
        rules=rules,
    )
    return Analysis(report)
