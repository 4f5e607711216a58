"""Which partials are found, and where: in spectra whose every line was put where it is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from analyzer.pitch.partials import (
    CLEAR_DB,
    HIGHEST_PARTIAL_HZ,
    MOST_PARTIALS,
    Peaks,
    _best_on_grid,
    _median,
    _straight_line,
    find_again,
    find_partials,
    lawful,
    stretched,
)
from analyzer.pitch.spectrum import LineSpectrum

BIN_HZ = 0.4
RATE_HZ = 44_100.0
NUMBERS = np.arange(1.0, MOST_PARTIALS + 1)


def drawn(lines_hz, over_db=60.0, floor_db=-80.0, top_hz=11_000.0, bend_db=2.0) -> LineSpectrum:
    """A floor and lines upon it, each an exact parabola over five bins about its own place."""
    level_db = np.full(round(top_hz / BIN_HZ), floor_db)
    for line_hz, over in zip(lines_hz, np.broadcast_to(over_db, len(lines_hz)), strict=True):
        near = round(line_hz / BIN_HZ) + np.arange(-2, 3)
        off = near - line_hz / BIN_HZ
        level_db[near] = np.maximum(level_db[near], floor_db + over - bend_db * off**2)
    return LineSpectrum(level_db, BIN_HZ)


@pytest.mark.parametrize(
    ("f1_hz", "stiffness"), [(82.41, 1e-4), (110.0, 0.0), (440.0, 6e-4), (329.6, 2e-5)]
)
def test_every_line_is_found_where_it_was_put(f1_hz, stiffness) -> None:
    """A parabola through the three highest bins of a parabola is that parabola."""
    lines_hz = stretched(NUMBERS, f1_hz, stiffness)
    lines_hz = lines_hz[lines_hz < HIGHEST_PARTIAL_HZ]
    found = find_partials(drawn(lines_hz), f1_hz * 2 ** (7 / 1200), RATE_HZ)
    assert found.numbers.tolist() == NUMBERS[: lines_hz.size].tolist()
    assert found.rough_hz == pytest.approx(lines_hz, abs=1e-6)
    # The highest bin lies up to half a bin beside the line, so up to 2 * 0.25 dB below its top.
    assert np.all((found.clear_db > 59.49) & (found.clear_db <= 60.0))


def test_what_is_not_clear_of_its_surroundings_is_left_out() -> None:
    lines_hz = stretched(NUMBERS, 110.0, 1e-4)
    over_db = np.where(NUMBERS % 3 == 0, CLEAR_DB - 0.1, CLEAR_DB + 1.0)
    lines_hz = BIN_HZ * np.round(lines_hz / BIN_HZ)  # right on a bin, so that the top is seen
    found = find_partials(drawn(lines_hz, over_db), 110.0, RATE_HZ)
    assert found.numbers.tolist() == NUMBERS[NUMBERS % 3 != 0].tolist()
    assert found.clear_db == pytest.approx(np.full(found.numbers.size, CLEAR_DB + 1.0))


@pytest.mark.parametrize(
    ("rate_hz", "top_hz"), [(RATE_HZ, 10_000.0), (16_000.0, 7200.0), (8000.0, 3600.0)]
)
def test_no_line_beyond_what_is_heard(rate_hz, top_hz) -> None:
    """10 kHz, or 0.45 of the recording's rate."""
    lines_hz = stretched(NUMBERS, 620.0, 1e-4)
    found = find_partials(drawn(lines_hz[lines_hz < 10_900]), 620.0, rate_hz)
    assert found.numbers.tolist() == NUMBERS[lines_hz < top_hz].tolist()
    assert (
        find_again(drawn(lines_hz[lines_hz < 10_900]), found, rate_hz).numbers.size
        == found.numbers.size
    )


def test_standing_runs_out_toward_the_limits() -> None:
    """In proportion to how far a line is over the least level, below the highest frequency."""
    lines_hz = BIN_HZ * np.round(stretched(NUMBERS[:16], 600.0, 0.0) / BIN_HZ)
    over_db = np.full(16, 60.0)
    over_db[[2, 4, 6]] = CLEAR_DB + np.array([3.0, 6.0, 9.0])
    found = find_partials(drawn(lines_hz, over_db), 600.0, RATE_HZ)
    assert found.numbers.size == 16
    assert found.standing[[2, 4, 6]] == pytest.approx([0.25, 0.5, 0.75])
    assert found.standing[[0, 1, 3, 5, 7]] == pytest.approx(1)
    assert found.standing[15] == pytest.approx((10_000 / 9600 - 1) / 0.1)
    assert found.standing[14] == 1  # 9000 Hz is 11 % below


