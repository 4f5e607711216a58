"""Sentences on a lot that several outputs have alike."""

from __future__ import annotations

from analyzer.lot.summary_model import LotSummary


def counted(count: int, noun: str) -> str:
    """``1 instrument``, ``5,000 instruments``."""
    return f"{count:,} {noun}{'' if count == 1 else 's'}"


def verdict_of_lot(summary: LotSummary) -> str:
    """The lot in one sentence, and in another what hinders a decision on the rest."""
    counts = summary.counts
    if not counts.instruments:
        return f"No instrument was judged; {counted(counts.faults, 'fault')}."
    if counts.conforming == counts.instruments:
        words = "All of" if counts.instruments > 1 else "Of"
        words = f"{words} {counted(counts.instruments, 'instrument')} conform"
    else:
        words = (
            f"Of {counted(counts.instruments, 'instrument')} {counts.conforming:,} conform, "
            f"{counts.nonconforming:,} do not and {counts.undecided:,} are not decided"
        )
    if counts.not_measured:
        words = f"{words} ({counts.not_measured:,} for want of a measurement)"
    faults = f"; {counted(counts.faults, 'fault')}" if counts.faults else ""
    return f"{words}{faults}."
