"""What the stages of a measurement made of a note, before it is put in figures."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analyzer.pitch.envelopes import Envelopes
from analyzer.pitch.partials import Peaks
from analyzer.pitch.phases import PhaseFit, Rest
from analyzer.pitch.spectrum import Real
from analyzer.pitch.stiff_string import StringFit

LEAST_SAY = 0.001
_LOST_RELATIVE_VARIANCE = 4e-6  # a partial less sure by 3.5 cents than the best is lost
_FULLY_FOUND = 0.5  # of that: up to here it has its full say


@dataclass(frozen=True)
class Followed:
    """Partials, envelopes and fits, on the note's own clock.

    ``pace`` is how much faster than the recorder's that clock runs. ``whole`` is False for a
    clipped note whose start could not be made out.
    """

    peaks: Peaks
    envelopes: Envelopes
    phases: PhaseFit
    rest: Rest
    string: StringFit
    pace: float
    clipped: bool
    whole: bool

    @property
    def kept(self) -> NDArray[np.bool_]:
        """Which partials could be followed and are in the string law, (partials,)."""
        return np.asarray(say_of(self.phases) > LEAST_SAY)


def say_of(phases: PhaseFit) -> Real:
    """From 1 to 0, how well each partial is known beside the best, (partials,)."""
    variance = np.diag(phases.covariance)
    lost = (variance - np.min(variance)) / _LOST_RELATIVE_VARIANCE
    return np.asarray(np.clip((1 - lost) / (1 - _FULLY_FOUND), 0, 1))