def test_standing_runs_out_where_a_line_is_off_the_law() -> None:
    """One line displaced: its say falls as it nears the end of the reach, and no other's."""
    lines_hz = stretched(NUMBERS[:12], 200.0, 1e-4)
    says = []
    for off_hz in (0.0, 4.0, 8.0, 12.0, 14.0):
        moved = lines_hz.copy()
        moved[9] += off_hz
        found = find_partials(drawn(moved), 200.0, RATE_HZ)
        assert found.rough_hz[9] == pytest.approx(moved[9], abs=1e-6)
        assert np.delete(found.standing, 9) == pytest.approx(np.ones(11), abs=0.05)
        reach_hz = BIN_HZ * np.ceil((0.8 + lines_hz[9] * 20 / 1731) / BIN_HZ)  # 20 cents, 0.8 Hz
        says.append((found.standing[9], np.clip((1 - off_hz / reach_hz) / 0.7, 0.01, 1)))
    found, expected = np.array(says).T
    assert found == pytest.approx(expected, abs=0.03)


def test_of_two_peaks_in_reach_the_higher_counts() -> None:
    lines_hz = stretched(NUMBERS[:8], 300.0, 0.0)
    extra_hz = np.r_[lines_hz, lines_hz[4] + 6.0]
    found = find_partials(drawn(extra_hz, np.r_[np.full(8, 50.0), 62.0]), 300.0, RATE_HZ)
    assert found.rough_hz[4] == pytest.approx(lines_hz[4] + 6.0, abs=1e-6)
    far = find_partials(drawn(np.r_[lines_hz, lines_hz[4] + 60.0], 50.0), 300.0, RATE_HZ)
    assert far.rough_hz == pytest.approx(lines_hz, abs=1e-6)


@pytest.mark.parametrize(
    ("off_cents", "stiffness"), [(-36.0, 0.0), (-14.0, 1.2e-3), (0.0, 5e-5), (38.0, 3e-4)]
)
def test_the_grid_finds_pitch_and_stiffness_together(off_cents, stiffness) -> None:
    """To its own steps: 2 cents, and a quarter of a stiffness; a line counts half a hertz about."""
    f1_hz = 196.0
    lines = drawn(stretched(NUMBERS[:12], f1_hz, stiffness))
    found_hz, found = _best_on_grid(lines, f1_hz * 2 ** (-off_cents / 1200), 10_000.0)
    assert abs(1200 * np.log2(found_hz / f1_hz)) <= 4
    expected_hz = stretched(NUMBERS[:12], f1_hz, stiffness)
    half_step_hz = stretched(NUMBERS[:12], f1_hz, 1.12 * stiffness + 3e-6) - expected_hz
    off_hz = np.abs(stretched(NUMBERS[:12], found_hz, found) - expected_hz)
    assert np.all(off_hz <= half_step_hz + expected_hz * 2 / 1731 + 0.5)  # 2 cents, and half a Hz


def test_the_grid_scores_no_line_beyond_the_top() -> None:
    """Strong lines there would draw the law to them."""
    f1_hz = 400.0
    below, above = stretched(NUMBERS[:5], f1_hz, 0.0), stretched(NUMBERS[5:12], f1_hz, 8e-4)
    found_hz, found = _best_on_grid(drawn(np.r_[below, above]), f1_hz, 2300.0)
    assert np.abs(stretched(NUMBERS[:5], found_hz, found) - below) == pytest.approx(0, abs=1.6)


def test_found_again_they_are_the_same_in_the_same_spectrum() -> None:
    lines_hz = stretched(NUMBERS, 146.8, 2e-4)
    lines = drawn(lines_hz)
    first = find_partials(lines, 147.0, RATE_HZ)
    again = find_again(lines, first, RATE_HZ)
    assert again.rough_hz == pytest.approx(lines_hz, abs=1e-6)
    few = first.only(NUMBERS == 2)
    assert find_again(lines, few, RATE_HZ).rough_hz == pytest.approx(lines_hz, abs=1e-6)


def test_only_and_pace() -> None:
    peaks = Peaks(
        NUMBERS[:3], np.array([100.0, 200.0, 300.0]), np.full(3, 40.0), np.array([1, 0.5, 0.2])
    )
    kept = peaks.only(np.array([True, False, True]))
    assert kept.numbers.tolist() == [1, 3]
    assert kept.rough_hz.tolist() == [100, 300]
    assert kept.clear_db.tolist() == [40, 40]
    assert kept.standing.tolist() == [1, 0.2]
    assert peaks.at_pace(1.25).rough_hz.tolist() == [80, 160, 240]


