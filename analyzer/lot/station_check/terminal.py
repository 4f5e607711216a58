"""A check of a station as text: a table, the chart that matters most, the verdict as last line."""

from __future__ import annotations

from collections.abc import Iterator

from rich.console import Console, ConsoleOptions, RenderableType, RenderResult
from rich.table import Table

from analyzer.inspection.content import in_ascii
from analyzer.lot.station_check.chart_drawing import chart_key, chart_lines
from analyzer.lot.station_check.model import (
    AS_BEFORE,
    CHANGED,
    NO_BASELINE,
    NOT_JUDGED,
    NOT_MEASURED,
    CheckedStation,
    Judged,
    Standing,
)
from analyzer.lot.station_check.words import figure
from analyzer.report.layout import bare_table, fits, line

_HEADINGS = ("Value", "Standard\nuncertainty", "Mean of\nbaseline", "Limits", "Tolerance")
_SHOUTED: dict[Standing, str] = {
    AS_BEFORE: "as before",
    CHANGED: "CHANGED",
    NO_BASELINE: "no baseline yet",
    NOT_JUDGED: "not judged",
    NOT_MEASURED: "NOT MEASURED",
}
_VERDICTS: dict[Standing, str] = {
    AS_BEFORE: "As before",
    CHANGED: "Changed",
    NO_BASELINE: "First checks: no baseline yet",
    NOT_MEASURED: "Not measured",
}


def last_line(found: CheckedStation) -> str:
    """The verdict, why, and what to do."""
    remedy = f" {found.remedy}." if found.remedy else ""
    return f"{_VERDICTS[found.verdict]}: {found.reason}.{remedy}"


class TerminalCheck:
    """A rich renderable of a check."""

    def __init__(self, found: CheckedStation) -> None:
        self._found = found

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        found, plain = self._found, options.ascii_only
        check = found.check
        title = f"Station {check.station}, {check.reference}: {check.file}, {check.checked_at}"
        yield line(title, style="bold")
        for name, text in check.told:
            yield line(f"{name}: {text}")
        if found.judged:
            table = _table(found)
            yield from [table] if fits(table, console, options) else _blocks(found)
            yield from _drawings(found, options.max_width, plain=plain)
            yield line(_how(found))
        for each in (*_reasons(found), *(f"Caution: {text}." for text in found.cautions)):
            yield line(in_ascii(each) if plain else each)
        yield line(last_line(found), style="bold")


def _how(found: CheckedStation) -> str:
    return (
        f"Limits come from the first {found.baseline_wanted} sound checks "
        f"({found.baseline_had} had; this is check {found.earlier + 1}). All together they call an "
        f"unchanged station changed in {100 * found.false_alarm:g} % of its checks at most."
    )


def _reasons(found: CheckedStation) -> Iterator[str]:
    """What the last line has no room for; it says what to do about the first of them."""
    told = [each for each in found.judged if each.standing in {CHANGED, NOT_MEASURED}]
    for number, each in enumerate(told):
        reason = each.reason.rstrip(".")
        if number or ";" in reason:
            yield f"{reason}. {each.remedy}." if number else f"{reason}."


def _cells(judged: Judged) -> tuple[str, ...]:
    value, found = judged.value, judged.baseline
    limits, tolerance = judged.limits, judged.tolerance
    uncertainty = value.standard_uncertainty
    wide = None if limits is None else limits[1] - limits[0]
    return (
        "-" if value.value is None else figure(value.value, value.unit, wide),
        "-" if uncertainty is None or value.value is None else f"{uncertainty:.1g}",
        "-" if found is None else figure(found.mean, "", wide),
        "-" if limits is None else " to ".join(figure(each, "", wide) for each in limits),
        "-" if tolerance is None else " to ".join(f"{each:.3g}" for each in tolerance),
    )


def _table(found: CheckedStation) -> Table:
    table = bare_table()
    table.add_column("")
    for heading in _HEADINGS:
        table.add_column(heading, justify="right")
    table.add_column("Verdict")
    for each in found.judged:
        style = "bold" if each.standing in {CHANGED, NOT_MEASURED} else ""
        table.add_row(each.value.name, *_cells(each), _SHOUTED[each.standing], style=style)
    return table


def _blocks(found: CheckedStation) -> Iterator[RenderableType]:
    for each in found.judged:
        value, _, _, limits, tolerance = _cells(each)
        held = "" if limits == "-" else f" (limits {limits})"
        held += "" if tolerance == "-" else f" (tolerance {tolerance})"
        yield line(f"{each.value.name}: {value}{held}: {_SHOUTED[each.standing]}")


def _drawings(found: CheckedStation, width: int, *, plain: bool) -> Iterator[RenderableType]:
    """The charts of what has changed; where nothing has, the first."""
    charted = [each for each in found.judged if each.charts is not None]
    changed = [each for each in charted if each.standing == CHANGED]
    for each in changed or charted[:1]:
        yield line(chart_key(each))
        for row in chart_lines(each, width, plain=plain):
            text = line(row)
            text.no_wrap = True
            yield text
