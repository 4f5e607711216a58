"""What is known of a lot before and after it is measured: plain values that cross processes.

An instrument is measured in a session: its recordings, made at one station by one operator. An
instrument that is measured again, for a study of the gauge, has several; ``repeat`` counts them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from analyzer.lot.judgement.decision import InstrumentDecision
from analyzer.measure import Measured
from analyzer.recording.table import Listed
from analyzer.report.model import Report


@dataclass(frozen=True)
class Session:
    """One measuring of one instrument, before anything is read but its place and its names.

    ``place``: the folder of the recordings, a path or a URL. ``files``: their paths within
    ``place`` (``/`` between), in order; ``listed``: what a table says of each, by file, empty where
    the names or a takes.csv say it. ``instrument_file``: path or URL, None where there is none.
    ``recorded_at``: ISO 8601 to the second, with its offset where one was given, as it stood at
    the station; ``recorded_s``: seconds since 1970, UTC, in which no offset counts as UTC. Both
    None where nothing tells. ``station`` and ``operator`` are empty where nothing tells.
    """

    serial: str
    place: str
    files: tuple[str, ...]
    listed: Mapping[str, tuple[Listed, ...]] = field(default_factory=dict)
    instrument_file: str | None = None
    station: str = ""
    operator: str = ""
    repeat: int = 1
    recorded_at: str | None = None
    recorded_s: float | None = None

    @property
    def named(self) -> str:
        """The serial number, and which measuring where there is more than one."""
        return self.serial if self.repeat == 1 else f"{self.serial}, repeat {self.repeat}"


@dataclass(frozen=True)
class Fault:
    """A session or a row of a table that could not become one, in one line each."""

    where: str
    reason: str


@dataclass(frozen=True)
class FileState:
    """What a file was like when it was read.

    ``token`` changes when the file does, and is had without reading it: size and time of a local
    file, or what a file system says of a URL. ``sha256``: of its content, hexadecimal.
    """

    file: str
    token: str
    sha256: str


@dataclass(frozen=True)
class MeasuredFile:
    """One recording with all that was measured in it. ``key`` is that of ``identity``."""

    state: FileState
    key: str
    measured: tuple[Measured, ...]


@dataclass(frozen=True)
class Task:
    """A session to measure, and what is known of its recordings already, by file."""

    session: Session
    known: Mapping[str, MeasuredFile] = field(default_factory=dict)


@dataclass(frozen=True)
class Outcome:
    """What came of a task: a report, or one line that says why there is none.

    ``inputs``: digest of all that the report was made from, and of the method. ``files``: every
    recording; ``new`` counts those that were measured for it. ``seconds``: how long it took.
    ``decision`` is None where there is no specification.
    """

    session: Session
    report: Report | None
    reason: str | None
    inputs: str | None = None
    files: tuple[MeasuredFile, ...] = ()
    new: int = 0
    seconds: float = 0.0
    decision: InstrumentDecision | None = None


# What the store gives to statistics, pages and exports: a row a session, and a row for everything
# that is judged in one. Times are as they stood at the station, without their offset.
SESSION_COLUMNS = (
    "analysis",  # the store's number of it
    "serial",
    "station",
    "operator",
    "repeat",
    "recorded_at",  # datetime64, NaT where nothing tells
    "recorded_s",  # orders them; NaN where nothing tells
    "analyzed_at",  # datetime64, UTC
    "instrument",
    "place",
    "recordings",
    "left_out",  # recordings
    "strings",
    "strings_measured",
    "verdict",  # analyzer.lot.judgement.decision.Verdict
    "reason",
    "conformity_probability",
    "more_takes",  # 0 where none are needed, NaN where none would settle it
    "latest",  # whether it is the last session of its serial number: the one that counts
)
VALUE_COLUMNS = (
    "analysis",
    "serial",
    "station",
    "operator",
    "repeat",
    "recorded_at",
    "recorded_s",
    "latest",
    "string",
    "characteristic",  # analyzer.lot.judgement.specification.Characteristic
    "value_cents",  # NaN where it could not be had
    "standard_uncertainty_cents",
    "lower_cents",
    "upper_cents",
    "target_cents",
    "verdict",
    "conformity_probability",
    "more_takes",
    "reason",
)
LEFT_OUT_COLUMNS = ("analysis", "serial", "station", "operator", "file", "string", "fret", "reason")
