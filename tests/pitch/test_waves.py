"""What is believed of a clipped note's waves: lines, sizes and phases that were put there."""

from __future__ import annotations

import numpy as np
import pytest

from analyzer.music import CENTS_PER_NEPER
from analyzer.pitch.envelopes import Envelopes
from analyzer.pitch.partials import Peaks, stretched
from analyzer.pitch.phases import PhaseFit
from analyzer.pitch.true_samples import Frames, Seen
from analyzer.pitch.waves import (
    Waves,
    _decays,
    _steady_lines,
    by_the_law,
    first_waves,
    others_of,
    renewed,
    rough_string,
)

F1_HZ, STIFFNESS, RATE_HZ = 110.0, 2e-4, 8000.0
HEARD = np.array([1.0, 2.0, 3.0, 5.0, 6.0])
TIMES_S = np.linspace(0.1, 1.3, 13)
LEVEL, SLOPE = np.array([-1.0, -1.5, -2.0, -2.2, -3.0]), np.array([-0.5, -0.8, -1.0, -1.5, -2.0])


def peaks_of(numbers=HEARD) -> Peaks:
    ones = np.ones(numbers.size)
    return Peaks(numbers, stretched(numbers, F1_HZ, STIFFNESS), 40 * ones, ones)


def waves_of() -> Waves:
    """Three that are followed, two that are not, and the offset."""
    at = 2 * np.pi * stretched(np.arange(1.0, 6.0), F1_HZ, STIFFNESS)
    rng = np.random.default_rng(4)
    return Waves(
        np.array([1.0, 2, 3, 4, 5, 0]),
        np.r_[at, 0.0],
        at[:3] * 1.001,
        rng.normal(size=(3, 13)),
        0.1 * rng.normal(size=(3, 13)),
        np.r_[LEVEL, -6.0],
        np.r_[SLOPE, 0.0],
        np.zeros(13),
        TIMES_S,
    )


def test_what_is_expected_of_the_waves() -> None:
    """e^(level + slope t), and of those that are followed e^(gain + i (phase + centre t))."""
    waves = waves_of()
    found = waves.expected()
    for wave in range(6):
        for frame, t in enumerate(TIMES_S):
            size = np.exp(waves.level[wave] + waves.slope[wave] * t)
            assert waves.sizes()[wave, frame] == pytest.approx(size)
            if wave < 3:
                gain = np.exp(waves.gains[wave, frame])
                angle = waves.phases[wave, frame] + waves.centres[wave] * t
                assert found[wave, frame] == pytest.approx(size * gain * np.exp(1j * angle))
            else:
                assert found[wave, frame] == size


def test_a_wave_that_is_lost_stands_behind_those_that_are_followed() -> None:
    waves = waves_of()
    kept = waves.without(np.array([False, True, False]))
    assert kept.followed == 2
    assert kept.numbers.tolist() == [1, 3, 2, 4, 5, 0]
    order = [0, 2, 1, 3, 4, 5]
    for name in ("omega", "level", "slope"):
        assert getattr(kept, name).tolist() == getattr(waves, name)[order].tolist()
    for name in ("centres", "phases", "gains"):
        assert getattr(kept, name).tolist() == getattr(waves, name)[[0, 2]].tolist()


def test_amplitudes_are_seen_over_the_lines() -> None:
    waves, at = waves_of(), np.array([2, 7])
    values = (waves.sizes()[:, at] * np.array([[1.0], [2.0], [0.5], [9.0], [9.0], [9.0]])).T
    seen = [Seen(np.eye(3), np.zeros(3), each * np.exp(0.7j), 1e-6) for each in values]
    assert waves.heard_over_sizes(seen, at) == pytest.approx(np.array([[1.0, 2.0, 0.5]] * 2))


def test_the_string_behind_lines_is_theirs() -> None:
    found = rough_string(peaks_of())
    assert found.f1_hz == pytest.approx(F1_HZ, rel=1e-6)
    assert found.stiffness == pytest.approx(STIFFNESS, rel=1e-3)


