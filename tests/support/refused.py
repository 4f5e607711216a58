"""A recording, and the reason why one is refused."""

from __future__ import annotations

import numpy as np
import pytest

from analyzer.errors import RecordingError
from analyzer.recording.limits import Limits, ReadingRules
from analyzer.recording.reading import open_recording

RATE_HZ = 44100
TONE = 0.1 * np.sin(2 * np.pi * 110 * np.arange(2 * RATE_HZ) / RATE_HZ)


def reason(path, *, untrusted: bool = False, **limits: float) -> str:
    with pytest.raises(RecordingError) as caught:
        open_recording(path, ReadingRules(Limits(**limits), untrusted))
    assert str(caught.value).isprintable()
    return caught.value.reason
