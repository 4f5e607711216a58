"""Sentences on a lot that several outputs have alike."""

from __future__ import annotations

from analyzer.lot.judgement.specification import IN_WORDS
from analyzer.lot.statistics.figure import Figure, NotGiven
from analyzer.lot.statistics.groups import PERIODS
from analyzer.lot.summing.summary_model import JudgedString, LotSummary


def counted(count: int, noun: str) -> str:
    """``1 instrument``, ``5,000 instruments``."""
    return f"{count:,} {noun}{'' if count == 1 else 's'}"


def percent(share: float) -> str:
    """A share of 0 to 1 with two digits that say something, nearer to either end too.

    >>> percent(0.98142), percent(0.000123), percent(0.99996), percent(2e-7)
    ('98.1 %', '0.012 %', '99.996 %', 'less than 0.001 %')
    """
    rest = 100 * min(share, 1 - share)
    if 0 < rest < 0.0005:  # what three places would show as nothing, or as all
        return "less than 0.001 %" if share < rest else "more than 99.999 %"
    places = 1 if rest >= 0.95 or rest == 0 else 2 if rest >= 0.095 else 3
    return f"{100 * share:.{places}f} %"


def yield_in_words(share: Figure) -> str:
    """The yield with its interval and method, or why there is none."""
    if share.value is None or share.lower is None or share.upper is None:
        return f"Yield: none, {share.reason}."
    return (
        f"Yield {percent(share.value)} of what was decided ({percent(share.lower)} to "
        f"{percent(share.upper)}, {100 * (share.confidence or 0):g} % {share.interval_method})."
    )


def risks_in_words(summary: LotSummary) -> tuple[str, ...]:
    """Consumer's and producer's risk, a sentence each where there is one; the method last."""
    risk, found = summary.risk, []
    if risk.consumers_risk is not None:
        found.append(
            f"Consumer's risk {percent(risk.consumers_risk)}: of {risk.accepted:,} accepted, "
            f"{risk.expected_nonconforming_accepted:.2g} are expected not to conform."
        )
    if risk.producers_risk is not None:
        found.append(
            f"Producer's risk {percent(risk.producers_risk)}: of {risk.rejected:,} rejected, "
            f"{risk.expected_conforming_rejected:.2g} are expected to conform."
        )
    if not found:
        return ()
    without = risk.accepted_without_probability + risk.rejected_without_probability
    left = f"; {counted(without, 'instrument')} without a probability not counted"
    return (*found, f"Risks by {summary.risk_method}{left if without else ''}.")


def guard_bands_in_words(summary: LotSummary) -> str:
    """How wide they are, by characteristic over its strings; empty without any."""
    widths: dict[str, list[float]] = {}
    for each in summary.judged:
        if each.bands is not None and each.bands.guard_band_cents is not None:
            widths.setdefault(IN_WORDS[each.characteristic], []).append(each.bands.guard_band_cents)
    if summary.rule.kind == "shared risk" or not widths:
        return ""
    parts = [f"{name} {_range(min(of), max(of))}" for name, of in widths.items()]
    return (
        f"Guard bands inside the limits, cents, at the median uncertainty: {'; '.join(parts)}; "
        "wider for a value known from few takes."
    )


def process_risk_in_words(each: JudgedString) -> str:
    """What the rule makes of all that the process would make; empty where nobody can say."""
    if isinstance(each.risk, NotGiven):
        return ""
    risk = each.risk.risk
    return (
        f"Of all that this process makes, {each.named}: {percent(risk.consumers_risk)} do not "
        f"conform and are accepted, {percent(risk.producers_risk)} conform and are rejected "
        "(global risks, JCGM 106:2012, 9.5)."
    )


def takes_in_words(summary: LotSummary) -> str:
    """What is to be recorded again; empty where nothing is."""
    more = summary.more_takes
    parts = []
    if more.instruments:
        parts.append(
            f"{counted(more.recordings, 'more recording')} would settle "
            f"{counted(more.instruments, 'instrument')}"
        )
    if more.unsettled:
        parts.append(
            f"for {counted(more.unsettled, 'instrument')} no number of takes is known (a note is "
            "missing, has a single take, or more would not help): see the reasons"
        )
    return f"{'; '.join(parts)}." if parts else ""


def signals_in_words(summary: LotSummary) -> str:
    """What the control charts show, over all of them."""
    control = summary.control
    if not control.charts:
        return "Control charts: none, since nothing was measured."
    subgrouping = control.subgrouping
    if not control.signals and not control.expected_false_alarms:
        return f"Control charts of {subgrouping.words}: too few of them for limits yet."
    words = (
        f"Control charts of {subgrouping.words}: {counted(control.signals, 'signal')} on "
        f"{counted(len(control.charts), 'pair')} of charts, where chance alone gives about "
        f"{control.expected_false_alarms:.2g} or more."
    )
    if not subgrouping.uncharted:
        return words
    of = "time" if subgrouping.by in PERIODS else subgrouping.by
    return f"{words} {counted(subgrouping.uncharted, 'instrument')} without {of} not charted."


def verdict_of_lot(summary: LotSummary) -> str:
    """The lot in one sentence."""
    counts = summary.counts
    faults = f"; {counted(counts.faults, 'fault')}" if counts.faults else ""
    if not counts.instruments:
        return f"No instrument was judged{faults}."
    of = counted(counts.instruments, "instrument")
    words = (
        f"Of {of}, {counts.conform:,} conform{_s(counts.conform)}, "
        f"{counts.not_conform:,} {'does' if counts.not_conform == 1 else 'do'} not and "
        f"{counts.not_decided:,} {'is' if counts.not_decided == 1 else 'are'} not decided"
    )
    if counts.conform == counts.instruments > 1:
        words = f"All {of} conform"
    if counts.not_measured:
        words = f"{words} ({counts.not_measured:,} for want of a measurement)"
    elif summary.values_missing:
        words = f"{words}; {counted(summary.values_missing, 'value')} could not be measured"
    return f"{words}{faults}."


def _range(low: float, high: float) -> str:
    least, most = f"{low:.2f}", f"{high:.2f}"
    return least if least == most else f"{least} to {most}"


def _s(count: int) -> str:
    return "s" if count == 1 else ""
