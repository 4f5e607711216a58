"""What a check of a station consists of: what was measured, what was known, what came of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from analyzer.lot.statistics.charts import ChartPair
from analyzer.lot.statistics.trend import Trend

SCHEMA_VERSION = 1
# charted: held to limits from the baseline; fault: held to nought; setting: held to what it was;
# shown: kept and shown, and judged by nobody.
Kind = Literal["charted", "fault", "setting", "shown"]
Standing = Literal["as before", "changed", "no baseline yet", "not judged", "not measured"]
AS_BEFORE: Final = "as before"
CHANGED: Final = "changed"
NO_BASELINE: Final = "no baseline yet"
NOT_JUDGED: Final = "not judged"
NOT_MEASURED: Final = "not measured"


@dataclass(frozen=True)
class Value:
    """One characteristic of one check.

    ``key`` ends with the unit where there is one (``pitch_cents``), ``name`` and ``unit`` are as
    they are shown. ``value`` is None where it could not be had, and ``remark`` then says why.
    ``held``: ``tolerance-cents`` holds for it; ``stated``: about this value, else about its
    baseline.
    """

    key: str
    name: str
    unit: str
    kind: Kind
    value: float | None
    standard_uncertainty: float | None = None
    remark: str = ""
    held: bool = False
    stated: float | None = None


@dataclass(frozen=True)
class Check:
    """One recording of a reference, or the folder of an instrument, as measured.

    ``sha256``: of its content, hexadecimal. ``checked_at``: ISO 8601; ``checked_s``: seconds since
    1970, UTC. ``reason``: why nothing could be measured, else None. ``told``: what else is said of
    it, a name and a text each.
    """

    station: str
    reference: str
    sha256: str
    file: str
    checked_at: str
    checked_s: float
    values: tuple[Value, ...]
    reason: str | None = None
    told: tuple[tuple[str, str], ...] = ()
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True)
class Past:
    """A check that is kept: its values and standard uncertainties by key.

    ``sound``: measured, without a fault, and not called changed before there was a baseline, as
    beyond the tolerance. ``begins``: a baseline begins with it.
    """

    sha256: str
    checked_at: str
    checked_s: float
    values: dict[str, tuple[float, float | None]]
    sound: bool
    begins: bool


@dataclass(frozen=True)
class Baseline:
    """``count`` first checks, from ``first_at`` to ``last_at``, and what they allow, in one unit.

    A value may lie ``half_width`` off the mean, the mean of ``averaged`` checks ``average_half``
    (None where there are not two yet). ``sigma`` is the scatter that both come from, by ``method``.
    """

    count: int
    first_at: str
    last_at: str
    mean: float
    sigma: float
    method: str
    half_width: float
    averaged: int
    average: float | None
    average_half: float | None


@dataclass(frozen=True)
class Judged:
    """A value with what it was held to, and where it stands. ``reason`` says why in a sentence."""

    value: Value
    standing: Standing
    reason: str = ""
    remedy: str = ""
    baseline: Baseline | None = None
    tolerance: tuple[float, float] | None = None
    charts: ChartPair | None = None
    trend: Trend | None = None

    @property
    def limits(self) -> tuple[float, float] | None:
        """What a value may be by its baseline."""
        found = self.baseline
        if found is None:
            return None
        return found.mean - found.half_width, found.mean + found.half_width


@dataclass(frozen=True)
class CheckedStation:
    """A check and what it says of the station.

    ``earlier``: how many checks of this reference were kept before it. ``baseline_wanted`` and
    ``baseline_had``: checks that make a baseline, and those there are. ``false_alarm``: how often
    an unchanged station is called changed at most, a check.
    """

    check: Check
    judged: tuple[Judged, ...]
    verdict: Standing
    reason: str
    remedy: str
    earlier: int
    baseline_wanted: int
    baseline_had: int
    false_alarm: float
    cautions: tuple[str, ...] = ()

    @property
    def complete(self) -> bool:
        """Measured, and nothing speaks for a change."""
        return self.verdict in {AS_BEFORE, NO_BASELINE}
