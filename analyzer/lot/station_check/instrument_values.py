"""A report on the reference instrument -> the values that are kept of it."""

from __future__ import annotations

from collections.abc import Iterator

from scipy.special import ndtri

from analyzer.lot.station_check.model import Value
from analyzer.lot.statistics.figure import CONFIDENCE
from analyzer.music import cents_between, note_hz
from analyzer.report.model import Report, StringResult

WHAT_IT_FINDS = (
    "An instrument finds what changes the error of its strings: placing, plucking, fretting, the "
    "chain, and the instrument itself. It does not find the clock: an error is a ratio of two "
    "notes, and the open pitch goes with temperature and tuning."
)
_OPEN = "goes with temperature and tuning, so it is shown and not judged"


def instrument_values(report: Report) -> tuple[Value, ...]:
    """Error, drift and open pitch of every string, the highest number first."""
    found = [each for string in report.strings for each in _of_string(string, report.a4_hz)]
    return tuple(sorted(found, key=lambda each: each.kind != "charted"))


def _of_string(string: StringResult, a4_hz: float) -> Iterator[Value]:
    half = string.error_uncertainty_cents
    key, name, reason = f"string_{string.string}", f"string {string.string}", string.reason or ""
    yield Value(
        f"{key}_error_cents",
        f"{name} error",
        "cents",
        "charted",
        string.error_cents,
        # Its factor is Student's and larger, so this is the standard uncertainty or more.
        None if half is None else half / float(ndtri((1 + CONFIDENCE) / 2)),
        reason,
        held=True,
    )
    yield Value(
        f"{key}_drift_cents",
        f"{name} drift",
        "cents",
        "charted",
        string.sustain_drift_cents,
        remark=reason,
    )
    cents = None
    if string.open_hz is not None:
        cents = cents_between(note_hz(string.note, a4_hz), string.open_hz)
    yield Value(
        f"{key}_open_pitch_cents", f"{name} open pitch", "cents", "shown", cents, remark=_OPEN
    )
