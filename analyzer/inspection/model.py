"""What is known of one recording, as values: what every output is written from.

Times are in seconds. A value that could not be had is None, and ``reason`` says why.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from analyzer.pitch.partial_tracks import PartialTrack
from analyzer.pitch.settle import SettledPitch
from analyzer.quality.model import Caution, Status
from analyzer.recording.labels import Label

SCHEMA_VERSION = 1


@dataclass(frozen=True)
class SoundFile:
    """``channel`` is the one that was used, from 1; ``length_s`` that of the whole file."""

    file: str
    kind: str
    rate_hz: int
    channels: int
    channel: int
    length_s: float


@dataclass(frozen=True)
class Wave:
    """The lowest and the highest sample in each of equal parts of a piece, full scale 1.

    The piece begins at ``start_s`` of the file; each part lasts ``step_s``.
    """

    start_s: float
    step_s: float
    low: tuple[float, ...]
    high: tuple[float, ...]


@dataclass(frozen=True)
class Levels:
    """The level of the whole file, dB of full scale: the loudest in each part of ``step_s``."""

    step_s: float
    dbfs: tuple[float, ...]


@dataclass(frozen=True)
class Place:
    """What was taken as the pluck, in seconds of the file.

    ``early_s`` is where the drift starts from; ``fitted_s`` what the pitch was fitted to, None
    where nothing could be; ``settled_s`` where it has come to its settled pitch, None where it
    never does. ``others`` counts further plucks that were not used.
    """

    start_s: float
    end_s: float
    early_s: tuple[float, float]
    fitted_s: tuple[float, float] | None
    settled_s: tuple[float, float] | None
    others: int


@dataclass(frozen=True)
class Check:
    """One thing that the quality gate looks at.

    ``value`` in ``unit``; None where it was not heard. ``caution`` and ``reject`` are the limits;
    ``least`` says that values below them are the bad ones.
    """

    name: str
    unit: str
    value: float | None
    caution: float | None
    reject: float | None
    least: bool = False

    @property
    def verdict(self) -> Literal["good", "caution", "reject"]:
        """On which side of its limits the value lies."""
        for limit, word in ((self.reject, "reject"), (self.caution, "caution")):
            if self.value is not None and limit is not None and self._beyond(self.value, limit):
                return "reject" if word == "reject" else "caution"
        return "good"

    def _beyond(self, value: float, limit: float) -> bool:
        return value < limit if self.least else value > limit


@dataclass(frozen=True)
class Line:
    """A line of the spectrum where no note could be measured: which partial it might be."""

    number: int
    frequency_hz: float
    over_noise_db: float


@dataclass(frozen=True)
class Inspection:
    """All about one pluck.

    ``label`` is what its name or the table says, with its ``promised_hz``; ``unlabelled`` why it
    says nothing. ``note`` is the nearest to the settled pitch, which lies ``note_cents`` above it.
    ``pitch`` has its interval widened by the ``cautions``; ``own_uncertainty_cents`` is that before
    them. ``number`` counts the plucks of a file of many. ``tracks`` are the partials; where
    nothing could be measured, ``lines`` are what might be some.
    """

    sound: SoundFile
    levels: Levels
    status: Status
    reason: str | None
    a4_hz: float
    tuning: tuple[str, ...]
    number: int | None = None
    label: Label | None = None
    unlabelled: str | None = None
    promised_hz: float | None = None
    promised_cents: float | None = None
    place: Place | None = None
    wave: Wave | None = None
    pitch: SettledPitch | None = None
    own_uncertainty_cents: float | None = None
    note: str | None = None
    note_cents: float | None = None
    tracks: tuple[PartialTrack, ...] = ()
    lines: tuple[Line, ...] = ()
    checks: tuple[Check, ...] = ()
    cautions: tuple[Caution, ...] = ()
    warnings: tuple[str, ...] = ()

    @property
    def complete(self) -> bool:
        """Whether the recording can be used."""
        return self.status != "rejected"

    @property
    def title(self) -> str:
        """The file, with the number of the pluck where it holds many."""
        return self.sound.file if self.number is None else f"{self.sound.file}, pluck {self.number}"


@dataclass(frozen=True)
class PluckLine:
    """A pluck of a file of many, in short; ``number`` counts from 1."""

    number: int
    start_s: float
    end_s: float
    label: Label | None
    settled_hz: float | None
    settled_uncertainty_cents: float | None
    note: str | None
    status: Status
    reason: str | None
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class PluckList:
    """The plucks of a file of many, in order of time; ``reason`` where there are none."""

    sound: SoundFile
    levels: Levels
    tuning: tuple[str, ...]
    a4_hz: float
    plucks: tuple[PluckLine, ...]
    reason: str | None
    warnings: tuple[str, ...]

    @property
    def complete(self) -> bool:
        """Whether there is a pluck and every one can be used."""
        return bool(self.plucks) and all(each.status != "rejected" for each in self.plucks)

    @property
    def title(self) -> str:
        return self.sound.file
