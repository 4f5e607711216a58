"""All that the page says, from top to bottom, before it has a form."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from analyzer.instrument.model import strings_named
from analyzer.page.bridge_drawing import BridgeDrawing, bridge_drawing
from analyzer.page.card import Card, card_of
from analyzer.page.errors_drawing import ErrorsDrawing, errors_drawing
from analyzer.page.settings import Setting, settings_of
from analyzer.page.strings import LeftOut, StringPart, left_out_of_none, string_parts
from analyzer.page.verdict import verdict_of
from analyzer.report.model import Report
from analyzer.report.working_order import caution


@dataclass(frozen=True)
class Cause:
    """A suspicion: which strings, what, why, and what would confirm it."""

    where: str
    cause: str
    evidence: str
    confirm: str


@dataclass(frozen=True)
class Page:
    """``about``: what whoever asked for the page wants said at its top, in lines."""

    instrument: str
    about: tuple[str, ...]
    tuning: str
    on: date
    verdict: str
    bridge: BridgeDrawing | None
    card: Card
    errors: ErrorsDrawing | None
    previous: str | None
    strings: tuple[StringPart, ...]
    left_out: tuple[LeftOut, ...]
    causes: tuple[Cause, ...]
    notes: tuple[str, ...]
    caution: str
    settings: tuple[Setting, ...]


def page_of(report: Report, on: date, about: tuple[str, ...] = ()) -> Page:
    """The page of a report that was made on a day."""
    return Page(
        report.instrument,
        about,
        " ".join(report.tuning),
        on,
        verdict_of(report),
        bridge_drawing(report),
        card_of(report),
        errors_drawing(report),
        report.previous,
        string_parts(report),
        left_out_of_none(report),
        tuple(_causes(report)),
        report.warnings,
        caution(report),
        settings_of(report),
    )


def _causes(report: Report) -> Iterator[Cause]:
    for each in report.findings:
        where = strings_named(each.strings).capitalize()
        yield Cause(where, each.cause, each.evidence, each.confirm)
