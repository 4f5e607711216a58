"""From an instrument's file and that of the next strings to saddles that can be preset."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from analyzer.bridge.effect import effects_of
from analyzer.instrument.file import read_instrument
from analyzer.instrument.model import Instrument
from analyzer.instrument.string_data import StringData
from analyzer.instrument.string_file import read_string_set
from analyzer.music import ISO16_A4_HZ
from analyzer.report.adjustment import adjust
from analyzer.report.earlier import read_report
from analyzer.report.model import SaddleResult, StringResult
from analyzer.restring.measured import MeasuredNow, measured_now, with_error
from analyzer.restring.predict import StringChange, change_of

# A pull that grows by more than this share is worth a word. A judgement.
TENSION_RISE = 0.1
LIMITS = (
    "A change of strings, and not the error itself: the saddle is taken to be right for what is on "
    "now."
)
LIMITS_MEASURED = "The error that was measured, and the change of strings on top of it."
NOT_IN_IT = (
    "Within the ±: how well the strings' data are known and how their ends are held. Not in "
    "it: uneven strings, another way of fretting, a neck that bends. Record the new strings and go "
    "by that."
)


@dataclass(frozen=True)
class RestringPlan:
    """What the next strings change on one instrument.

    ``saddles`` says what to do before they are on; its ``residual_cents`` are what the 12th frets
    then differ by from now or, where a ``report`` says how far they are off now, from the octave.
    """

    instrument: str
    tuning: tuple[str, ...]
    a4_hz: float
    strings: tuple[StringChange, ...]
    saddles: tuple[SaddleResult, ...]
    warnings: tuple[str, ...]
    report: str | None = None

    @property
    def limits(self) -> str:
        """What the figures are, and what they leave out."""
        return f"{LIMITS if self.report is None else LIMITS_MEASURED} {NOT_IN_IT}"

    @property
    def complete(self) -> bool:
        return all(each.reason is None for each in self.strings)


def plan_restringing(
    instrument_file: Path,
    next_file: Path,
    a4_hz: float = ISO16_A4_HZ,
    report: Path | None = None,
) -> RestringPlan:
    """What the strings of one file change on the instrument of the other.

    Strings that ``next_file`` does not list stay on. ``report`` is the JSON report of the
    instrument as it is now: with it, saddles are preset for the error that will be.

    Raises UnusableInputError where a file cannot be used.
    """
    instrument = read_instrument(instrument_file)
    after = read_string_set(next_file, instrument)
    now = None if report is None else measured_now(read_report(report), instrument)
    return plan_of(instrument, after, a4_hz, now)


def plan_of(
    instrument: Instrument,
    after: Mapping[int, StringData],
    a4_hz: float = ISO16_A4_HZ,
    now: MeasuredNow | None = None,
) -> RestringPlan:
    """As ``plan_restringing``, from values."""
    restrung = _restrung(instrument, after)
    changes = tuple(
        change_of(instrument, number, after[number], a4_hz)
        for number in instrument.strings
        if number in after
    )
    if now is not None:
        effects = effects_of(restrung)
        changes = tuple(with_error(each, now, effects[each.string]) for each in changes)
    return RestringPlan(
        instrument.name,
        instrument.tuning,
        a4_hz,
        changes,
        _presets(restrung, changes, now),
        tuple(_warnings(instrument, changes)),
        None if now is None else now.file,
    )


def _restrung(instrument: Instrument, after: Mapping[int, StringData]) -> Instrument:
    """The instrument with the next strings."""
    data = {
        number: each.over(instrument.string_data[number])
        for number, each in after.items()
        if number in instrument.string_data
    }
    return replace(instrument, string_data={**instrument.string_data, **data})


def _presets(
    restrung: Instrument, changes: Sequence[StringChange], now: MeasuredNow | None
) -> tuple[SaddleResult, ...]:
    """What the next strings will be off, or change, taken for their error."""
    by_string = {each.string: each for each in changes}
    wanted = [
        _as_result(StringResult(number, restrung.note(number)), by_string.get(number), now)
        for number in restrung.strings
    ]
    found = adjust(restrung, wanted, None if now is None else now.done)
    return tuple(each for each in found.saddles if set(each.strings) & set(by_string))


def _as_result(
    result: StringResult, change: StringChange | None, now: MeasuredNow | None
) -> StringResult:
    """A string that stays keeps its error: where that is not known, it asks for no change."""
    if change is None:
        stays = (0.0, 0.0) if now is None else now.errors_cents.get(result.string, (None, None))
        return replace(result, error_cents=stays[0], error_uncertainty_cents=stays[1])
    if now is None:
        cents, half_cents = change.error_change_cents, change.error_change_uncertainty_cents
    else:
        cents, half_cents = change.error_next_cents, change.error_next_uncertainty_cents
    return replace(result, error_cents=cents, error_uncertainty_cents=half_cents)


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
