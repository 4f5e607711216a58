"""From an instrument's file and that of the next strings to saddles that can be preset."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from analyzer.instrument.file import read_instrument
from analyzer.instrument.model import Instrument
from analyzer.instrument.string_data import StringData
from analyzer.instrument.string_file import read_string_set
from analyzer.music import ISO16_A4_HZ
from analyzer.report.adjustment import adjust
from analyzer.report.model import SaddleResult, StringResult
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
        _presets(instrument, after, changes),
        tuple(_warnings(instrument, changes)),
    )


def _presets(
    instrument: Instrument, after: Mapping[int, StringData], changes: Sequence[StringChange]
) -> tuple[SaddleResult, ...]:
    """The change of each string taken for its error, on the instrument with the next strings."""
    data = {
        number: each.over(instrument.string_data[number])
        for number, each in after.items()
        if number in instrument.string_data
    }
    restrung = replace(instrument, string_data={**instrument.string_data, **data})
    by_string = {each.string: each for each in changes}
    wanted = [_as_result(restrung, by_string.get(number), number) for number in restrung.strings]
    return tuple(
        each for each in adjust(restrung, wanted).saddles if set(each.strings) & set(after)
    )


def _as_result(instrument: Instrument, change: StringChange | None, number: int) -> StringResult:
    """A string that stays keeps its error: it asks for no change."""
    result = StringResult(number, instrument.note(number))
    if change is None:
        return replace(result, error_cents=0.0, error_uncertainty_cents=0.0)
    return replace(
        result,
        error_cents=change.error_change_cents,
        error_uncertainty_cents=change.error_change_uncertainty_cents,
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
