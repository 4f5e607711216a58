"""The whole way, from a folder of recordings to a report."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import joblib

from analyzer.errors import UnusableInputError
from analyzer.instrument.file import FILE_NAME, read_instrument
from analyzer.instrument.model import Instrument, assumed_instrument
from analyzer.measure import Measured, measure_recording
from analyzer.music import ISO16_A4_HZ
from analyzer.recording.finding import find_recordings
from analyzer.report.build import build_report
from analyzer.report.model import Report

LOWEST_A4_HZ, HIGHEST_A4_HZ = 380.0, 500.0
_FILES_A_WORKER = 24  # starting a worker costs about as much as measuring this many recordings

Progress = Callable[[int, int], None]


def analyze_folder(
    folder: Path,
    *,
    instrument_file: Path | None = None,
    a4_hz: float = ISO16_A4_HZ,
    jobs: int = -1,
    progress: Progress | None = None,
) -> Report:
    """Analyze the labelled recordings of one instrument.

    Parameters
    ----------
    folder : where the recordings are, and instrument.toml unless ``instrument_file`` is given.
    a4_hz : frequency reference for the nominal notes, 380 Hz to 500 Hz. Errors do not depend on it.
    jobs : processes to use; -1 for all cores.
    progress : called with the number of recordings done and their total.

    Raises
    ------
    UnusableInputError
        No folder, no recordings, an instrument file that is wrong, or ``a4_hz`` out of range.
    """
    if not LOWEST_A4_HZ <= a4_hz <= HIGHEST_A4_HZ:
        raise UnusableInputError(
            "--a4", f"is {a4_hz:g} Hz", f"Give {LOWEST_A4_HZ:g} to {HIGHEST_A4_HZ:g} Hz"
        )
    if jobs == 0:
        raise UnusableInputError("--jobs", "is 0", "Give 1 or more, or -1 for all cores")
    files = find_recordings(folder)
    instrument, warnings = _instrument(folder, instrument_file)
    measured = _measure_all(files, instrument, a4_hz, jobs, progress)
    return build_report(instrument, a4_hz, measured, warnings)


def _measure_all(
    files: Sequence[Path],
    instrument: Instrument,
    a4_hz: float,
    jobs: int,
    progress: Progress | None,
) -> list[Measured]:
    workers = min(joblib.effective_n_jobs(jobs), -(-len(files) // _FILES_A_WORKER))
    pool = joblib.Parallel(n_jobs=workers, return_as="generator")
    tasks = (joblib.delayed(measure_recording)(path, instrument, a4_hz) for path in files)
    measured = []
    for each in pool(tasks):
        measured.append(each)
        if progress is not None:
            progress(len(measured), len(files))
    return measured


def _instrument(folder: Path, given: Path | None) -> tuple[Instrument, list[str]]:
    if given is not None:
        return read_instrument(given), []
    beside = folder / FILE_NAME
    if beside.exists():
        return read_instrument(beside), []
    instrument = assumed_instrument()
    warning = (
        f"No {FILE_NAME} in {folder}: {' '.join(instrument.tuning)} is assumed. Without a scale "
        "length and a bridge there are errors in cents, but no saddle movement and no turns."
    )
    return instrument, [warning]
