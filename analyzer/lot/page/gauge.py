"""How good the gauge is: each study by both methods, named."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from analyzer.lot.output.words import counted
from analyzer.lot.page.tables import Cell, Table, cents, size
from analyzer.lot.statistics.figure import NotGiven
from analyzer.lot.statistics.gauge_anova import AnovaRow, GaugeAnova
from analyzer.lot.statistics.gauge_model import GaugeShare, GaugeShares
from analyzer.lot.statistics.gauge_range import GaugeRange
from analyzer.lot.summing.summary_model import GaugeStudy, LotSummary
from analyzer.page.rounding import NOT_HAD, plain

_METHODS = (
    "ANOVA: crossed analysis of variance. Ranges: average and range, which knows no interaction of "
    "operators and parts."
)
_IN_SHORT = ("of study", "of tolerance", "categories")


@dataclass(frozen=True)
class ShownStudy:
    named: str
    notes: tuple[str, ...]
    tables: tuple[Table, ...]


@dataclass(frozen=True)
class ShownGauge:
    """``table`` has each study in a row, by both methods. None where ``reason`` says why."""

    table: Table | None
    studies: tuple[ShownStudy, ...]
    reason: str | None


def gauge_of(summary: LotSummary) -> ShownGauge:
    """Every study; none where nothing was measured again."""
    if isinstance(summary.gauge, NotGiven):
        return ShownGauge(None, (), summary.gauge.reason)
    return ShownGauge(_side_by_side(summary.gauge), tuple(map(_shown, summary.gauge)), None)


def _side_by_side(studies: Sequence[GaugeStudy]) -> Table:
    return Table(
        "The gauge's share of the study's variation, and of the tolerance (6 s); the number of "
        "distinct categories it tells apart.",
        ("Study", *(f"{how}: {what}" for how in ("ANOVA", "Ranges") for what in _IN_SHORT)),
        tuple(
            (
                Cell(_capital(study.named)),
                *_in_short(study.anova),
                *_in_short(study.average_and_range),
            )
            for study in studies
        ),
        (_METHODS,),
    )


def _in_short(found: GaugeAnova | GaugeRange | NotGiven) -> Iterator[Cell]:
    if isinstance(found, NotGiven):
        yield from (Cell(NOT_HAD) for _ in _IN_SHORT)
        return
    gauge, categories = found.shares.gauge, found.shares.categories
    yield Cell(f"{gauge.study_percent:.1f} %", gauge.study_percent / 100)
    yield _of_tolerance(gauge, 1)
    yield Cell("no end") if categories is None else Cell(f"{categories:,}", categories)


def _shown(study: GaugeStudy) -> ShownStudy:
    return ShownStudy(_capital(study.named), tuple(_notes(study)), tuple(_tables(study)))


def _notes(study: GaugeStudy) -> Iterator[str]:
    of = {"operators": "Operators", "stations": "Stations, in place of operators"}.get(
        study.operators_are, "One operator"
    )
    names = ", ".join(filter(None, study.operators))
    yield f"{counted(study.parts, 'part')}. {of}{f': {names}' if names else ''}."
    if study.unused_parts:
        yield (
            f"{counted(study.unused_parts, 'part')} had not two values by each of them, and "
            "are not in it."
        )
    if study.caution:
        yield f"Caution: {study.caution}."
    for each in (study.anova, study.average_and_range):
        if isinstance(each, NotGiven):
            yield f"Not given, {each.method}: {each.reason}."
        elif each.unused:
            yield f"{each.method}: {counted(each.unused, 'value')} made it uneven, and are unused."
    if isinstance(study.average_and_range, GaugeRange):
        for part, operator in study.average_and_range.beyond:
            yield f"Caution, part {part} by {operator or 'the operator'}: its range is beyond D4."


def _tables(study: GaugeStudy) -> Iterator[Table]:
    for each in (study.anova, study.average_and_range):
        if not isinstance(each, NotGiven):
            yield _shares(each.method, each.shares)
    if isinstance(study.anova, GaugeAnova):
        yield Table(
            f"Analysis of variance: {study.anova.method}.",
            ("Source", "Sum of squares", "Degrees of freedom", "Mean square", "F", "p"),
            tuple(map(_anova_row, study.anova.table)),
        )
    if isinstance(study.average_and_range, GaugeRange):
        yield _by_operator(study.average_and_range)


def _shares(method: str, shares: GaugeShares) -> Table:
    sources = (
        shares.repeatability,
        shares.operator,
        shares.interaction,
        shares.reproducibility,
        shares.gauge,
        shares.part,
        shares.total,
    )
    told = "without end: the gauge showed no scatter"
    categories = told if shares.categories is None else f"{shares.categories:,}"
    return Table(
        f"Sources of scatter by {method}. Cents.",
        ("Source", "Standard deviation", "Of variance", "Of study", "Of tolerance"),
        tuple(_source(each) for each in sources if each is not None),
        (f"Number of distinct categories by {method}: {categories}.",),
    )


def _source(each: GaugeShare) -> tuple[Cell, ...]:
    return (
        Cell(each.source),
        Cell(plain(each.sd, 3), each.sd),
        Cell(f"{each.contribution_percent:.2f} %", each.contribution_percent / 100),
        Cell(f"{each.study_percent:.2f} %", each.study_percent / 100),
        _of_tolerance(each, 2),
    )


def _of_tolerance(each: GaugeShare, decimals: int) -> Cell:
    percent = each.tolerance_percent
    return Cell(NOT_HAD) if percent is None else Cell(f"{percent:.{decimals}f} %", percent / 100)


def _capital(text: str) -> str:
    return f"{text[0].upper()}{text[1:]}"


def _anova_row(each: AnovaRow) -> tuple[Cell, ...]:
    return (
        Cell(each.source),
        Cell(f"{each.squares:.4g}", each.squares),
        Cell(f"{each.freedom}", each.freedom),
        Cell(f"{each.mean_square:.4g}", each.mean_square),
        size(each.f),
        Cell(NOT_HAD) if each.p is None else Cell(f"{each.p:.3g}", each.p),
    )


def _by_operator(found: GaugeRange) -> Table:
    return Table(
        f"By operator, {found.method}. Cents.",
        ("Operator", "Mean", "Mean range"),
        tuple(
            (Cell(each.operator or "the one"), cents(each.mean), size(each.mean_range))
            for each in found.by_operator
        ),
        (
            f"Mean range {plain(found.mean_range, 3)}.",
            f"Range of the parts' means {plain(found.part_range, 3)}.",
            f"Limit of a range, by D4, {plain(found.range_limit, 3)}.",
        ),
    )
