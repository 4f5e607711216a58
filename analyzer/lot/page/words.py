"""What is said of a lot in sentences."""

from __future__ import annotations

from collections.abc import Iterator

from analyzer import __version__
from analyzer.lot.decision import Verdict
from analyzer.lot.page.tables import counted, percent, share
from analyzer.lot.summary_model import LotSummary

SAID: dict[Verdict, str] = {
    "conform": "conforms",
    "not conform": "does not conform",
    "not decided": "not decided",
}
Fact = tuple[str, str]


def verdict_of(summary: LotSummary) -> str:
    """The lot in a sentence or two."""
    counts = summary.counts
    if not counts.instruments:
        return "No instrument was measured: see below what is at fault."
    return " ".join([_decided(summary), *_watched(summary)])


def _decided(summary: LotSummary) -> str:
    counts = summary.counts
    parts = [
        f"{_all_or(counts.conforming, counts.instruments)}",
        f"{counts.nonconforming:,} {'does' if counts.nonconforming == 1 else 'do'} not",
        f"{counts.undecided:,} {'is' if counts.undecided == 1 else 'are'} not decided",
    ]
    kept = [parts[0], *(text for text in parts[1:] if not text.startswith("0 "))]
    if counts.faults:
        kept.append(f"{counted(counts.faults, 'fault')} in what should have been measured")
    return f"{'; '.join(kept)}."


def _all_or(conforming: int, instruments: int) -> str:
    if instruments == 1:
        return "The one instrument conforms" if conforming else "0 of 1 instrument conform"
    if conforming == instruments:
        return f"All {instruments:,} instruments conform"
    return f"{conforming:,} of {instruments:,} instruments conform"


def _watched(summary: LotSummary) -> Iterator[str]:
    if signals := summary.control.signals:
        by_chance = summary.control.expected_false_alarms
        yield (
            f"The control charts show {counted(signals, 'signal')}, where about {by_chance:.0f} "
            "would come by chance."
        )
    if drifting := summary.trends.drifting:
        stations = dict.fromkeys(each.station for each in drifting)
        yield f"A drift is sure at {', '.join(stations)}."


def facts_of(summary: LotSummary) -> Iterator[Fact]:
    """How many there are of what, and the yield."""
    counts = summary.counts
    yield "Instruments", f"{counts.instruments:,}, in {counted(counts.sessions, 'session')}"
    if summary.span is not None:
        first, last = (
            each.isoformat(" ", "minutes") for each in (summary.span.first, summary.span.last)
        )
        yield "Recorded", first if first == last else f"{first} to {last}"
    if counts.untimed:
        yield "Without a time", counted(counts.untimed, "instrument")
    yield "Conform", f"{counts.conforming:,}"
    yield "Do not conform", f"{counts.nonconforming:,}"
    missing = f", of which {counts.not_measured:,} lack a value" if counts.not_measured else ""
    yield "Not decided", f"{counts.undecided:,}{missing}"
    yield "Yield, of those decided", _yield(summary)
    yield "Recordings", f"{counts.recordings:,}, of which {counts.left_out:,} were left out"
    yield "Faults", f"{counts.faults:,}"


def _yield(summary: LotSummary) -> str:
    figure = summary.conforming_share
    if figure.value is None:
        return f"not given: {figure.reason}"
    confidence = f"{100 * (figure.confidence or 0):g} % interval, {figure.interval_method}"
    return f"{share(figure).text}; {confidence}"


def risks_of(summary: LotSummary) -> Iterator[str]:
    """Consumer's and producer's risk of the decisions on these instruments."""
    risk = summary.risk
    if risk.consumers_risk is None:
        yield "Consumer's risk: no instrument was accepted that it could be given for."
    else:
        yield (
            f"Consumer's risk: of {counted(risk.accepted, 'accepted instrument')}, "
            f"{_few(risk.expected_nonconforming_accepted)} may be expected not to conform, "
            f"{percent(risk.consumers_risk)}."
        )
    if risk.producers_risk is None:
        yield "Producer's risk: no instrument was rejected that it could be given for."
    else:
        yield (
            f"Producer's risk: of {counted(risk.rejected, 'rejected instrument')}, "
            f"{_few(risk.expected_conforming_rejected)} may be expected to conform, "
            f"{percent(risk.producers_risk)}."
        )
    unknown = risk.accepted_without_probability + risk.rejected_without_probability
    if unknown:
        yield f"{counted(unknown, 'instrument')} lack a probability, and are in neither."


def _few(count: float) -> str:
    return "fewer than 0.01" if count < 0.01 else f"about {count:.2f}"


def again_of(summary: LotSummary) -> str:
    """What is to be recorded again."""
    more = summary.more_takes
    if not more.of:
        return "Nothing: every instrument is decided."
    parts = []
    if more.instruments:
        parts.append(
            f"{counted(more.recordings, 'more recording')} would settle "
            f"{counted(more.instruments, 'instrument')} that {_is(more.instruments)} not decided."
        )
    if more.unsettled:
        parts.append(
            f"{counted(more.unsettled, 'instrument')} that {_is(more.unsettled)} not decided "
            "cannot be settled so, or nobody can say: the reasons stand beside them."
        )
    return " ".join(parts)


def _is(count: int) -> str:
    return "is" if count == 1 else "are"


def settings_of(summary: LotSummary) -> Iterator[Fact]:
    """What the figures rest on."""
    rule, control = summary.rule, summary.control
    yield "Program", f"pluckcheck {__version__}"
    yield "Decision rule", rule.kind
    if rule.kind == "guarded":
        yield "Confidence of a decision", f"{100 * rule.confidence:g} %"
        yield "More takes of a note, at most", f"{rule.most_more_takes}"
    yield "Risks", summary.risk_method
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
