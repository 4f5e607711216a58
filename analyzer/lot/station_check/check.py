"""A recording of a tone, or a folder of the reference instrument -> what it says of the station."""

from __future__ import annotations

import hashlib
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from analyzer.analysis import Progress, analyze_folder
from analyzer.errors import RecordingError, UnusableInputError
from analyzer.inspection.look import check_is_file
from analyzer.lot.identity import sha256_of
from analyzer.lot.station_check.instrument_values import WHAT_IT_FINDS, instrument_values
from analyzer.lot.station_check.judge import judge
from analyzer.lot.station_check.kept import Checks, had_channel, past_checks, rows_of
from analyzer.lot.station_check.model import Check, CheckedStation, Past
from analyzer.lot.station_check.thresholds import (
    BASELINE_CHECKS,
    FEWEST_BASELINE_CHECKS,
    MOST_BASELINE_CHECKS,
)
from analyzer.lot.station_check.tone import check_tone_hz, tone_of_recording
from analyzer.lot.station_check.tone_values import CHANNEL, tone_told, tone_values
from analyzer.recording.finding import find_recordings
from analyzer.recording.limits import TRUSTED, ReadingRules

_LATE_S = 3600.0  # a clock may be set wrong by an hour for summer time
_LONGEST_NAME = 200


@dataclass(frozen=True)
class CheckRequest:
    """What is asked of a check.

    ``place``: a recording of a tone of ``tone_hz``, or without one the folder of an instrument.
    ``at``: ISO 8601, when it was recorded; without it, when the file was last changed.
    ``baseline_checks``: how many make a baseline; ``new_baseline``: one begins with this check.
    ``tolerance_cents``: how far the pitch may be from the stated tone, and a string's error from
    its baseline, whatever the limits say.
    """

    place: Path
    station: str
    tone_hz: float | None = None
    at: str | None = None
    baseline_checks: int = BASELINE_CHECKS
    new_baseline: bool = False
    tolerance_cents: float | None = None
    rules: ReadingRules = TRUSTED


def check_request(request: CheckRequest) -> None:
    """Raise UnusableInputError for what cannot be asked, before anything is read."""
    if not request.station.strip() or len(request.station) > _LONGEST_NAME:
        raise UnusableInputError(
            "--station",
            f"is {request.station!r}",
            f"Give the station's name, {_LONGEST_NAME} characters at most",
        )
    if not FEWEST_BASELINE_CHECKS <= request.baseline_checks <= MOST_BASELINE_CHECKS:
        raise UnusableInputError(
            "--baseline",
            f"is {request.baseline_checks}",
            f"Give {FEWEST_BASELINE_CHECKS} to {MOST_BASELINE_CHECKS} checks; "
            f"{BASELINE_CHECKS} is good",
        )
    tolerance = request.tolerance_cents
    if tolerance is not None and not 0 < tolerance < 100:  # no comparison holds for NaN
        raise UnusableInputError(
            "--tolerance-cents", f"is {tolerance:g}", "Give more than 0 and less than 100, as 0.3"
        )
    _moment_s(request)
    _check_kind(request)


def _check_kind(request: CheckRequest) -> None:
    where = str(request.place)
    if request.place.is_dir():
        if request.tone_hz is not None:
            found = "is a folder, and --tone is of one recording"
            raise UnusableInputError(where, found, "Give the recording of the tone, or no --tone")
        return
    check_is_file(request.place)
    if request.tone_hz is None:
        raise UnusableInputError(
            where,
            "is a recording, and of which tone is not said",
            "Give its frequency with --tone HZ, or the folder of a reference instrument",
        )
    check_tone_hz(request.tone_hz)


def files_read(request: CheckRequest) -> list[Path]:
    """Every recording of a check, so that no output takes its place."""
    if request.place.is_dir():
        return find_recordings(request.place, request.rules.limits)
    return [request.place]


