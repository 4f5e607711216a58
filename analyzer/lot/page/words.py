"""What is said of a lot in sentences and facts, beside what every output says of it."""

from __future__ import annotations

from collections.abc import Iterator

from analyzer import __version__
from analyzer.lot.judgement.decision import Verdict
from analyzer.lot.output.words import (
    counted,
    percent,
    risks_in_words,
    signals_in_words,
    verdict_of_lot,
    yield_in_words,
)
from analyzer.lot.summing.summary_model import LotSummary

SAID: dict[Verdict, str] = {
    "conform": "conforms",
    "not conform": "does not conform",
    "not decided": "not decided",
}
Fact = tuple[str, str]


def verdict_of(summary: LotSummary) -> str:
    """The lot in a few sentences: its instruments, and whether the process is watched in vain."""
    said = [verdict_of_lot(summary)]
    if summary.control.signals:
        said.append(signals_in_words(summary))
    if sure := summary.trends.sure:
        stations = dict.fromkeys(each.station for each in sure)
        said.append(f"A trend is sure at {', '.join(stations)}.")
    return " ".join(said)


def facts_of(summary: LotSummary) -> Iterator[Fact]:
    """How many there are of what."""
    counts = summary.counts
    yield "Instruments", f"{counts.instruments:,}, in {counted(counts.sessions, 'session')}"
    if summary.span is not None:
        first, last = (
            each.isoformat(" ", "minutes") for each in (summary.span.first, summary.span.last)
        )
        yield "Recorded", first if first == last else f"{first} to {last}"
    if counts.untimed:
        yield "Without a time", counted(counts.untimed, "instrument")
    yield "Conform", f"{counts.conform:,}"
    yield "Do not conform", f"{counts.not_conform:,}"
    missing = f", of which {counts.not_measured:,} lack a value" if counts.not_measured else ""
    yield "Not decided", f"{counts.not_decided:,}{missing}"
    yield "Recordings", f"{counts.recordings:,}, of which {counts.left_out:,} were left out"
    yield "Faults", f"{counts.faults:,}"


def worth_of(summary: LotSummary) -> tuple[str, ...]:
    """The yield, and the risks of the decisions on these instruments."""
    return (yield_in_words(summary.conforming_share), *risks_in_words(summary))


def settings_of(summary: LotSummary) -> Iterator[Fact]:
    """What the figures rest on."""
    rule, control = summary.rule, summary.control
    yield "Program", f"pluckcheck {__version__}"
    yield "Decision rule", rule.kind
    if rule.kind == "guarded":
        yield "Confidence of a decision", f"{100 * rule.confidence:g} %"
        yield "More takes of a note, at most", f"{rule.most_more_takes}"
    yield "More recordings", summary.more_takes.method
    yield "Subgroups", control.subgrouping.words
    if control.subgrouping.uncharted:
        yield "Not charted", counted(control.subgrouping.uncharted, "instrument")
    for each in control.rules:
        yield (
            f"Run rule, {each.key}",
            f"{each.words}; by chance at {percent(each.false_alarm)} of points in control",
        )
    yield "Trends", summary.trends.method
