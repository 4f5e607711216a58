"""The page of each instrument that does not conform or is not decided, beside the lot's page."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from pathlib import Path

import pandas as pd

from analyzer.errors import UnusableInputError
from analyzer.lot.page.words import SAID
from analyzer.lot.records import Fault
from analyzer.lot.store import open_store
from analyzer.page.render import as_html
from analyzer.report.files import write_text

FOLDER = "instruments"
_PLAIN = re.compile(r"(?!(?:con|prn|aux|nul|com\d|lpt\d)$)[a-z0-9][a-z0-9_-]{0,99}", re.IGNORECASE)


def write_own_pages(sessions: pd.DataFrame, store: Path, page: Path) -> dict[str, str]:
    """Write them into a folder beside the store; by serial number, where each is from ``page``.

    ``sessions`` has ``records.SESSION_COLUMNS``. A page is named by its serial number, and takes
    the place of an earlier one. Raises UnusableInputError where one cannot be written.
    """
    wanted = sessions[sessions["latest"] & (sessions["verdict"] != "conform")]
    serials = dict(zip(wanted["analysis"], wanted["serial"], strict=True))
    about = dict(_about(wanted))
    folder = store.parent / FOLDER
    _make(folder)
    seen_from_page = os.path.relpath(folder.absolute(), page.absolute().parent)
    pages: dict[str, str] = {}
    with open_store(store, create=False, read_only=True) as kept:
        for analysis, report in kept.stored_reports(int(each) for each in serials):
            if not isinstance(report, Fault):
                serial = serials[analysis]
                name = _file_name(serial, analysis)
                write_text(folder / name, as_html(report, about=about[analysis]))
                pages[serial] = Path(seen_from_page, name).as_posix()
    return pages


def _file_name(serial: str, analysis: int) -> str:
    """A serial number may be no name of a file: then the number of its analysis, behind a _."""
    return f"{serial if _PLAIN.fullmatch(serial) else f'_{analysis}'}.html"


def _about(sessions: pd.DataFrame) -> Iterator[tuple[int, tuple[str, ...]]]:
    """Which instrument it is, and what was decided of it and why."""
    columns = ["analysis", "serial", "station", "recorded_at", "verdict", "reason"]
    for analysis, serial, station, at, verdict, reason in sessions[columns].itertuples(index=False):
        where = f", station {station}" if isinstance(station, str) and station else ""
        when = "" if pd.isna(at) else f", recorded {at:%Y-%m-%d %H:%M}"
        named = f"Serial number {serial}{where}{when}"
        yield int(analysis), (named, f"{SAID[verdict].capitalize()}. {reason}")


def _make(folder: Path) -> None:
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise UnusableInputError(
            str(folder), f"cannot be made ({error.strerror})", "Check what is there already"
        ) from error
