"""The true samples of a clipped note: waves by their equation, least squares by numpy's own."""

from __future__ import annotations

import numpy as np
import pytest

from analyzer.pitch.true_samples import (
    are_true,
    in_frames,
    normal_equations,
    sum_of_waves,
    what_is_seen,
)

RATE_HZ = 44_100.0
OMEGA = (
    2 * np.pi * np.array([220.0, 441.0, 663.0, 890.0])
)  # four waves, of which three are followed
FALLS = np.array([1.0, 2.0, 3.5, 5.0])
SIZES = np.array([0.6 + 0.2j, -0.3 + 0.1j, 0.05 - 0.2j, 0.1j])
FOLLOWED = 3


def wave(s, omega=OMEGA, falls=FALLS, course=0.0, slope=0.0, sizes=SIZES):
    """Equation (1) of the module, term by term."""
    turned = s[:, None] * (1 + course) + 0.5 * slope * s[:, None] ** 2
    return np.sum((sizes * np.exp(1j * omega * turned - falls * s[:, None])).real, axis=1)


def test_true_is_what_lies_within_the_tops_on_either_side() -> None:
    samples = np.array([0.5, 1.0, 0.979, 0.981, 0.0, -0.39, -0.391, -0.393, -0.4, -0.1])
    found = are_true(samples)
    assert found.tolist() == [True, False, True, False, True, True, True, False, False, True]


def test_frames_hold_means_of_blocks_at_their_middles() -> None:
    """Three samples to a period of 1225 Hz: blocks of 12; of 40 ms as three periods are less."""
    samples = np.random.default_rng(1).normal(size=20_000)
    frames = in_frames(samples, RATE_HZ, 0.05, 100.0, 1225.0)
    block, first = 12, round(0.065 * RATE_HZ)
    size = round(0.04 * RATE_HZ / block)
    count = (20_000 - first) // (size * block)
    assert frames.samples.shape == frames.true.shape == (count, size)
    assert frames.block_s == pytest.approx(block / RATE_HZ)
    for frame in (0, 3, count - 1):
        for place in (0, 5, size - 1):
            begin = first + (frame * size + place) * block
            assert frames.samples[frame, place] == pytest.approx(
                np.mean(samples[begin : begin + block])
            )
            at_s = (begin + (block - 1) / 2) / RATE_HZ - 0.05
            assert frames.times_s[frame] + frames.from_middle_s[place] == pytest.approx(at_s)
    assert np.mean(frames.from_middle_s) == pytest.approx(0, abs=1e-12)


@pytest.mark.parametrize(("spacing_hz", "frame_s"), [(30.0, 0.1), (75.0, 0.04), (60.0, 0.05)])
def test_a_frame_is_three_periods_and_at_least_40_ms(spacing_hz, frame_s) -> None:
    frames = in_frames(np.ones(40_000), RATE_HZ, 0.0, spacing_hz, 20_000.0)
    assert frames.block_s == pytest.approx(1 / RATE_HZ)
    assert frames.samples.shape[1] == round(frame_s * RATE_HZ)


def test_a_block_is_true_where_all_its_samples_are() -> None:
    samples = 0.1 * np.ones(8000)
    clipped = 662 + 36 + 5  # the first frame begins 0.015 s after the onset
    samples[[clipped, 7000]] = 1.0, -1.0
    frames = in_frames(samples, RATE_HZ, 0.0, 100.0, 1225.0)
    assert frames.true[0].tolist() == [place != 3 for place in range(frames.true.shape[1])]
    size = frames.true.shape[1]
    assert frames.true_share[:2] == pytest.approx([1 - 1 / size, 1.0])


@pytest.mark.parametrize(("course", "slope"), [(0.0, 0.0), (0.004, 0.0), (-0.002, 0.05)])
def test_waves_are_those_of_the_equation(course, slope) -> None:
    """Drawn from one sinusoid over runs of 32 samples, within which the slope turns it a little."""
    s = (np.arange(1000) - 499.5) / RATE_HZ
    found = sum_of_waves(s, OMEGA, FALLS, course, slope, SIZES)
    # Within a run: w s' slope s, with s' up to 16 samples from its middle.
    bound = np.max(OMEGA) * 16 / RATE_HZ * abs(slope) * np.max(np.abs(s)) * np.sum(np.abs(SIZES))
    assert found == pytest.approx(wave(s, course=course, slope=slope), abs=1e-9 + bound)


def framed(samples):
    return in_frames(samples, RATE_HZ, 0.0, 100.0, 5000.0)


def clipped_note(noise=0.0, sizes=SIZES, omega=OMEGA, falls=FALLS, top=0.55):
    t = np.arange(8000) / RATE_HZ
    true = wave(t, omega=omega, falls=falls, sizes=sizes)
    return np.clip(true + noise * np.random.default_rng(2).normal(size=t.size), -top, top)


def there(frames, number, sizes=SIZES, omega=OMEGA, falls=FALLS):
    """The amplitudes at a frame's middle: turned and fallen by then."""
    return sizes * np.exp((1j * omega - falls) * frames.times_s[number])


