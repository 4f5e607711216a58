"""What was done on this bridge since an earlier report: as it advised, or as was turned."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from analyzer.bridge.response import Response, prior_response
from analyzer.bridge.steps import move_of_turns_mm
from analyzer.errors import UnusableInputError
from analyzer.instrument.model import Adjuster, Bridge, Instrument
from analyzer.instrument.tables import shown
from analyzer.report.adjustment import Done
from analyzer.report.earlier import EarlierAdjuster, EarlierReport


def check_same_instrument(one: EarlierReport, name: str | None, tuning: Sequence[str]) -> None:
    """Raise UnusableInputError where a report is of another instrument than ``name``.

    ``name`` is None where it is only that of a folder: each round has a folder of its own.
    """
    if one.tuning != tuple(tuning):
        found = f"is of strings {' '.join(one.tuning)}, and this has {' '.join(tuning)}"
    elif one.name_given and name is not None and one.instrument != name:
        found = f"is of {shown(one.instrument)}, and this is {shown(name)}"
    else:
        return
    raise UnusableInputError(one.file, found, "Give the earlier report of the same instrument")


def done_before(
    earlier: EarlierReport, instrument: Instrument, turned_mm: Mapping[str, float] | None = None
) -> Done:
    """What was done since an earlier report: as it advised, or as ``turned_mm`` says.

    What had been learned against another thread or scale length than the file gives now is
    forgotten: it was a share of what those would do.

    Raises UnusableInputError where it is of another instrument or bridge, or lacks what is needed.
    """
    name = instrument.name if instrument.name_given else None
    check_same_instrument(earlier, name, instrument.tuning)
    bridge = instrument.bridge
    if bridge is None or instrument.scale_lengths_mm is None:
        raise UnusableInputError(
            "--previous",
            "needs a bridge to learn about",
            "Give scale_length_mm and a [bridge] in the instrument file",
        )
    learned = _checked_response(earlier, bridge)
    pairs = list(zip(earlier.adjusters, bridge.adjusters, strict=True))
    advised = {was.name: _advised_mm(was, now) for was, now in pairs}
    mended = tuple(_mended(earlier, instrument, pairs))
    return Done(
        earlier.file,
        dict(known_errors(earlier)),
        advised if turned_mm is None else turned_mm,
        {each.name: each.travel_mm for each in earlier.adjusters},
        {each.name: each.moved_mm for each in earlier.adjusters},
        prior_response(bridge.adjusters) if mended else learned,
        turned_mm is not None,
        mended if learned.rounds else (),
    )


def _checked_response(earlier: EarlierReport, bridge: Bridge) -> Response:
    """What had been learned, where the report is of this very bridge."""
    names = [each.name for each in bridge.adjusters]
    if earlier.response is not None and [each.name for each in earlier.adjusters] == names:
        return earlier.response
    had = ", ".join(each.name for each in earlier.adjusters) or "none"
    raise UnusableInputError(
        earlier.file,
        f"has the adjusters {had}, and the instrument file {', '.join(names)}",
        "Give the report of this bridge, and the instrument file as it was",
    )


def _mended(
    earlier: EarlierReport,
    instrument: Instrument,
    pairs: Sequence[tuple[EarlierAdjuster, Adjuster]],
) -> Iterator[str]:
    """The keys by which the geometry is another than it was for the earlier report."""
    if earlier.scale_lengths_mm not in (None, instrument.scale_lengths_mm):
        yield "scale_length_mm"
    if any(was.pitch_mm != (now.screw.pitch_mm if now.screw else None) for was, now in pairs):
        yield "thread"


def _advised_mm(was: EarlierAdjuster, now: Adjuster) -> float:
    """What the advice did: turns were made, and what they move is what the file says now."""
    if was.turns is None or was.direction is None or now.screw is None:
        return was.move_mm
    return move_of_turns_mm(was.turns, was.direction, now.screw)


def known_errors(earlier: EarlierReport) -> Iterator[tuple[int, tuple[float, float]]]:
    """Strings with a result, and its error with the half-width of its interval, cents."""
    for each in earlier.strings:
        if each.error_cents is not None and each.error_uncertainty_cents is not None:
            yield each.string, (each.error_cents, each.error_uncertainty_cents)
