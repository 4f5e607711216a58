"""What the figures rest on: what was given, what was assumed, what was learned."""

from __future__ import annotations

from collections.abc import Iterator

from analyzer import __version__
from analyzer.instrument.model import strings_named
from analyzer.report.model import AdjusterResult, Report
from analyzer.report.words import moves_since

Setting = tuple[str, str]


def settings_of(report: Report) -> tuple[Setting, ...]:
    """Names and values, with their units."""
    return tuple(_settings(report))


def _settings(report: Report) -> Iterator[Setting]:
    yield "Program", f"pluckcheck {__version__}"
    yield "Tuning, highest string number first", " ".join(report.tuning)
    yield "A4, by which notes are named", f"{report.a4_hz:g} Hz"
    yield "Temperament", "equal"
    yield "Intervals", "95 %; ± is half of one"
    yield "Scale length", _each(report.scale_lengths_mm) or "not given: no saddle moves"
    if report.layout is not None:
        yield "Setback now", _each(tuple(report.layout.setback_mm.values())) or "0 mm"
    yield "Round before", report.previous or "none given"
    if report.previous is not None:
        yield "Moves since then", moves_since(report)
    if report.response is not None:
        factor = report.response
        yield (
            "A turn or move, against the geometry",
            (
                f"{factor.instrument_factor:.2f} ± {factor.instrument_factor_uncertainty:.2f} "
                f"times, from {factor.rounds} earlier round{'' if factor.rounds == 1 else 's'}"
            ),
        )
    yield from report.reading
    for each in report.adjusters:
        yield each.name, _adjuster(each)


def _each(lengths_mm: tuple[float, ...] | None) -> str:
    """One length where all are the same."""
    if not lengths_mm:
        return ""
    known = dict.fromkeys(f"{each:g}" for each in lengths_mm)
    return f"{', '.join(known if len(known) == 1 else (f'{x:g}' for x in lengths_mm))} mm"


def _adjuster(each: AdjusterResult) -> str:
    words = [strings_named(each.strings)]
    if each.pitch_mm is not None:
        words.append(f"{each.pitch_mm:.4g} mm a turn")
    if each.screw_head is not None:
        words.append(f"screw head at the {each.screw_head}")
    if each.smallest_turn is not None:
        words.append(f"in steps of {each.smallest_turn:g} turn")
    if each.smallest_step_mm is not None:
        words.append(f"in steps of {each.smallest_step_mm:g} mm")
    if each.travel_mm is not None:
        toward, away = each.travel_mm
        words.append(f"travel given {toward:g} mm toward the nut, {away:g} mm away from it")
    if each.moved_mm:
        words.append(f"moved {each.moved_mm:+.2f} mm since".replace("-", "\N{MINUS SIGN}"))
    return "; ".join(words)