@pytest.mark.parametrize(("rate_hz", "highest"), [(7000.0, 27), (4000.0, 16), (192_000.0, 30)])
def test_the_others_are_where_the_law_says_as_far_as_the_rate_goes(rate_hz, highest) -> None:
    """Up to the 30th, and to 0.47 of the rate."""
    numbers, at_hz = others_of(peaks_of(), rate_hz)
    expected = np.setdiff1d(np.arange(1.0, 31.0), HEARD)
    expected = expected[stretched(expected, F1_HZ, STIFFNESS) < 0.47 * rate_hz]
    assert numbers.tolist() == expected.tolist()
    assert numbers[-1] == highest
    # A line's frequency is taken to be known to a ten-thousandth.
    assert at_hz == pytest.approx(stretched(expected, F1_HZ, STIFFNESS), rel=1e-4)


def test_decays_are_straight_lines_that_do_not_rise() -> None:
    """By numpy's own least squares; where that rises, the mean."""
    t = np.sort(np.random.default_rng(2).uniform(0.2, 2, 40))
    logs = np.random.default_rng(3).normal(size=(3, 40)) + np.array([[-2.0], [-0.5], [1.0]]) * t
    level, slope = _decays(t, logs)
    for row in range(2):
        fitted = np.polyfit(t, logs[row], 1)
        assert (slope[row], level[row]) == pytest.approx(tuple(fitted))
    assert (slope[2], level[2]) == (0, pytest.approx(np.mean(logs[2])))


def tail_of(offsets, phases) -> Envelopes:
    """Envelopes of partials that lie beside their centres by these shares."""
    centres_hz = peaks_of().rough_hz
    t = np.arange(0.4, 1.4, 0.02)
    sizes = np.exp(LEVEL[:, None] + SLOPE[:, None] * t)
    turned = 2 * np.pi * centres_hz[:, None] * offsets[:, None] * t + phases[:, None]
    return Envelopes(sizes * np.exp(1j * turned), centres_hz, t, 30.0)


OFFSETS = np.array([2e-4, -5e-4, 8e-4, 0.0, -1e-3])
PHASES = np.array([0.3, -2.0, 1.5, 3.0, -0.4])


def test_steady_lines_are_those_of_the_envelopes() -> None:
    """To half a step of the turns that are tried, over half of the second that is seen."""
    tail = tail_of(OFFSETS, PHASES)
    middle, slopes = _steady_lines(tail)
    step = (1.2e-3 * tail.omega[:, 0] + 2 * np.pi * 0.3) / 60
    true = tail.omega[:, 0] * OFFSETS
    assert np.all(np.abs(slopes - true) <= step / 2 + 1e-9)
    expected = PHASES + true * np.mean(tail.times_s)
    assert np.angle(np.exp(1j * (middle - expected))) == pytest.approx(0, abs=1e-6)


def test_first_waves_are_as_the_tail_shows_them() -> None:
    """The phase at a moment is that of the wave itself, counted from the onset."""
    tail, onset_s, times_s = tail_of(OFFSETS, PHASES), 0.25, np.array([0.05, 0.5, 1.0])
    others = (np.array([4.0, 7.0]), np.array([441.0, 775.0]))
    found = first_waves(peaks_of(), others, tail, onset_s, times_s, free=False)
    assert found.numbers.tolist() == [1, 2, 3, 5, 6, 4, 7, 0]
    step = (1.2e-3 * tail.omega[:, 0] + 2 * np.pi * 0.3) / 60
    true = tail.omega[:, 0] * (1 + OFFSETS)
    assert np.all(np.abs(found.omega[:5] - true) <= step / 2 + 1e-6)
    assert found.omega[5:] == pytest.approx(2 * np.pi * np.array([441.0, 775.0, 0.0]))
    angle = found.phases + found.centres[:, None] * times_s
    # An envelope is turned back by its centre since the excerpt's first sample.
    expected = true[:, None] * times_s + PHASES[:, None] + tail.omega * onset_s
    off = np.angle(np.exp(1j * (angle - expected)))
    assert np.all(
        np.abs(off) <= 0.5 * step[:, None] * np.abs(times_s - np.mean(tail.times_s)) + 1e-6
    )
    assert found.level[:5] == pytest.approx(LEVEL, abs=1e-9)
    assert found.slope[:5] == pytest.approx(SLOPE, abs=1e-9)
    # Between two that are heard, and beyond the last as the last.
    assert found.level[5:] == pytest.approx([(LEVEL[2] + LEVEL[3]) / 2, LEVEL[4], np.min(LEVEL)])
    assert found.slope[5:] == pytest.approx([(SLOPE[2] + SLOPE[3]) / 2, SLOPE[4], 0.0])
    assert not np.any(found.gains)
    assert not np.any(found.course)


