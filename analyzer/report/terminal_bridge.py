"""What to do at the bridge, and what the last round did, as text for a terminal."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from rich.console import Console, ConsoleOptions, RenderableType, RenderResult
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from analyzer.bridge.steps import Step
from analyzer.report.layout import bare_table, fits, line, sign_for, signed, with_interval
from analyzer.report.model import AdjusterResult, OutcomeResult, Report
from analyzer.report.words import moved, moves_since, turned
from analyzer.report.working_order import (
    FACING,
    Part,
    errors_after_cents,
    manner_of,
    parts_of,
    until_checks,
)

_MOST_SHOWN = 6  # readings of one adjuster; the report's JSON has all of them
_ENDS_SHOWN = (3, 2)
_SAME_MM = 1e-9


class TerminalBridge:
    """The adjusters in working order, and what the strings should read on the way."""

    def __init__(self, report: Report) -> None:
        self._report = report

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        report = self._report
        table = _table(report)
        if fits(table, console, options):
            yield table
            yield from (line(each) for each in manner_of(report))
            if report.steps:
                yield line("After each step the error should read, in cents:")
            for part in parts_of(report):
                yield from _readings(part)
        else:
            yield from (line(each) for each in manner_of(report))
            if _has_screws(report):
                yield line(FACING)
            if report.steps:
                yield line("Indented: what the error should read after each step, in cents.")
            yield from _blocks(report)


def _in_order(report: Report) -> list[AdjusterResult]:
    moving = [each for part in parts_of(report) for each in part.adjusters]
    return [*moving, *(each for each in report.adjusters if each.order is None)]


def _name(each: AdjusterResult, above: AdjusterResult | None = None) -> str:
    """With its place in the work, which is said once of those that are worked on together."""
    if each.order is None:
        return each.name
    number = f"{each.order}. "
    same = above is not None and above.order == each.order
    return f"{' ' * len(number) if same else number}{each.name}"


def _table(report: Report) -> Table:
    table = bare_table()
    screw = ("Screw, facing its head",) if _has_screws(report) else ()
    headings = ("Adjust", *screw, "Saddle", "Residual\ncents")
    for heading in headings:
        table.add_column(heading)
    rows = _in_order(report)
    for place, each in enumerate(rows):
        cells = _advice(report, each)
        if each.order is not None and [other.order for other in rows[place + 1 :]][:1] == [
            each.order
        ]:
            cells[-1] = ""  # stands beside the last that is worked on together with this one
        name = _name(each, rows[place - 1] if place else None)
        table.add_row(name, *(("-",) * (len(headings) - 1 - len(cells))), *cells)
    return table


def _has_screws(report: Report) -> bool:
    return any(each.pitch_mm is not None for each in report.adjusters)


def _blocks(report: Report) -> Iterator[RenderableType]:
    """The narrow form: each part with its readings below it."""
    for part in parts_of(report):
        alone = len(part.adjusters) == 1
        for above, each in zip((None, *part.adjusters), part.adjusters, strict=False):
            yield line(f"{_name(each, above).strip()}: {_sentence(report, each, alone=alone)}")
        for reading in _readings(part, short=True):
            yield Padding(reading, (0, 0, 0, 3), expand=False)
    for each in report.adjusters:
        if each.order is None:
            yield line(f"{_name(each)}: {_sentence(report, each)}")


def _sentence(report: Report, each: AdjusterResult, *, alone: bool = True) -> str:
    *advice, after = _advice(report, each)
    if alone:
        advice.append(f"residual {after}" if advice else after)
    return ", ".join(advice)


def _advice(report: Report, adjuster: AdjusterResult) -> list[str]:
    """Screw (where it is known), move, residual."""
    if adjuster.move_mm is None:
        return [f"no advice: {adjuster.reason}"]
    after = ", ".join(signed(cents) for _, cents in errors_after_cents(report, adjuster))
    if adjuster.move_mm == 0:
        return ["leave it", after]
    verb = "file, " if adjuster.action == "file" else ""
    words = [f"{verb}{moved(adjuster, adjuster.move_mm)}", after]
    if adjuster.turns is not None:
        words.insert(0, turned(adjuster.turns, adjuster.direction))
    return words


def _readings(part: Part, *, short: bool = False) -> Iterator[Text]:
    """The steps of a part and what its strings should read after each."""
    if len(part.adjusters) == 1:
        (adjuster,) = part.adjusters
        strings = "/".join(map(str, part.steps[0].error_cents))
        noun = "string" if len(adjuster.strings) == 1 else "strings"
        name = f"{noun} {strings}" if short else f"{adjuster.name} ({noun} {strings})"
        yield line(f"{name}, {_on_the_way(adjuster, part.steps)}")
        return
    if not short:
        yield line(f"{' and '.join(each.name for each in part.adjusters)}, in turn:")
    by_name = {each.name: each for each in part.adjusters}
    for run in until_checks(part.steps):
        moves = "; ".join(_sizes(by_name, run))
        errors = {string: cents for step in run for string, cents in step.error_cents.items()}
        yield line(f"{'' if short else '  '}{moves}: {_errors(errors, named=True)}")


def _sizes(by_name: Mapping[str, AdjusterResult], run: Sequence[Step]) -> Iterator[str]:
    """What each adjuster does up to a check."""
    for name in dict.fromkeys(step.adjuster for step in run):
        own = [step for step in run if step.adjuster == name]
        yield f"{name}, {_size(by_name[name], own)}"


def _on_the_way(adjuster: AdjusterResult, steps: Sequence[Step]) -> str:
    """The readings after each step or, where some may be skipped, after so many turns in all."""
    if not any(step.check_may_be_skipped for step in steps):
        return f"{_each(adjuster, steps)}: {_shortened([_errors(s.error_cents) for s in steps])}"
    turns, readings = 0.0, []
    for run in until_checks(steps):
        turns += sum(step.turns or 0.0 for step in run)
        readings.append(f"{turns:g}: {_errors(run[-1].error_cents)}")
    return f"turns {steps[0].direction} so far: {_shortened(readings)}"


def _each(adjuster: AdjusterResult, steps: Sequence[Step]) -> str:
    first, last = steps[0], steps[-1]
    if abs(last.move_mm - first.move_mm) < _SAME_MM:
        return f"each {_size(adjuster, [first])}"
    size = f"{abs(last.move_mm):.2f} mm" if last.turns is None else f"{last.turns:g}"
    return f"each {_size(adjuster, [first])}, the last {size}"


def _size(adjuster: AdjusterResult, steps: Sequence[Step]) -> str:
    if steps[0].turns is not None:
        return turned(sum(step.turns or 0.0 for step in steps), steps[0].direction)
    return moved(adjuster, sum(step.move_mm for step in steps))


def _shortened(readings: Sequence[str]) -> str:
    if len(readings) > _MOST_SHOWN:
        first, last = _ENDS_SHOWN
        shown = (*readings[:first], f"... ({len(readings)} checks)", *readings[-last:])
        return ", ".join(shown)
    return ", ".join(readings)


def _errors(error_cents: Mapping[int, float], *, named: bool = False) -> str:
    return (", " if named else "/").join(
        f"{string}: {signed(cents)}" if named else signed(cents)
        for string, cents in error_cents.items()
    )


class TerminalOutcome:
    """What the last round did, against what had been predicted, and what was learned."""

    def __init__(self, report: Report) -> None:
        self._report = report

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        sign = sign_for(options)
        taken = "" if self._report.moves_told else f", {moves_since(self._report)},"
        yield line(f"What the moves since {self._report.previous}{taken} did", style="bold")
        table = _outcome_table(self._report.outcome, sign)
        narrow = not fits(table, console, options)
        yield from _outcome_lines(self._report.outcome, sign) if narrow else [table]
        yield line(_learned(self._report, sign))


def _outcome_table(outcome: Sequence[OutcomeResult], sign: str) -> Table:
    table = bare_table()
    table.add_column("String")
    for heading in ("Predicted\ncents", "Found\ncents"):
        table.add_column(heading, justify="right")
    table.add_column("Finding")
    for each in outcome:
        table.add_row(str(each.string), *_predicted_and_found(each, sign), each.in_words)
    return table


def _outcome_lines(outcome: Sequence[OutcomeResult], sign: str) -> Iterator[RenderableType]:
    for each in outcome:
        predicted, found = _predicted_and_found(each, sign)
        yield line(f"string {each.string}: predicted {predicted}, found {found}: {each.in_words}")


def _predicted_and_found(each: OutcomeResult, sign: str) -> tuple[str, str]:
    return (
        with_interval(each.predicted_change_cents, each.predicted_uncertainty_cents, sign),
        with_interval(each.found_change_cents, each.found_uncertainty_cents, sign),
    )


def _learned(report: Report, sign: str) -> str:
    response = report.response
    if response is None or not any(each.learned_from for each in report.outcome):
        return (
            "Nothing was learned from it: the advice below goes by what was known before. If other "
            "moves were made than advised, or none, say so with --turned."
        )
    factors = [each.response for each in report.adjusters]
    span = f"{min(factors):.2f} to {max(factors):.2f}"
    return (
        f"A turn does {response.instrument_factor:.2f} {sign} "
        f"{response.instrument_factor_uncertainty:.2f} times what the geometry says "
        f"({span} from adjuster to adjuster); the advice below counts on that."
    )
