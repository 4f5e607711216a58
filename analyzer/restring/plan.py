"""From an instrument's file and that of the next strings to saddles that can be preset."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from analyzer.bridge import Need, set_saddle
from analyzer.instrument.file import read_instrument
from analyzer.instrument.model import Bridge, Instrument
from analyzer.instrument.string_data import StringData
from analyzer.instrument.string_file import read_string_set
from analyzer.music import ISO16_A4_HZ
from analyzer.report.model import SaddleResult
from analyzer.restring.predict import StringChange, change_of

# A pull that grows by more than this share is worth a word. A judgement.
TENSION_RISE = 0.1
LIMITS = (
    "A change of strings, and not the error itself: the saddle is taken to be right for what is on "
    "now. Within the ±: how well the strings' data are known and how their ends are held. Not in "
    "it: uneven strings, another way of fretting, a neck that bends. Record the new strings and go "
    "by that."
)


@dataclass(frozen=True)
class RestringPlan:
    """What the next strings change on one instrument.

    ``saddles`` says what to do before they are on; its ``residual_cents`` are what the 12th frets
    then differ by from now.
    """

    instrument: str
    tuning: tuple[str, ...]
    a4_hz: float
    strings: tuple[StringChange, ...]
    saddles: tuple[SaddleResult, ...]
    warnings: tuple[str, ...]

    @property
    def complete(self) -> bool:
        return all(each.reason is None for each in self.strings)


def plan_restringing(
    instrument_file: Path, next_file: Path, a4_hz: float = ISO16_A4_HZ
) -> RestringPlan:
    """What the strings of one file change on the instrument of the other.

    Strings that ``next_file`` does not list stay on.

    Raises UnusableInputError where a file cannot be used.
    """
    instrument = read_instrument(instrument_file)
    after = read_string_set(next_file, instrument)
    return plan_of(instrument, after, a4_hz)


def plan_of(
    instrument: Instrument, after: Mapping[int, StringData], a4_hz: float = ISO16_A4_HZ
) -> RestringPlan:
    """As ``plan_restringing``, from values."""
    changes = tuple(
        change_of(instrument, number, after[number], a4_hz)
        for number in instrument.strings
        if number in after
    )
    return RestringPlan(
        instrument.name,
        instrument.tuning,
        a4_hz,
        changes,
        tuple(_presets(instrument, changes)),
        tuple(_warnings(instrument, changes)),
    )


def _presets(instrument: Instrument, changes: Sequence[StringChange]) -> Iterator[SaddleResult]:
    bridge = instrument.bridge
    if bridge is None:
        return
    by_string = {each.string: each for each in changes}
    for carried in bridge.saddles:
        if any(number in by_string for number in carried):
            yield _preset(instrument, bridge, carried, by_string)


def _preset(
    instrument: Instrument,
    bridge: Bridge,
    carried: tuple[int, ...],
    by_string: Mapping[int, StringChange],
) -> SaddleResult:
    needs: dict[int, Need] = {}
    for number in carried:
        change = by_string.get(number)
        cents = 0.0 if change is None else change.error_change_cents
        length_mm = instrument.scale_length_mm(number)
        if cents is None or length_mm is None:
            return SaddleResult(carried, f"String {number} has no prediction.")
        needs[number] = Need(cents, length_mm)
    found = set_saddle(needs, bridge)
    reason = None
    if found.short_by_mm:
        reason = f"The travel ends {abs(found.short_by_mm):.2f} mm short of the best place."
    return SaddleResult(
        carried, reason, found.move_mm, found.turns, found.direction, found.residual_cents
    )


def _warnings(instrument: Instrument, changes: Sequence[StringChange]) -> Iterator[str]:
    staying = [number for number in instrument.strings if number not in _numbers(changes)]
    if staying:
        yield f"Strings that stay on: {', '.join(map(str, staying))}."
    pulls = [(each.tension_now_n, each.tension_next_n) for each in changes]
    known = [(now, after) for now, after in pulls if now is not None and after is not None]
    before_n, after_n = sum(now for now, _ in known), sum(after for _, after in known)
    if known and after_n > (1 + TENSION_RISE) * before_n:
        yield (
            f"These strings pull with {after_n:.0f} N instead of {before_n:.0f} N. Make sure that "
            "the instrument is built for that; a lifting bridge or a neck that bends goes to a "
            "qualified repairer."
        )


def _numbers(changes: Sequence[StringChange]) -> set[int]:
    return {each.string for each in changes}
