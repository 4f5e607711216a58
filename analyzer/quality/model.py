"""What is said of a recording that may be used, but not without a word."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from analyzer.errors import RecordingError

Status = Literal["used", "used with a caution", "rejected"]


@dataclass(frozen=True)
class Caution:
    """One plain sentence of what was found, one of what to do; and what it adds to the doubt.

    ``added_cents`` is the half-width of a 95 % interval; it adds to the pluck's own as a root sum
    of squares. The numbers stand in ``quality.thresholds``.
    """

    text: str
    added_cents: float


class DrownedError(RecordingError):
    """There is more noise than note; in a long take it was no pluck."""


def unclear_name(taken_for: str, shared: str) -> Caution:
    """On a pluck of a whole take that neither its pitch nor its place in the order names."""
    text = (
        f"was taken for {taken_for}, but {shared} and the order of the plucks does not tell. List "
        "it in takes.csv, or record string by string, open and then at the 12th fret."
    )
    return Caution(text, 0.0)  # a name is right or wrong: no interval holds that


# A copy is to correlate by 0.98 or more: steps of an eighth cost it 0.001, and every recording of a
# lot keeps its print.
PRINT_STEPS = 8.0


@dataclass(frozen=True)
class Traits:
    """What two recordings are compared by.

    ``print_`` is a piece of the sound after its onset, differenced, shape (n,), in steps of
    1 / ``PRINT_STEPS`` of its root mean square: noise and all, so that only a copy has the same.
    ``half_lines``: the note holds lines between
    its own, half-way, as what is left of the whole string under its harmonic. ``noise_dbfs`` is
    NaN where the file has no quiet part.
    """

    rate_hz: int
    channels: int
    suffix: str
    noise_dbfs: float
    half_lines: bool
    print_: NDArray[np.int8]


def status_of(fault: str | None, cautions: Sequence[Caution]) -> Status:
    """The verdict on a recording in a word; ``fault`` is why it cannot be used."""
    if fault is not None:
        return "rejected"
    return "used with a caution" if cautions else "used"


def widened_cents(own_cents: float, cautions: Sequence[Caution]) -> float:
    """The half-width of an interval with what the cautions add."""
    return math.hypot(own_cents, *(each.added_cents for each in cautions))