def exact(numbers, f1_hz=98.0, stiffness=3e-4) -> Peaks:
    shape = np.ones(len(numbers))
    return Peaks(
        np.array(numbers), stretched(np.array(numbers), f1_hz, stiffness), 50 * shape, shape
    )


def test_a_straight_line_through_lawful_partials_is_their_law() -> None:
    assert _straight_line(exact(NUMBERS)) == pytest.approx((98.0, 3e-4), rel=1e-9)
    assert _straight_line(exact([2.0, 5.0, 9.0])) == pytest.approx((98.0, 3e-4), rel=1e-9)


def test_a_straight_line_heeds_neither_strays_nor_the_weak() -> None:
    peaks = exact(NUMBERS)
    off_hz = peaks.rough_hz.copy()
    off_hz[[3, 11]] *= 1.004
    assert _straight_line(replace(peaks, rough_hz=off_hz)) == pytest.approx((98.0, 3e-4), rel=2e-3)
    off_hz[4:] *= 1.004  # most of them, with no say
    standing = np.where(NUMBERS <= 4, 1.0, 1e-6)
    off_hz[3] = peaks.rough_hz[3]
    weak = replace(peaks, rough_hz=off_hz, standing=standing)
    assert _straight_line(weak) == pytest.approx((98.0, 3e-4), rel=1e-3)


def test_a_string_has_no_stiffness_below_none() -> None:
    assert _straight_line(exact(NUMBERS, stiffness=-1e-5)) == (pytest.approx(98.0, rel=2e-3), 0.0)


@pytest.mark.parametrize("seed", range(5))
def test_of_slopes_the_middle_one_counts(seed) -> None:
    """Theil and Sen, where each pair has the say of its distance; worked out for three by hand."""
    rng = np.random.default_rng(seed)
    numbers = np.array([3.0, 4.0, 5.0])  # distances 7, 9 and 16 in the square
    rough_hz = stretched(numbers, 98.0, 3e-4) * (1 + 1e-4 * rng.normal(size=3))
    x, y = numbers**2, (rough_hz / numbers) ** 2
    slopes = sorted(
        [((y[j] - y[i]) / (x[j] - x[i]), x[j] - x[i]) for i, j in ((0, 1), (0, 2), (1, 2))]
    )
    middle = np.cumsum([each for _, each in slopes]) - 0.5 * np.array([each for _, each in slopes])
    slope = max(float(np.interp(16.0, middle, [each for each, _ in slopes])), 0.0)
    f0_squared = float(np.median(y - slope * x))
    peaks = Peaks(numbers, rough_hz, np.full(3, 50.0), np.ones(3))
    assert _straight_line(peaks)[1] == pytest.approx(slope / f0_squared, rel=1e-9, abs=1e-15)


def test_a_median_of_equal_weights_is_the_usual_one() -> None:
    values = np.random.default_rng(1).normal(size=9)
    for count in (1, 2, 5, 8, 9):
        assert _median(values[:count], np.ones(count)) == pytest.approx(np.median(values[:count]))
        assert _median(values[:count], np.full(count, 3.0)) == pytest.approx(
            np.median(values[:count])
        )


def test_a_median_goes_by_weight() -> None:
    """Half of the weight lies on either side; between two values it is shared."""
    values, weights = np.array([5.0, 1.0, 3.0]), np.array([0.1, 0.1, 9.8])
    assert _median(values, weights) == pytest.approx(3.0, abs=0.05)
    assert _median(np.array([0.0, 1.0]), np.array([1.0, 3.0])) == pytest.approx(0.75)


def test_a_clipped_notes_upper_lines_are_moved_to_the_law_of_the_lower() -> None:
    peaks = exact(NUMBERS)
    off_hz = np.where(NUMBERS > 10, peaks.rough_hz * 1.01, peaks.rough_hz)
    mended = lawful(replace(peaks, rough_hz=off_hz))
    assert mended.rough_hz == pytest.approx(peaks.rough_hz, rel=1e-9)
    assert mended.standing is peaks.standing
    few = replace(exact([8.0, 10.0, 11.0, 12.0]), rough_hz=np.array([1.0, 2.0, 3.0, 4.0]))
    assert lawful(few) is few