@pytest.mark.parametrize("number", [0, 2])
def test_least_squares_give_the_amplitudes_back(number) -> None:
    """From the true samples alone, though the tops are flat; a mean over a block is a sinc of it.

    A decay within a block of two samples is left out: it is 2e-4 of an amplitude at most.
    """
    frames = framed(clipped_note())
    assert 0.3 < frames.true_share[number] < 1
    normal = normal_equations(frames, number, OMEGA, FALLS, 0.0, 0.0)
    found = np.linalg.solve(normal.matrix, normal.values)
    assert found[:4] + 1j * found[4:] == pytest.approx(there(frames, number), abs=3e-4)
    assert normal.count == np.sum(frames.true[number])
    assert normal.energy == pytest.approx(np.sum(frames.samples[number][frames.true[number]] ** 2))
    assert normal.matrix == pytest.approx(normal.matrix.T)
    assert normal.omega.tolist() == OMEGA.tolist()


def test_a_sharper_course_is_one_of_higher_frequencies() -> None:
    frames = framed(clipped_note(omega=OMEGA * 1.003))
    sharp = normal_equations(frames, 1, OMEGA, FALLS, 0.003, 0.0)
    found = np.linalg.solve(sharp.matrix, sharp.values)
    expected = there(frames, 1, omega=OMEGA * 1.003)
    assert found[:4] + 1j * found[4:] == pytest.approx(expected, abs=5e-4)
    assert sharp.omega == pytest.approx(1.003 * OMEGA)


def test_too_few_samples_say_nothing() -> None:
    """Less than 1.3 for each of two unknowns a wave: here 10.4."""
    frames = framed(clipped_note())
    for kept, enough in ((11, True), (10, False)):
        frames.true[0] = np.arange(frames.true.shape[1]) < kept
        assert (normal_equations(frames, 0, OMEGA, FALLS, 0.0, 0.0) is not None) == enough


def posterior(normal, expected, noise):
    """Information and score of the phases by numpy's inverse: all unknowns, the rest taken out.

    Unknown are the turns of the followed, their relative amplitudes (0.3), and both parts of the
    others (1.5 of their size); of the turns nothing is known beforehand.
    """
    own, other = expected[:FOLLOWED], np.abs(expected[FOLLOWED:])
    blocks = np.zeros((2, expected.size, 2 * expected.size))
    for k, each in enumerate(own):
        blocks[:, k, k] = -each.imag, each.real
        blocks[:, k, FOLLOWED + k] = each.real, each.imag
    for k, each in enumerate(other):
        blocks[0, FOLLOWED + k, 2 * FOLLOWED + k] = each
        blocks[1, FOLLOWED + k, 2 * FOLLOWED + other.size + k] = each
    turned = blocks.reshape(2 * expected.size, -1)
    drawn = np.r_[own, np.zeros(other.size)]
    known = np.r_[np.zeros(FOLLOWED), np.full(FOLLOWED, 0.3**-2), np.full(2 * other.size, 1.5**-2)]
    precision = turned.T @ normal.matrix @ turned / noise + np.diag(known)
    values = turned.T @ (normal.values - normal.matrix @ np.r_[drawn.real, drawn.imag]) / noise
    covariance = np.linalg.inv(precision)
    information = np.linalg.inv(covariance[:FOLLOWED, :FOLLOWED])
    return information, information @ (covariance @ values)[:FOLLOWED]


@pytest.mark.parametrize("turn", [0.0, 0.03])
def test_what_is_seen_is_what_least_squares_say_of_the_phases(turn) -> None:
    noise = 0.01
    frames = framed(clipped_note(noise))
    normal = normal_equations(frames, 1, OMEGA, FALLS, 0.0, 0.0)
    expected = there(frames, 1) * np.exp(-1j * turn * np.arange(1, 5))
    seen = what_is_seen(normal, expected, FOLLOWED)
    information, score = posterior(normal, expected, seen.noise)
    assert seen.information == pytest.approx(information, rel=1e-6)
    assert seen.score == pytest.approx(score, rel=1e-6, abs=1e-6 * np.max(np.abs(score)))
    # The variance of means of two samples, from some 100 of them less eight unknowns: within 40 %.
    assert seen.noise == pytest.approx(noise**2 * (1 / RATE_HZ) / frames.block_s, rel=0.4)


def test_turns_and_amplitudes_are_found() -> None:
    """Expected a little early and a fifth too large, they are seen where they are."""
    frames = framed(clipped_note())
    normal = normal_equations(frames, 1, OMEGA, FALLS, 0.0, 0.0)
    true = there(frames, 1)
    turns = np.array([0.04, -0.02, 0.03])
    expected = true * np.r_[np.exp(-1j * turns) * 1.2, 1.0]
    seen = what_is_seen(normal, expected, FOLLOWED)
    assert seen.amplitudes == pytest.approx(true, abs=2e-3)
    # Linear in small turns, whose products with the fifth are left out.
    assert np.linalg.solve(seen.information, seen.score) == pytest.approx(turns / 1.2, abs=3e-3)


def test_amplitudes_lean_on_expected_phases_that_are_to_be_trusted() -> None:
    """With nothing seen but noise they stay at what is expected, the others at nothing."""
    frames = framed(clipped_note())
    normal = normal_equations(frames, 1, OMEGA, FALLS, 0.0, 0.0)
    expected = there(frames, 1) * np.exp(0.5j)
    trusted = what_is_seen(normal, expected, FOLLOWED, 1e-6)
    assert np.angle(trusted.amplitudes[:FOLLOWED] / expected[:FOLLOWED]) == pytest.approx(
        0, abs=0.01
    )
    free = what_is_seen(normal, expected, FOLLOWED, 3.0)
    assert np.abs(np.angle(free.amplitudes[:FOLLOWED] / expected[:FOLLOWED])) == pytest.approx(
        0.5, abs=0.1
    )
