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
    LONGEST_USED_S,
    _count_notes,
    _crossing,
    _floor_db,
    _rises,
    _sounding_regions,
    _strongest,
    _struck_again,
    find_pluck,
    levels_db,
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


def test_smoothing_is_a_mean_of_power() -> None:
    """Over 0.05 s, ten steps, by numpy; at the ends nothing is set beside."""
    level = np.random.default_rng(4).normal(-30, 8, 300)
    power = np.convolve(10 ** (level / 10), np.ones(10) / 10)[4:-5]
    expected = 10 * np.log10(
        np.array([np.mean(10 ** (level[at - 5 : at + 5] / 10)) for at in range(5, 295)])
    )
    assert smoothed_db(level, STEP_S)[5:295] == pytest.approx(expected)
    assert smoothed_db(level, STEP_S)[[0, -1]] == pytest.approx(10 * np.log10(power[[0, -1]]))


@pytest.mark.parametrize(("soft_steps", "strongest"), [(96, 0), (104, 1)])
def test_the_strongest_part_has_the_most_energy(soft_steps, strongest) -> None:
    """Ten steps at -10 dB have as much as a hundred at -20."""
    level = np.r_[np.full(10, -10.0), np.full(soft_steps, -20.0)]
    assert _strongest(level, [(0, 10), (10, 10 + soft_steps)]) == strongest


def test_a_rise_is_held_against_a_tenth_of_a_second_before() -> None:
    """By 9 dB: 12 dB are seen at once, and 8 never, nor 12 that take a second."""
    at_once = _rises(steps((1, -40), (1, -28)), STEP_S) * STEP_S
    assert (np.min(at_once), np.max(at_once)) == pytest.approx((1.0, 1.1), abs=0.03)
    assert _rises(steps((1, -40), (1, -32)), STEP_S).size == 0
    slowly = np.r_[np.full(200, -40.0), np.linspace(-40, -28, 200), np.full(200, -28.0)]
    assert _rises(slowly, STEP_S).size == 0


def test_regions_in_noise_near_the_note() -> None:
    """Noise less than 30 dB down does not divide a note; more than that, 6 dB above it counts."""
    near = steps((0.5, -35), (1, -10), (0.5, -35))
    assert _sounding_regions(near, STEP_S) == [(0, 400)]
    far = steps((1.0, -45), (1, -10), (0.3, -38.5), (0.3, -39.5), (1.0, -45))
    assert _sounding_regions(far, STEP_S) == [(200, 460)]


def test_crossing_is_no_more_than_a_step_before() -> None:
    assert _crossing(np.array([-20.0, -19.0, -10.0]), 1, -60.0) == 0
    assert _crossing(np.array([-20.0, -20.0]), 1, -20.0) == 1


@pytest.mark.parametrize(("level_db", "counted"), [(-34.0, 1), (-36.0, 0)])
def test_a_further_note_is_no_more_than_25_db_down(level_db, counted) -> None:
    level = steps((1, -10), (0.6, level_db))
    assert _count_notes(level, [(0, 200), (200, 320)], (0, 200), STEP_S) == counted


def take_of(tmp_path, samples, name="take.wav"):
    soundfile.write(tmp_path / name, samples, RATE_HZ, "FLOAT")
    return open_recording(tmp_path / name)


def test_levels_are_those_of_a_sine_by_its_mean_square(tmp_path) -> None:
    sine = 0.5 * np.sin(2 * np.pi * 1000 * np.arange(RATE_HZ) / RATE_HZ)
    take = take_of(tmp_path, np.stack([sine, 0.1 * sine, 0 * sine], axis=1))
    found = [levels_db(take, channel)[20] for channel in range(3)]
    assert found == pytest.approx([-9.03, -29.03, -180.0], abs=0.05)


def test_what_is_used_ends_after_eight_seconds(tmp_path) -> None:
    tone = np.r_[np.zeros(RATE_HZ // 2), 0.3 * np.sin(0.05 * np.arange(10 * RATE_HZ))]
    found = find_pluck(take_of(tmp_path, tone))
    assert found.onset_s == pytest.approx(0.5, abs=0.01)
    assert found.duration_s == pytest.approx(LONGEST_USED_S) == 8.0


@pytest.mark.parametrize(("sounding_s", "enough"), [(0.48, False), (0.53, True)])
def test_half_a_second_is_enough(tmp_path, sounding_s, enough) -> None:
    tone = 0.3 * np.sin(0.05 * np.arange(round(sounding_s * RATE_HZ)))
    take = take_of(tmp_path, np.r_[np.zeros(RATE_HZ), tone, np.zeros(RATE_HZ)])
    if enough:
        assert find_pluck(take).duration_s == pytest.approx(sounding_s, abs=0.011)
        return
    with pytest.raises(RecordingError, match=r"holds only 0\.4[789]\d s of a note"):
        find_pluck(take)


@pytest.mark.parametrize(("level_dbfs", "silent"), [(-79.0, False), (-81.0, True)])
def test_silent_is_what_is_nowhere_louder_than_minus_80(tmp_path, level_dbfs, silent) -> None:
    tone = np.sqrt(2) * 10 ** (level_dbfs / 20) * np.sin(0.2 * np.arange(2 * RATE_HZ))
    take = take_of(tmp_path, tone)
    if silent:
        with pytest.raises(RecordingError, match=r"is silent \(loudest -81 dBFS\)"):
            find_pluck(take)
    else:
        assert find_pluck(take).duration_s > 1.5


def test_notes_of_a_part_count_by_what_is_in_the_part(tmp_path) -> None:
    """Three notes and the last struck again, of which the part holds two that are not."""
    rng = np.random.default_rng(7)
    notes = [
        recording(PluckModel(110.0), rng, silence_s=0.6, duration_s=each)
        for each in (1.2, 1.0, 1.6)
    ]
    again = recording(PluckModel(110.0), rng, silence_s=0, duration_s=0.9)
    take = take_of(tmp_path, 0.5 * np.concatenate([*notes, 1.6 * again]))
    whole = find_pluck(take)
    assert whole.others == 3
    assert whole.onset_s == pytest.approx(1.8 + 1.6 + 2.2, abs=0.03)
    part = find_pluck(take, 1.9, 5.5)
    assert part.others == 1
    assert part.onset_s == pytest.approx(1.8 + 1.6 + 0.6, abs=0.01)
    assert part.end_s == pytest.approx(5.5, abs=0.006)


def test_a_part_of_a_recording_is_struck_again_where_it_is(tmp_path) -> None:
    """What comes before the part moves nothing in it."""
    rng = np.random.default_rng(8)
    first = recording(PluckModel(110.0), rng, silence_s=0.3, duration_s=1.4)
    second = 0.7 * recording(PluckModel(110.0), rng, silence_s=0, duration_s=1.4)
    take = take_of(tmp_path, np.concatenate([np.zeros(3 * RATE_HZ), first, second]))
    found = find_pluck(take, 2.0)
    assert found.onset_s == pytest.approx(3.3, abs=0.006)
    assert found.end_s == pytest.approx(4.7 - BEFORE_NEXT_S, abs=0.03)
    assert found.others == 1
