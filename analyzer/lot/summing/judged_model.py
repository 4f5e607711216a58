"""What is said of one characteristic of one string over a lot, as values.

Units and signs are those of ``analyzer.lot.summing.summary_model``.
"""

from __future__ import annotations

from dataclasses import dataclass

from analyzer.lot.judgement.conformity import GuardBands
from analyzer.lot.judgement.risk import GlobalRisk, Process
from analyzer.lot.judgement.specification import IN_WORDS, Characteristic, Limits
from analyzer.lot.statistics.capability import Capability
from analyzer.lot.statistics.figure import Figure, NotGiven


@dataclass(frozen=True)
class MeasuringShare:
    """How much of the scatter from instrument to instrument is the measurement's own.

    ``observed_sd``: of the values, n - 1. ``measuring_sd``: the root mean square of their
    standard uncertainties. ``process_sd``: what is left of the first without the second, 0 where
    nothing is. ``share_percent``: of the observed variance, at most 100. ``capability_index``:
    C_m = T / (4 u) of JCGM 106:2012, 7.6.3, u the median; None without both limits. ``process_pp``:
    Pp as it would be of the process alone.
    """

    method: str
    observed_sd: float
    measuring_sd: float
    process_sd: float
    share_percent: float
    capability_index: float | None
    process_pp: Figure


@dataclass(frozen=True)
class ProcessRisk:
    """What the decision rule makes of all that this process would make (JCGM 106:2012, 9.5)."""

    method: str
    process: Process
    risk: GlobalRisk
    caution: str | None


@dataclass(frozen=True)
class JudgedString:
    """One characteristic of one string over the lot.

    The counts are of instruments that have such a string: their sum is all that were judged, and
    ``not_measured`` are those of ``not_decided`` without a value. ``conforming_share``: of what was
    decided. ``median_uncertainty``: of the standard uncertainties. ``bands``: acceptance and
    rejection limits of a value with that uncertainty and a normal density; those of a value known
    from few takes lie further apart. None where no uncertainty is known.
    """

    characteristic: Characteristic
    string: int
    limits: Limits
    conform: int
    not_conform: int
    not_decided: int
    not_measured: int
    conforming_share: Figure
    median_uncertainty: float | None
    bands: GuardBands | None
    capability: Capability
    measuring: MeasuringShare | NotGiven
    risk: ProcessRisk | NotGiven

    @property
    def named(self) -> str:
        """``string 6, 12th-fret error``."""
        return f"string {self.string}, {IN_WORDS[self.characteristic]}"
