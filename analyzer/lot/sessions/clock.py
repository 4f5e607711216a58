"""When recordings were made: reading a time, and noticing clocks that cannot be right."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime

from analyzer.errors import printable

TIMES = "Give ISO 8601 from 1970 on, such as 2031-05-17T14:30:00+02:00"  # the remedy
_EARLIEST, _LATEST = 1970, 2200  # years; a choice, within what tables of times can hold
# No clock on Earth is further ahead of UTC (the zone UTC+14), so that a time without an offset,
# which counts as UTC, may lie that far in the future.
_AHEAD_S = 14 * 3600.0
_SLACK_S = 120.0  # by which clocks of honest machines differ; a choice
_MOST_STATIONS = 20  # that are named in warnings; a choice
_SEEN_STATIONS = 10_000  # whose clocks are followed; a choice


@dataclass(frozen=True)
class Moment:
    """A time as it stood at the station, ISO 8601 to the second, and seconds from 1970, UTC."""

    at: str
    seconds: float
    has_offset: bool


def read_moment(text: str) -> Moment | None:
    """A time from ISO 8601; without an offset it counts as UTC. None where it is none.

    >>> read_moment("2031-05-17 14:30:00,5+02:00")
    Moment(at='2031-05-17T14:30:00+02:00', seconds=1936787400.5, has_offset=True)
    """
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        return None
    if not _EARLIEST <= found.year <= _LATEST:
        return None
    in_utc = found if found.tzinfo else found.replace(tzinfo=UTC)
    return Moment(found.isoformat(timespec="seconds"), in_utc.timestamp(), found.tzinfo is not None)


def in_utc(seconds: float | None) -> str | None:
    """Seconds from 1970 as a time in UTC, to the second; None where no calendar has it."""
    try:
        found = None if seconds is None else datetime.fromtimestamp(seconds, UTC)
    except (ValueError, OverflowError, OSError):
        return None
    return None if found is None else found.isoformat(timespec="seconds")


@dataclass
class Clocks:
    """What is wrong with the times of a lot, as they come in, in the order of the rows."""

    now_s: float
    _last: dict[str, Moment] = field(default_factory=dict)
    _back: dict[str, tuple[str, int]] = field(default_factory=dict)
    _future: tuple[str, int] | None = None
    _offsets: dict[bool, str] = field(default_factory=dict)

    def dated(self, where: str, moment: Moment) -> None:
        """A time, wherever it stands."""
        ahead_s = _SLACK_S if moment.has_offset else _AHEAD_S
        if moment.seconds > self.now_s + ahead_s:
            first, count = self._future or (f"{where}: time {moment.at} lies in the future", 0)
            self._future = first, count + 1
        self._offsets.setdefault(moment.has_offset, f"{moment.at} in {where}")

    def followed(self, where: str, station: str, moment: Moment) -> None:
        """A time that should not lie before the one that this station had last."""
        self.dated(where, moment)
        last = self._last.get(station)
        if last is not None and moment.seconds < last.seconds:
            of_it = f" at station {printable(station)}" if station else ""
            line = f"{where}: time{of_it} runs backwards, from {last.at} to {moment.at}"
            first, count = self._back.get(station, (line, 0))
            self._back[station] = first, count + 1
        if last is not None or len(self._last) < _SEEN_STATIONS:
            self._last[station] = moment

    def warnings(self) -> list[str]:
        """One line for each thing that was seen."""
        found = [
            f"{line}{_more(count)}. The charts go by time; check the clock of that recorder, or "
            "mend the times."
            for line, count in list(self._back.values())[:_MOST_STATIONS]
        ]
        if len(self._back) > _MOST_STATIONS:
            found.append(
                f"Time runs backwards at {len(self._back) - _MOST_STATIONS} more stations."
            )
        return [*found, *self._future_and_offsets()]

    def _future_and_offsets(self) -> list[str]:
        found = []
        if self._future is not None:
            line, count = self._future
            found.append(f"{line}{_more(count)}. Check the clock of that recorder.")
        if len(self._offsets) > 1:
            found.append(
                f"Some times have an offset from UTC ({self._offsets[True]}) and some have none "
                f"({self._offsets[False]}): those without count as UTC. Give all with an offset."
            )
        return found


def _more(count: int) -> str:
    return f", and so {count - 1} more times" if count > 1 else ""