def test_first_waves_that_are_free_of_clipping_are_as_the_phases_fit() -> None:
    tail, times_s = tail_of(OFFSETS, PHASES), np.array([0.1, 0.5, 1.0])
    found = first_waves(peaks_of(), (np.zeros(0), np.zeros(0)), tail, 0.0, times_s, free=True)
    true = tail.omega[:, 0] * (1 + OFFSETS)
    assert found.omega[:5] == pytest.approx(true, rel=1e-7)
    angle = found.phases + found.centres[:, None] * times_s
    expected = true[:, None] * times_s + PHASES[:, None]
    assert np.angle(np.exp(1j * (angle - expected))) == pytest.approx(np.zeros((5, 3)), abs=2e-3)


def test_the_law_moves_only_what_is_not_followed() -> None:
    waves = waves_of()
    at_hz = stretched(np.arange(1.0, 4.0), 112.0, 3e-4)
    offsets = 2 * np.pi * at_hz / waves.centres - 1
    found = by_the_law(waves, offsets, 1e-12 * np.eye(3), np.ones(3))
    assert found.omega[:3].tolist() == waves.omega[:3].tolist()
    expected = 2 * np.pi * stretched(np.array([4.0, 5.0, 0.0]), 112.0, 3e-4)
    assert found.omega[3:] == pytest.approx(expected, rel=1e-5)


def test_renewed_waves_are_as_the_fit_and_the_frames_have_them() -> None:
    """Sizes by lines through what stands out of the noise; what never does is half its power."""
    waves, frames = waves_of(), 13
    true_share = np.linspace(0.4, 1.0, frames)
    true = np.arange(100) < np.round(100 * true_share)[:, None]
    cut = Frames(np.zeros((frames, 100)), true, TIMES_S, np.zeros(100), 1e-4)
    level, slope = (
        np.array([-1.0, -2.0, -3.0, -4.0, -5.0, -30.0]),
        np.array([-1.0, -2, 0, -0.5, -1, 0]),
    )
    sizes = np.exp(level[:, None] + slope[:, None] * TIMES_S)
    noise = 1e-6
    seen = [Seen(np.eye(3), np.zeros(3), each.astype(complex), noise) for each in sizes.T]
    fit = PhaseFit(
        np.array([1e-4, -2e-4, 0.0]), np.eye(3), TIMES_S,
        np.linspace(8.0, 0.0, frames), 2 * waves.phases, np.ones(1),
    )  # fmt: skip
    found = renewed(waves, fit, seen, np.arange(frames), cut)
    assert found.level[:5] == pytest.approx(level[:5])
    assert found.slope[:5] == pytest.approx(slope[:5], abs=1e-9)
    free = np.round(100 * true_share) / 100 >= 0.7  # the half that is clipped least
    expected = 0.5 * np.log(np.median(4 * noise / (np.round(100 * true_share)[free])))
    assert (found.level[5], found.slope[5]) == (pytest.approx(expected), 0)
    assert found.omega[:3] == pytest.approx(waves.centres * (1 + fit.offsets))
    assert found.omega[3:].tolist() == waves.omega[3:].tolist()
    assert found.phases is fit.phases
    assert found.course * CENTS_PER_NEPER == pytest.approx(np.linspace(8.0, 0.0, frames))