def check_station(
    request: CheckRequest, kept: Checks, *, jobs: int = -1, progress: Progress | None = None
) -> CheckedStation:
    """Measure a reference, hold it to the checks that are kept, and keep it with them.

    Raises UnusableInputError where the request or what it names cannot be used. What holds no
    reference that can be measured is a result too, and is kept.
    """
    check_request(request)
    if request.tone_hz is None:
        check, past = _instrument(request, kept, jobs, progress)
    else:
        check, past = _tone(request, request.tone_hz, kept)
    before = next((each for each in past if each.sha256 == check.sha256), None)
    begins = request.new_baseline or (before is not None and before.begins)
    found = judge(
        check,
        past,
        baseline_checks=request.baseline_checks,
        begins=begins,
        tolerance_cents=request.tolerance_cents,
        cautions=tuple(_on_time(check, past, before)),
    )
    kept.add_station_checks(rows_of(found, begins=begins))
    return found


def _tone(request: CheckRequest, tone_hz: float, kept: Checks) -> tuple[Check, list[Past]]:
    reference = f"tone {tone_hz:.10g} Hz"
    past = past_checks(kept, request.station, reference)
    base = _named(request, reference, [request.place])
    channel = None if request.new_baseline else had_channel(past, CHANNEL)
    try:
        tone = tone_of_recording(request.place, tone_hz, channel, request.rules)
    except RecordingError as error:
        return replace(base, reason=error.reason.rstrip(".")), past
    return replace(base, values=tone_values(tone), told=tone_told(tone)), past


def _instrument(
    request: CheckRequest, kept: Checks, jobs: int, progress: Progress | None
) -> tuple[Check, list[Past]]:
    files = files_read(request)
    report = analyze_folder(request.place, jobs=jobs, progress=progress, rules=request.rules)
    reference = f"instrument {report.instrument}"
    check = _named(request, reference, files)
    told = (
        ("Recordings", f"{len(report.recordings)}, {len(report.rejected)} left out"),
        ("It finds", WHAT_IT_FINDS),
    )
    cautions = tuple(f"{each.named}: left out, {each.reason}" for each in report.rejected)
    check = replace(check, values=instrument_values(report), told=told, cautions=cautions)
    return check, past_checks(kept, request.station, reference)


def _named(request: CheckRequest, reference: str, files: Sequence[Path]) -> Check:
    try:
        digests = [sha256_of(each) for each in files]
        changed_s = max(each.stat().st_mtime for each in files)
    except OSError as error:
        raise UnusableInputError(
            str(request.place), f"cannot be read ({error.strerror})", "Check its permissions"
        ) from error
    digest = digests[0]
    if request.tone_hz is None:
        digest = hashlib.sha256("".join(digests).encode()).hexdigest()
    moment_s = _moment_s(request)
    checked_s = changed_s if moment_s is None else moment_s
    moment = datetime.fromtimestamp(checked_s, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    station = request.station.strip()
    return Check(station, reference, digest, request.place.name, moment, checked_s, ())


def _moment_s(request: CheckRequest) -> float | None:
    """``at`` in seconds since 1970; a time without an offset is UTC."""
    if request.at is None:
        return None
    try:
        moment = datetime.fromisoformat(request.at)
        moment = (moment if moment.tzinfo else moment.replace(tzinfo=UTC)).astimezone(UTC)
        return moment.timestamp()
    except (ValueError, OverflowError) as error:
        raise UnusableInputError(
            "--at", f"is {request.at!r}", "Give a time such as 2026-03-01T08:00:00Z"
        ) from error


def _on_time(check: Check, past: Sequence[Past], before: Past | None) -> Iterator[str]:
    if before is not None:
        yield "this recording was checked before: it takes its own place, and is no second check"
        if before.checked_at != check.checked_at:
            yield (
                f"its time was {before.checked_at} then, and no two recordings are the same: look "
                "whether the station stores what it hears, or gives an old file again"
            )
        return
    later = [each for each in past if each.checked_s > check.checked_s]
    if later:
        yield (
            f"it was recorded at {check.checked_at}, before the last check "
            f"({later[-1].checked_at}): held to what came before it. If a clock is wrong, give "
            "the time with --at"
        )
    if check.checked_s > time.time() + _LATE_S:
        yield f"its time, {check.checked_at}, is yet to come: set the clock, or give --at"
