"""What a lot has to keep to: limits, the rule of decision, subgroups, stations. Plain values.

Words are those of JCGM 106:2012: tolerance limits bound the values that are allowed; both belong to
what is allowed. All limits are in cents and signed as in the report: an error is positive where
the fretted note is sharp, a drift negative where the pitch falls, an open pitch positive where
the string is tuned above its nominal note.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from analyzer.errors import printable

# What is judged of a string. The drift of both its notes is held to the same limits, each for
# itself: the larger of the two in size can hide one that goes the other way.
Characteristic = Literal[
    "error_cents", "open_pitch_cents", "open_drift_cents", "fretted_drift_cents"
]
IN_WORDS: dict[Characteristic, str] = {
    "error_cents": "12th-fret error",
    "open_pitch_cents": "open pitch",
    "open_drift_cents": "drift of the open note",
    "fretted_drift_cents": "drift of the 12th-fret note",
}
RuleKind = Literal["guarded", "shared risk"]
SubgroupBy = Literal["count", "station", "operator", "hour", "day"]

# ISO 14253-1:2017 and JCGM 106:2012: conformity, or nonconformity, counts as proven from a
# probability of 95 % on (from memory).
DEFAULT_CONFIDENCE = 0.95
# A choice: beyond that many more takes of each note it is quicker to look at the instrument.
DEFAULT_MOST_MORE_TAKES = 10
# Shewhart's charts are commonly kept with subgroups of 4 or 5 (common practice).
DEFAULT_SUBGROUP_SIZE = 5
# A recorder's clock is within 100 parts in a million (common practice, from memory), which is
# 0.17 cents either way; as a standard uncertainty a/sqrt(3) (JCGM 100:2008, 4.3.7). It cancels in
# the 12th-fret error and in the drift, and no repeat with the same recorder shows it.
CLOCK_CENTS = 0.1


@dataclass(frozen=True)
class Interval:
    """From ``lower_cents`` to ``upper_cents``, both included; None where there is no end."""

    lower_cents: float | None
    upper_cents: float | None

    def holds(self, value_cents: float) -> bool:
        """Whether the value lies inside."""
        return (self.lower_cents is None or value_cents >= self.lower_cents) and (
            self.upper_cents is None or value_cents <= self.upper_cents
        )

    def __str__(self) -> str:
        lower, upper = (
            None if each is None else f"{round(each, 2):+g}"
            for each in (self.lower_cents, self.upper_cents)
        )
        if lower is None or upper is None:
            return f"at most {upper}" if lower is None else f"at least {lower}"
        return f"{lower} to {upper}"


@dataclass(frozen=True)
class Limits(Interval):
    """Tolerance limits of a characteristic, and the value that is aimed at, cents."""

    target_cents: float = 0.0

    def way(self, cents: NDArray[np.float64]) -> NDArray[np.float64]:
        """How far values are on their way from the target (0) to the limit on their side (1).

        0 without that limit, infinite beyond one that is the target.
        """
        off, found = cents - self.target_cents, np.zeros(len(cents))
        for limit, side in ((self.upper_cents, off > 0), (self.lower_cents, off < 0)):
            if limit is not None:
                room = abs(limit - self.target_cents)
                found[side] = np.abs(off[side]) / room if room else np.inf
        return found


@dataclass(frozen=True)
class Requirement:
    """The limits of a characteristic, and what is known of its measurement beforehand.

    ``limits`` hold for every string that ``by_string`` does not name; None where only those are
    judged. ``reproducibility_cents``: the standard deviation that takes at one station by one
    operator cannot show. ``take_scatter_cents``: the standard deviation from take to take where
    it is known beforehand, else None.
    """

    limits: Limits | None
    by_string: Mapping[int, Limits] = field(default_factory=dict)
    reproducibility_cents: float = 0.0
    take_scatter_cents: float | None = None

    def of_string(self, string: int) -> Limits | None:
        """What a string has to keep to; None where it is not judged."""
        return self.by_string.get(string, self.limits)


@dataclass(frozen=True)
class DecisionRule:
    """How a value near a limit is decided.

    ``guarded``: conformity and nonconformity must be proven with ``confidence`` (0.5 to 1).
    ``shared risk``: the value alone counts (simple acceptance, JCGM 106:2012, 8.2).
    """

    kind: RuleKind = "guarded"
    confidence: float = DEFAULT_CONFIDENCE
    most_more_takes: int = DEFAULT_MOST_MORE_TAKES


@dataclass(frozen=True)
class Subgroups:
    """What makes a subgroup of a control chart. ``size`` is 1 or more by count, else None."""

    by: SubgroupBy = "count"
    size: int | None = DEFAULT_SUBGROUP_SIZE


@dataclass(frozen=True)
class Specification:
    """What ``lot.toml`` says; a requirement is None where that is not judged.

    ``stations`` are the known ones; empty where the file names none and all are welcome.
    """

    name: str
    error: Requirement | None = None
    open_pitch: Requirement | None = None
    sustain_drift: Requirement | None = None
    rule: DecisionRule = DecisionRule()
    subgroups: Subgroups = Subgroups()
    stations: tuple[str, ...] = ()

    def requirement(self, characteristic: Characteristic) -> Requirement | None:
        """What is asked of a characteristic; None where it is not judged."""
        if characteristic == "error_cents":
            return self.error
        return self.open_pitch if characteristic == "open_pitch_cents" else self.sustain_drift

    def judged(self, strings: Sequence[int]) -> Iterator[tuple[Characteristic, int, Limits]]:
        """Everything that is judged of an instrument with these strings."""
        for characteristic in IN_WORDS:
            requirement = self.requirement(characteristic)
            for string in strings if requirement is not None else ():
                limits = requirement.of_string(string) if requirement is not None else None
                if limits is not None:
                    yield characteristic, string, limits

    def strings_with_limits(self) -> frozenset[int]:
        """The strings that have limits of their own."""
        requirements = (self.error, self.open_pitch, self.sustain_drift)
        return frozenset(string for each in requirements if each for string in each.by_string)

    def warnings(self, stations: Iterable[str], strings: Sequence[int]) -> tuple[str, ...]:
        """What does not fit this specification: stations, and strings no instrument has."""
        found = [
            f"Station {printable(each)} is not in lot.toml, which knows "
            f"{', '.join(self.stations)}. Add it under stations, or mend the table of the lot."
            for each in dict.fromkeys(stations)
            if self.stations and each not in self.stations
        ]
        found.extend(
            f"lot.toml has limits for string {each}, and the instrument has strings "
            f"{max(strings, default=0)} to 1. Mend the number."
            for each in sorted(self.strings_with_limits() - set(strings))
        )
        return tuple(found)
