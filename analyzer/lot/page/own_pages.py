"""The page of each instrument that does not conform or is not decided, beside the lot's page."""

from __future__ import annotations

import os
from pathlib import Path

import pandas as pd

from analyzer.errors import UnusableInputError
from analyzer.lot.records import Fault
from analyzer.lot.store import open_store
from analyzer.page.render import as_html
from analyzer.report.files import write_text

FOLDER = "instruments"


def write_own_pages(sessions: pd.DataFrame, store: Path, page: Path) -> dict[str, str]:
    """Write them into a folder beside the store; by serial number, where each is from ``page``.

    ``sessions`` has ``records.SESSION_COLUMNS``. A page is named by the number of its analysis: a
    serial number may be no name of a file. Raises UnusableInputError where one cannot be written.
    """
    wanted = sessions[sessions["latest"] & (sessions["verdict"] != "conform")]
    serials = dict(zip(wanted["analysis"], wanted["serial"], strict=True))
    folder = store.parent / FOLDER
    _make(folder)
    seen_from_page = os.path.relpath(folder.absolute(), page.absolute().parent)
    pages: dict[str, str] = {}
    with open_store(store, create=False, read_only=True) as kept:
        for analysis, report in kept.stored_reports(int(each) for each in serials):
            if not isinstance(report, Fault):
                write_text(folder / f"{analysis}.html", as_html(report))
                pages[serials[analysis]] = Path(seen_from_page, f"{analysis}.html").as_posix()
    return pages


def _make(folder: Path) -> None:
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise UnusableInputError(
            str(folder), f"cannot be made ({error.strerror})", "Check what is there already"
        ) from error
