"""What a phone's coding does to the result: real notes in one take, against the same without loss.

The noise of the room is synthetic (``phone_takes``). ``benchmark_phone.py`` prints more codings.
"""

from __future__ import annotations

import numpy as np
import pytest
from phone_takes import GUITARS, PHONES, agreements, lossless, real_take, sent

# A quarter of a turn of M3, the finest step that is commonly made, at a scale length of 647.7 mm:
# 1731.234 / 647.7 x 0.5 / 4 (pitch after ISO 261). The median, since the partials of a few of these
# notes do not agree to several cents, as their intervals say.
QUARTER_TURN_CENTS = 0.334


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
        assert np.median([abs(each.off_cents) for each in found]) < QUARTER_TURN_CENTS
