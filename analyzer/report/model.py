"""The result as values: what every output is written from. Names are those of the JSON report.

A value that could not be had is None, and the ``reason`` beside it says why.
"""

from __future__ import annotations

from dataclasses import dataclass

from analyzer.bridge.steps import Direction, Step
from analyzer.findings.model import Finding
from analyzer.frets.judge import FretResult
from analyzer.instrument.model import Action, ScrewHead
from analyzer.pitch.settle import Course
from analyzer.pitch.track import Track
from analyzer.quality.model import Status

SCHEMA_VERSION = 1


@dataclass(frozen=True)
class RecordingResult:
    """The verdict on a recording, or on one pluck of several in a file, and its figures.

    ``reason``: why it was rejected, or why it is used for no string's error. ``cautions`` have
    each widened the uncertainty. ``start_s`` and ``end_s``: where a pluck lies in a file that
    holds several, else None. ``course``: how the pitch runs to the settled one, as fitted;
    ``track``: as measured.
    """

    file: str
    string: int | None
    fret: str | None
    take: int | None
    status: Status
    reason: str | None = None
    settled_hz: float | None = None
    settled_uncertainty_cents: float | None = None
    first_partial_hz: float | None = None
    misfit_cents: float | None = None
    sustain_drift_cents: float | None = None
    glide_cents: float | None = None
    glide_time_s: float | None = None
    late_slope_cents_per_s: float | None = None
    beat_hz: float | None = None
    stiffness: float | None = None
    stiffness_uncertainty: float | None = None
    cautions: tuple[str, ...] = ()
    start_s: float | None = None
    end_s: float | None = None
    course: Course | None = None
    track: Track | None = None

    @property
    def named(self) -> str:
        """The file, and the place in it where it holds several plucks."""
        return self.file if self.start_s is None else f"{self.file} at {self.start_s:.1f} s"


@dataclass(frozen=True)
class StringResult:
    string: int
    note: str
    reason: str | None = None
    open_hz: float | None = None
    fretted_hz: float | None = None
    error_cents: float | None = None
    error_uncertainty_cents: float | None = None
    open_drift_cents: float | None = None
    fretted_drift_cents: float | None = None
    sustain_drift_cents: float | None = None
    saddle_move_mm: float | None = None
    saddle_move_uncertainty_mm: float | None = None


@dataclass(frozen=True)
class SaddleResult:
    """What becomes of one saddle: the sum of what its adjusters do.

    ``residual_cents`` maps a string to its error after the move, ``moves_mm`` to how far the
    saddle moves under it; ``move_mm`` is their mean. ``turns`` and ``direction`` are those of
    the one screw that moves the saddle as a whole, and None where it has not just one.
    """

    strings: tuple[int, ...]
    reason: str | None = None
    move_mm: float | None = None
    turns: float | None = None
    direction: Direction | None = None
    residual_cents: dict[int, float] | None = None
    residual_uncertainty_cents: dict[int, float] | None = None
    moves_mm: dict[int, float] | None = None


@dataclass(frozen=True)
class AdjusterResult:
    """What to do to one adjuster. ``order`` counts from 1 in working order, None to leave it.

    ``share`` maps a string to the mm that its saddle moves for each mm of the adjuster;
    ``cents_per_turn`` and ``cents_per_mm`` to what that does to its error, with the ``response``
    learned so far (a multiple of the geometry's). ``pitch_mm`` is the screw's; ``travel_mm`` is as
    in the instrument file, and ``moved_mm`` what the adjuster has been moved since.
    ``screw_head`` is the end that its head faces; a screw has a ``smallest_turn``, and what is
    moved by hand a ``smallest_step_mm``. ``loose``: nothing but the strings holds what it moves.
    """

    name: str
    strings: tuple[int, ...]
    action: Action
    share: dict[int, float]
    response: float
    response_uncertainty: float
    travel_mm: tuple[float, float] | None
    moved_mm: float
    pitch_mm: float | None = None
    reason: str | None = None
    order: int | None = None
    move_mm: float | None = None
    move_uncertainty_mm: float | None = None
    turns: float | None = None
    direction: Direction | None = None
    cents_per_mm: dict[int, float] | None = None
    cents_per_turn: dict[int, float] | None = None
    screw_head: ScrewHead | None = None
    smallest_turn: float | None = None
    smallest_step_mm: float | None = None
    loose: bool = False


