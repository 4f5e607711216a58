"""The whole way, from a folder of recordings to a report."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import joblib

from analyzer.beside import check_a4, instrument_beside, table_beside
from analyzer.cross_check import judge_together
from analyzer.errors import UnusableInputError, printable
from analyzer.instrument.file import FILE_NAME
from analyzer.instrument.model import Instrument
from analyzer.measure import Measured, measure_file
from analyzer.music import ISO16_A4_HZ
from analyzer.processes import ALL_CORES, check_jobs, for_parent, starting_processes, too_many
from analyzer.recording.finding import find_recordings
from analyzer.recording.limits import DEFAULT_LIMITS, TRUSTED, Limits, ReadingRules
from analyzer.recording.table import FILE_NAME as TABLE_NAME
from analyzer.recording.table import Listed
from analyzer.report.adjustment import Done
from analyzer.report.build import build_report
from analyzer.report.comparison import Comparison, compare_reports
from analyzer.report.earlier import EarlierReport, parse_report, read_report
from analyzer.report.files import as_json
from analyzer.report.model import Report
from analyzer.report.round_before import done_before
from analyzer.report.turned import read_turned

_FILES_A_WORKER = 24  # starting a worker costs about as much as measuring this many recordings

Progress = Callable[[int, int], None]


def analyze_folder(
    folder: Path | str,
    *,
    instrument_file: Path | str | None = None,
    previous: Path | str | None = None,
    turned: Path | str | None = None,
    a4_hz: float = ISO16_A4_HZ,
    jobs: int = ALL_CORES,
    progress: Progress | None = None,
    rules: ReadingRules = TRUSTED,
) -> Report:
    """Analyze the labelled recordings of one instrument.

    Parameters
    ----------
    folder : where the recordings are, and instrument.toml unless ``instrument_file`` is given.
    previous : the JSON report of the round before, to learn from what was done since.
    turned : table of what was really turned since then; without it, what was advised.
    a4_hz : frequency reference for the nominal notes, 380 Hz to 500 Hz. Errors do not depend on it.
    jobs : processes to use, 1 or more; -1 for all cores.
    progress : called with the number of recordings done and their total.
    rules : the limits on what is read, and whether the sender of the recordings is trusted.

    Raises
    ------
    UnusableInputError
        No folder, no recordings or too many, a wrong instrument file, earlier report or table, or
        ``a4_hz`` or ``jobs`` out of range.

    Examples
    --------
    The demo's saddles were all set up too near the nut but two, and its string 3 worst:

    >>> report = analyze_folder("sample_audio/own_saddles", jobs=1)
    >>> max(report.strings, key=lambda each: each.error_cents).string
    3
    """
    check_jobs(jobs)
    inputs = read_inputs(
        folder, instrument_file, previous=previous, turned=turned, a4_hz=a4_hz, rules=rules
    )
    return report_from(inputs, jobs=jobs, progress=progress)


@dataclass(frozen=True)
class Inputs:
    """All that an analysis is made from but the sound: read, and found right.

    ``files``: every recording of ``folder``; ``listed``: what a table of takes says, by file name.
    """

    folder: Path
    files: tuple[Path, ...]
    instrument: Instrument
    warnings: tuple[str, ...]
    listed: Mapping[str, Sequence[Listed]]
    done: Done | None
    a4_hz: float
    rules: ReadingRules


def read_inputs(
    folder: Path | str,
    instrument_file: Path | str | None = None,
    *,
    previous: Path | str | None = None,
    turned: Path | str | None = None,
    a4_hz: float = ISO16_A4_HZ,
    rules: ReadingRules = TRUSTED,
) -> Inputs:
    """Read what stands beside the recordings; parameters and errors as of ``analyze_folder``."""
    check_a4(a4_hz)
    folder = Path(folder)
    files = find_recordings(folder, rules.limits)
    instrument, warnings = instrument_beside(folder, instrument_file, rules)
    done = _done(previous, turned, instrument)
    listed = table_beside(folder, instrument, files, rules)
    return Inputs(folder, tuple(files), instrument, tuple(warnings), listed, done, a4_hz, rules)


def report_from(
    inputs: Inputs, *, jobs: int = ALL_CORES, progress: Progress | None = None
) -> Report:
    """Measure and report what ``read_inputs`` found; the rest as of ``analyze_folder``."""
    check_jobs(jobs)
    return report_of(inputs, measure_files(inputs, inputs.files, jobs, progress), jobs)


def measure_files(
    inputs: Inputs, files: Sequence[Path], jobs: int, progress: Progress | None = None
) -> list[list[Measured]]:
    """What is measured in each of some recordings, in their order.

    Raises UnusableInputError where the processes cannot be had.
    """
    if not files:
        return []
    measure = partial(
        measure_file, instrument=inputs.instrument, a4_hz=inputs.a4_hz, rules=inputs.rules
    )
    return _measure_all(files, inputs.listed, measure, jobs, progress)


def report_of(inputs: Inputs, measured: Sequence[Sequence[Measured]], jobs: int) -> Report:
    """The report, from what was measured in each recording."""
    every = [each for file in measured for each in file]
    together = judge_together(every, inputs.instrument, inputs.a4_hz)
    report = build_report(inputs.instrument, inputs.a4_hz, together, inputs.warnings, inputs.done)
    return replace(report, reading=(*inputs.rules.changed(), *_processes(jobs)))


def _processes(jobs: int) -> tuple[tuple[str, str], ...]:
    return () if jobs == ALL_CORES else (("Processes, at most", str(jobs)),)


def compare(before: Path, after: Path, rules: ReadingRules = TRUSTED) -> Comparison:
    """Compare two reports (JSON files), or folders of recordings, of one instrument.

    ``rules`` are for folders: see ``analyze_folder``.

    Raises UnusableInputError where one cannot be read, or they are of different instruments.

    >>> folder = Path("sample_audio/paired_saddles")
    >>> {each.verdict for each in compare(folder, folder).strings}  # nothing changed in between
    {'no sure change'}
    """
    return compare_reports(*(_read_or_analyzed(path, rules) for path in (before, after)))


def _read_or_analyzed(path: Path, rules: ReadingRules) -> EarlierReport:
    if not path.is_dir():
        return read_report(path)
    report = analyze_folder(path, rules=rules)
    return parse_report(printable(path.name) or str(path), as_json(report))


def _done(
    previous: Path | str | None, turned: Path | str | None, instrument: Instrument
) -> Done | None:
    if previous is None:
        if turned is not None:
            raise UnusableInputError(
                "--turned", "stands alone", "Give the report of the round before with --previous"
            )
        return None
    earlier = read_report(Path(previous))
    if turned is None or instrument.bridge is None:
        return done_before(earlier, instrument)
    return done_before(earlier, instrument, read_turned(Path(turned), instrument.bridge.adjusters))


def _measure_all(
    files: Sequence[Path],
    listed: Mapping[str, Sequence[Listed]],
    measure: Callable[[Path, Sequence[Listed]], list[Measured]],
    jobs: int,
    progress: Progress | None,
) -> list[list[Measured]]:
    workers = min(joblib.effective_n_jobs(jobs), -(-len(files) // _FILES_A_WORKER))
    pool = joblib.Parallel(n_jobs=workers, return_as="generator")
    measuring, parent = joblib.delayed(for_parent), os.getpid()
    tasks = (measuring(parent, measure, path, listed.get(path.name, ())) for path in files)
    measured: list[list[Measured]] = []
    try:
        with starting_processes():
            results = pool(tasks)
        for done, each in enumerate(results, 1):
            measured.append(each)
            if progress is not None:
                progress(done, len(files))
    except BrokenProcessPool as error:
        raise too_many(workers) from error
    return measured


def input_files(
    folder: Path,
    instrument_file: Path | None = None,
    *others: Path | None,
    limits: Limits = DEFAULT_LIMITS,
) -> list[Path]:
    """Every file that an analysis of this folder reads, so that no output takes its place.

    ``others`` are the earlier report and the table of what was turned, where they are given.

    Raises UnusableInputError where there is no such folder or no recording in it.
    """
    known = [
        *find_recordings(folder, limits),
        instrument_file or folder / FILE_NAME,
        folder / TABLE_NAME,
    ]
    return [*known, *(each for each in others if each is not None)]
