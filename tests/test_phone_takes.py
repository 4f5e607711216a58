"""What a phone's coding does to the result: real notes in one take, against the same without loss.

The noise of the room is synthetic (``phone_takes``). ``benchmark_phone.py`` prints more codings.
"""

from __future__ import annotations

import numpy as np
import pytest
from phone_takes import GUITARS, PHONES, agreements, lossless, real_take, sent

# What changes by this much is still well inside the intervals of real notes (manual: 0.5 to 4).
MOST_RMS_CENTS = 1.0


@pytest.mark.parametrize("guitar", GUITARS)
def test_phone_files_agree_with_lossless_ones(tmp_path, real_recordings, guitar) -> None:
    take = real_take(real_recordings, guitar)
    whole = lossless(take, tmp_path)
    assert [(each.label.string, each.label.fret) for each in whole] == take.places
    for form in (PHONES[0], PHONES[2]):
        measured = sent(take, tmp_path, form)
        assert [(each.label.string, each.label.fret) for each in measured] == take.places
        found = agreements(whole, measured)
        assert len(found) == len(take.instrument.tuning)
        for each in found:
            assert abs(each.off_cents) < each.interval_cents, (form.file, each)
        assert np.sqrt(np.mean([each.off_cents**2 for each in found])) < MOST_RMS_CENTS
