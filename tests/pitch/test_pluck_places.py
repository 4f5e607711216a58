"""Where plucks begin and end, from levels that are made by hand and from files of known cuts."""

from __future__ import annotations

import math

import numpy as np
import pytest
import soundfile
from pluck_model import PluckModel, recording

from analyzer.errors import RecordingError
from analyzer.plucks import (
    BEFORE_NEXT_S,
    _count_notes,
    _crossing,
    _floor_db,
    _sounding_regions,
    _struck_again,
    find_pluck,
    smoothed_db,
    steepest,
)
from analyzer.recording.reading import open_recording

STEP_S, RATE_HZ = 0.005, 44_100


def steps(*parts: tuple[float, float]) -> np.ndarray:
    """Levels in dB, each for so many seconds."""
    return np.concatenate(
        [np.full(round(seconds / STEP_S), float(level)) for seconds, level in parts]
    )


def test_steepest_rise_about_a_rough_place() -> None:
    level = steps((0.5, -60), (0.5, -12))
    for rough in (98, 100, 105):
        assert steepest(level, rough, STEP_S) == (100, -12)
    assert steepest(level, 2, STEP_S)[0] <= 5  # nothing before the file's beginning
    assert steepest(steps((0.5, -60)), 0, STEP_S, 0.0) == (0, -math.inf)


def test_level_after_a_strike_is_taken_when_the_click_is_over() -> None:
    """A click of 0.02 s at -3 dB, then the note at -20: from 0.03 s on it is the note's."""
    level = steps((0.5, -60), (0.02, -3), (0.5, -20))
    assert steepest(level, 100, STEP_S) == (100, -20)
    assert steepest(level[:104], 100, STEP_S)[1] == -math.inf  # the file ends within the click


def test_struck_again_is_apart_and_as_loud_as_a_pluck() -> None:
    level = steps((0.1, -90), (1.0, -10), (0.1, -40), (1.0, -15), (0.1, -60), (1.0, -45))
    places = [(20, 0.015), (240, 0.015), (460, 0.015)]
    assert _struck_again(level, 20, places, STEP_S, -35.0) == [240]
    assert _struck_again(level, 20, places, STEP_S, -50.0) == [240, 460]
    assert _struck_again(level, 200, places, STEP_S, -35.0) == []  # within 0.3 s


def test_crossing_is_part_of_a_step() -> None:
    level = np.array([-60.0, -40.0, -10.0])
    assert _crossing(level, 2, -25.0) == pytest.approx(1.5)
    assert _crossing(level, 1, -45.0) == pytest.approx(0.75)
    assert _crossing(level, 0, -70.0) == 0


def test_floor_is_the_tenth_percentile() -> None:
    level = np.random.default_rng(1).normal(-60, 10, 333)
    assert _floor_db(level) == pytest.approx(np.percentile(level, 10))


def test_regions_that_sound() -> None:
    """Below 50 dB under the peak is nothing, and a gap of 0.06 s is none."""
    level = steps((0.5, -90), (1, -10), (0.05, -90), (1, -30), (0.5, -90), (0.5, -55), (0.5, -70))
    assert _sounding_regions(level, STEP_S) == [(100, 510), (610, 710)]
    noisy = steps((0.5, -45), (1, -10), (0.5, -45))  # 6 dB above the noise
    assert _sounding_regions(noisy, STEP_S) == [(100, 300)]


def test_further_notes_are_long_and_loud() -> None:
    level = steps((1, -10), (0.4, -12), (0.6, -20), (0.6, -50))
    regions = [(0, 200), (200, 280), (280, 400), (400, 520)]
    assert _count_notes(level, regions, (0, 200), STEP_S) == 1


def test_smoothing_keeps_the_power_of_a_ripple() -> None:
    """Half the time at full power, half at none: 3 dB down."""
    ripple = np.resize([0.0, -200.0], 400)
    assert smoothed_db(ripple, STEP_S)[50:350] == pytest.approx(np.full(300, -3.01), abs=0.01)
    assert smoothed_db(np.full(100, -200.0), STEP_S)[50] == pytest.approx(-180, abs=0.1)


def test_silence_is_named_with_its_level(tmp_path) -> None:
    soundfile.write(tmp_path / "none.wav", np.zeros(RATE_HZ), RATE_HZ)
    with pytest.raises(RecordingError, match=r"is silent \(loudest -180 dBFS\)"):
        find_pluck(open_recording(tmp_path / "none.wav"))


@pytest.mark.parametrize("silence_s", [0.4, 2.0])
def test_a_note_ends_before_the_next_is_struck(tmp_path, silence_s) -> None:
    """Struck after ``silence_s`` and again 1.5 s later without a pause, more quietly.

    The new strike hardly stands out of the old note, so its place is known to 0.03 s.
    """
    rng = np.random.default_rng(2)
    first = recording(PluckModel(110.0), rng, silence_s=silence_s, duration_s=1.5)
    second = 0.6 * recording(PluckModel(110.0), rng, silence_s=0, duration_s=1.5)
    soundfile.write(tmp_path / "two.wav", np.concatenate([first, second]), RATE_HZ)
    found = find_pluck(open_recording(tmp_path / "two.wav"))
    assert found.onset_s == pytest.approx(silence_s, abs=0.006)
    assert found.end_s == pytest.approx(silence_s + 1.5 - BEFORE_NEXT_S, abs=0.03)
    assert found.others == 1


def test_part_of_a_recording(tmp_path) -> None:
    """Times stay those of the whole file."""
    rng = np.random.default_rng(3)
    loud = recording(PluckModel(110.0), rng, silence_s=0.3, duration_s=1.5)
    quiet = 0.3 * recording(PluckModel(110.0), rng, silence_s=0.8, duration_s=1.5)
    soundfile.write(tmp_path / "two.wav", np.concatenate([loud, quiet]), RATE_HZ)
    take = open_recording(tmp_path / "two.wav")
    assert find_pluck(take).onset_s == pytest.approx(0.3, abs=0.006)
    assert find_pluck(take, 1.9).onset_s == pytest.approx(1.8 + 0.8, abs=0.006)
    assert find_pluck(take, 0.0, 1.2).end_s == pytest.approx(1.2, abs=0.006)
    with pytest.raises(RecordingError, match=r"nothing from 9 s on: it is 4\.1 s long"):
        find_pluck(take, 9.0)