@dataclass(frozen=True)
class ResponseResult:
    """What has been learned of the instrument's response, for the next round to carry on from.

    ``instrument_factor`` is what all adjusters share, against the geometry's 1. ``state`` and
    ``covariance`` are those of ``analyzer.bridge.response.Response``.
    """

    rounds: int
    instrument_factor: float
    instrument_factor_uncertainty: float
    state: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]


@dataclass(frozen=True)
class OutcomeResult:
    """How a string's error changed since the earlier report, against what was predicted."""

    string: int
    predicted_change_cents: float
    predicted_uncertainty_cents: float
    found_change_cents: float
    found_uncertainty_cents: float
    normalised_difference: float
    learned_from: bool
    in_words: str


@dataclass(frozen=True)
class ErrorBefore:
    """A string's error in the earlier report, with the half-width of its interval."""

    string: int
    error_cents: float
    error_uncertainty_cents: float


@dataclass(frozen=True)
class BridgeLayout:
    """Where the strings lie on the bridge, by string: mm across, and mm beyond the scale length.

    ``across_mm`` is empty where the instrument file needs no positions; ``setback_mm`` is as the
    file gives it, 0 where it does not.
    """

    across_mm: dict[int, float]
    setback_mm: dict[int, float]


@dataclass(frozen=True)
class Report:
    """One instrument's analysis.

    ``reading``: names and values of what was asked of the reading itself, where it was not as by
    default: limits, an untrusted sender, processes. No figure depends on it. ``moves_told``: the
    moves since ``previous`` were told, and are not taken to be as it advised; None without one.
    """

    instrument: str
    tuning: tuple[str, ...]
    a4_hz: float
    strings: tuple[StringResult, ...]
    saddles: tuple[SaddleResult, ...]
    recordings: tuple[RecordingResult, ...]
    warnings: tuple[str, ...]
    adjusters: tuple[AdjusterResult, ...] = ()
    steps: tuple[Step, ...] = ()
    response: ResponseResult | None = None
    previous: str | None = None
    outcome: tuple[OutcomeResult, ...] = ()
    name_given: bool = True
    scale_lengths_mm: tuple[float, ...] | None = None
    frets: tuple[FretResult, ...] = ()
    findings: tuple[Finding, ...] = ()
    errors_before: tuple[ErrorBefore, ...] = ()
    layout: BridgeLayout | None = None
    reading: tuple[tuple[str, str], ...] = ()
    moves_told: bool | None = None

    @property
    def rejected(self) -> tuple[RecordingResult, ...]:
        return tuple(each for each in self.recordings if each.status == "rejected")

    @property
    def measured(self) -> tuple[StringResult, ...]:
        return tuple(each for each in self.strings if each.error_cents is not None)

    @property
    def intervals(self) -> dict[int, tuple[float, float]]:
        """The error of each string with a result and the half-width of its interval, cents."""
        return {
            each.string: (each.error_cents, each.error_uncertainty_cents)
            for each in self.strings
            if each.error_cents is not None and each.error_uncertainty_cents is not None
        }

    @property
    def intervals_before(self) -> dict[int, tuple[float, float]]:
        """The same in the earlier report."""
        return {e.string: (e.error_cents, e.error_uncertainty_cents) for e in self.errors_before}

    @property
    def complete(self) -> bool:
        """Every string has a result and no recording had to be left out."""
        return len(self.measured) == len(self.strings) and not self.rejected

    def verdict(self) -> str:
        """The last line of an analysis: how much of it could be done, and the worst string."""
        used = len(self.recordings) - len(self.rejected)
        line = (
            f"{len(self.measured)} of {len(self.strings)} strings have a result; "
            f"{_counted(used, 'recording')} used{self._cautioned()}, "
            f"{len(self.rejected)} left out."
        )
        errors = {each.string: each.error_cents for each in self.measured if each.error_cents}
        if errors:
            worst = max(errors, key=lambda string: abs(errors[string]))
            line += f" Largest error: string {worst}, {_in_words(errors[worst])}."
        return line

    def _cautioned(self) -> str:
        number = sum(bool(each.cautions) for each in self.recordings)
        return f" ({number} with a caution)" if number else ""


def _in_words(error_cents: float) -> str:
    size = f"{abs(error_cents):.1f} cents"
    if float(f"{error_cents:.1f}") == 0:
        return size
    return f"{size} sharp" if error_cents > 0 else f"{size} flat"


def _counted(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
