"""Second lines beside the partials, stage by stage: closed forms, derivatives, dense least squares.

The made envelopes are equation (1) of the module written out, so that their truth is known.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from second_lines_made import CENT, OMEGA, RATIOS, TIMES_S, envelopes, noise_of, two_lines

from analyzer.pitch import second_lines
from analyzer.pitch.wander import wander_over


def test_noise_is_that_of_independent_samples() -> None:
    """Third differences hold 1 + 9 + 9 + 1 = 20 times the variance, of two parts 40 times."""
    rng = np.random.default_rng(4)
    noise = 0.3 * (rng.normal(size=(2, 300_000)) + 1j * rng.normal(size=(2, 300_000)))
    parabola = 1 + 1e-9 * np.arange(300_000.0) ** 2
    assert second_lines._noise(noise + parabola) == pytest.approx(0.09, rel=0.012)
    # A line by itself leaves nothing but 80 dB below its top, the least that is believed.
    assert second_lines._noise(3.0 * np.ones((1, 9), complex)) == pytest.approx(9e-8)


def test_weights_are_powers_over_noise_while_a_partial_is_heard() -> None:
    """In either part; below ten times the noise it is lost, and does not come back."""
    values = np.sqrt([[200.0, 30.0, 21.0, 19.0, 200.0]]).astype(complex)
    say = np.array([[1.0, 1.0, 0.5, 1.0, 1.0]])
    found = second_lines._weights(values, np.array([2.0]), say)
    assert found[0] == pytest.approx([100.0, 15.0, 5.25, 0.0, 0.0], abs=1e-8)


def test_level_is_what_a_weighted_line_leaves() -> None:
    """Against numpy's polyfit, part by part, for one table and for several at once."""
    rng = np.random.default_rng(5)
    weights = rng.uniform(0.1, 2.0, (3, 20))
    values = rng.normal(size=(2, 3, 20)) + 1j * rng.normal(size=(2, 3, 20))
    t = np.linspace(0.2, 1.9, 20)
    found = second_lines._level(values, weights, t)
    for table in range(2):
        for k in range(3):
            v, w = values[table, k], np.sqrt(weights[k])
            parts = [p - np.polyval(np.polyfit(t, p, 1, w=w), t) for p in (v.real, v.imag)]
            assert found[table, k] == pytest.approx(parts[0] + 1j * parts[1], abs=1e-12)


def test_square_of_what_is_left_is_over_noise() -> None:
    """2 |x|^2 summed over what polyfit leaves of a parabola, of complex numbers."""
    t, k = np.arange(30.0), np.array([[1.0], [2.0]])
    logs = k * 0.01 * (t**2 + 0.5j * t**2)
    left = second_lines._Left(logs, logs, logs, logs, k[:, 0], np.full((2, 30), 2.0))
    bend = t**2 - np.polyval(np.polyfit(t, t**2, 1), t)
    expected = 2.0 * np.sum(bend**2) * 1e-4 * 1.25 * np.array([1.0, 4.0])
    assert second_lines._square(left) == pytest.approx(expected)


def test_what_is_left_of_two_lines_is_one_and_its_derivatives() -> None:
    """The log without the second line is straight; slopes are those of log(1 + r h)."""
    second = second_lines._Second(0.5 * CENT, 0.25, RATIOS)
    left = second_lines._left(two_lines(0.5 * CENT, 0.25), envelopes(None), second, np.ones((8, 1)))
    expected = -0.7 * TIMES_S - np.log(np.arange(1, 9))[:, None]
    assert left.logs.real == pytest.approx(expected, abs=1e-12)
    assert left.logs.imag == pytest.approx(np.zeros((8, 100)), abs=1e-12)

    def log(b=0.5 * CENT, c=0.25, r=RATIOS) -> np.ndarray:
        return np.log(1 + r * np.exp((1j * OMEGA * b - c) * TIMES_S))

    by_b, by_c, by_r = 1e-9, 1e-6, 1e-6
    slopes = [(log(b=0.5 * CENT + by_b) - log(b=0.5 * CENT - by_b)) / (2 * by_b)]
    slopes += [(log(c=0.25 + by_c) - log(c=0.25 - by_c)) / (2 * by_c)]
    own = (log(r=RATIOS + by_r) - log(r=RATIOS - by_r)) / (2 * by_r)
    assert left.own == pytest.approx(own, rel=1e-6)
    assert left.shared[0] == pytest.approx(slopes[0], rel=1e-5, abs=1e-2)
    assert left.shared[1] == pytest.approx(slopes[1], rel=1e-5, abs=1e-7)


@pytest.mark.parametrize("cents", [0.6, -0.6, -0.9, 1.7, 3.1])
def test_start_is_the_detuning_on_its_grid(cents) -> None:
    """28 steps from 0.15 to 8 cents either way, 16 % apart."""
    blocks = envelopes(two_lines(cents * CENT, ratios=0.5 * RATIOS) + noise_of(1, 1e-4))
    none = second_lines._Second(0.0, 0.2, np.zeros((8, 1), complex))
    alone = second_lines._left(blocks.values, blocks, none, np.ones((8, 1)))
    assert second_lines._start(alone, blocks) == pytest.approx(cents * CENT, rel=0.16)


@pytest.mark.parametrize("cents", [0.6, -0.6])
def test_no_start_that_turns_too_far_from_sample_to_sample(cents) -> None:
    """At 5.3 kHz 1.5 cents turn by a radian a sample; what turns by a whole one looks the same."""
    turning = two_lines(8 * cents * CENT, ratios=0.5 * RATIOS) + noise_of(1, 1e-4)
    blocks = replace(envelopes(turning), centres_hz=8 * OMEGA[:, 0] / (2 * np.pi))
    none = second_lines._Second(0.0, 0.2, np.zeros((8, 1), complex))
    alone = second_lines._left(turning, blocks, none, np.ones((8, 1)))
    assert second_lines._start(alone, blocks) == pytest.approx(cents * CENT, rel=0.16)


def test_no_start_where_every_partial_bends_by_itself() -> None:
    rng = np.random.default_rng(6)
    rates, starts = rng.uniform(0.5, 6.0, (8, 1)), rng.uniform(0, 6.3, (8, 1))
    bent = np.exp(0.3j * np.sin(rates * TIMES_S + starts) - 0.7 * TIMES_S)
    blocks = envelopes(bent + noise_of(2, 1e-4))
    none = second_lines._Second(0.0, 0.2, np.zeros((8, 1), complex))
    alone = second_lines._left(blocks.values, blocks, none, np.ones((8, 1)))
    assert second_lines._start(alone, blocks) is None


@pytest.mark.parametrize("damping", [0.05, 0.4])
def test_steps_reach_detuning_damping_and_ratios(damping) -> None:
    blocks = envelopes(two_lines(-0.6 * CENT, damping) + noise_of(3, 1e-5))
    second = second_lines._Second(-0.5 * CENT, 0.2, np.zeros((8, 1), complex))
    for _ in range(20):
        left = second_lines._left(blocks.values, blocks, second, np.ones((8, 1)))
        second = second_lines._step(left, blocks, second)
    assert second.detuning == pytest.approx(-0.6 * CENT, rel=2e-3)
    assert second.damping == pytest.approx(damping, abs=2e-3)
    assert second.ratios == pytest.approx(RATIOS, abs=4e-3)


def test_a_step_is_that_of_the_dense_least_squares() -> None:
    """In noise so loud that the priors have their say: r, b about the last, c about 0.2."""
    blocks = envelopes(two_lines(0.6 * CENT, 0.3, 0.3 * RATIOS) + noise_of(3, 0.02))
    second = second_lines._Second(0.55 * CENT, 0.4, 0.25 * RATIOS)
    left = second_lines._left(blocks.values, blocks, second, np.full((8, 1), 0.3))
    after = second_lines._step(left, blocks, second)
    rows, wanted = [], []
    for k in range(8):  # a complex line and r, as pairs of reals, then b and c
        complex_ = np.zeros((100, 8 * 6 + 2), complex)
        for place, column in enumerate((np.ones(100), TIMES_S, left.own[k])):
            complex_[:, 6 * k + 2 * place] = column
            complex_[:, 6 * k + 2 * place + 1] = 1j * column
        complex_[:, -2:] = left.shared[:, k].T
        root = np.sqrt(left.weights[k])
        for part in (np.real, np.imag):
            rows.append(part(complex_) * root[:, None])
            wanted.append(part(left.logs[k]) * root)
        held = np.zeros((2, 50))
        held[[0, 1], [6 * k + 4, 6 * k + 5]] = 1 / 0.3
        rows.append(held)
        ratio = second.ratios[k, 0]
        wanted.append([-ratio.real / 0.3, -ratio.imag / 0.3])
    last = np.zeros((2, 50))
    last[[0, 1], [48, 49]] = 1 / (0.3 * CENT), 1 / 0.3
    unknowns = np.concatenate([*rows, last])
    explained = np.concatenate([*wanted, [0.0, (0.2 - 0.4) / 0.3]])
    scale = np.linalg.norm(unknowns, axis=0)
    found = np.linalg.lstsq(unknowns / scale, explained, rcond=None)[0] / scale
    assert after.detuning - second.detuning == pytest.approx(found[48], rel=1e-6)
    assert after.damping - second.damping == pytest.approx(found[49], rel=1e-6)
    ratios = found[4:48:6] + 1j * found[5:48:6]
    assert (after.ratios - second.ratios)[:, 0] == pytest.approx(ratios, rel=1e-5)


def test_a_step_is_never_too_long() -> None:
    """At most 0.3 of the detuning and 0.3 of damping; a second line is the weaker one."""
    blocks = envelopes(two_lines(1.6 * CENT, 3.0, 2.0 * RATIOS) + noise_of(3, 1e-5))
    second = second_lines._Second(0.2 * CENT, 0.2, 0.5 * RATIOS)
    for _ in range(4):
        left = second_lines._left(blocks.values, blocks, second, np.ones((8, 1)))
        after = second_lines._step(left, blocks, second)
        assert abs(after.detuning / second.detuning - 1) <= 0.3 + 1e-9
        assert abs(after.damping - second.damping) <= 0.3 + 1e-9
        assert np.max(np.abs(after.ratios)) <= 0.7 + 1e-9
        second = after


def dense(left, second, phases, rows):
    """The weighted equations of all partials as one table: unknowns, then columns to explain.

    Six unknowns a partial (the amplitude's line, both parts of r, constant and slope of the
    phase), b and c; normal priors as rows of their own. Amplitudes are real parts, phases
    imaginary ones, of the logarithms.
    """
    count = len(left.logs)
    table = []
    for k in range(count):
        roots = np.sqrt(left.weights[k])
        for part, real in ((np.real, True), (np.imag, False)):
            own = np.zeros((TIMES_S.size, 6 * count + 2), complex)
            unit = 1.0 if real else 1j * OMEGA[k]  # what is read off the real or imaginary part
            own[:, 6 * k + (0 if real else 4)] = unit
            own[:, 6 * k + (1 if real else 5)] = unit * TIMES_S
            own[:, 6 * k + 2], own[:, 6 * k + 3] = left.own[k], 1j * left.own[k]
            own[:, -2:] = left.shared[:, k].T
            explained = np.zeros((TIMES_S.size, len(rows) + 1), complex)
            explained[:, :-1] = 0 if real else 1j * OMEGA[k] * rows.T
            explained[:, -1] = left.logs[k] + 1j * phases[k]
            table.append(part(np.concatenate([own, explained], axis=1)) * roots[:, None])
        held = np.zeros((3, table[0].shape[1]))
        held[[0, 1, 2], [6 * k + 2, 6 * k + 3, 6 * k + 5]] = 1 / 0.3, 1 / 0.3, 1 / 2.0
        held[:2, -1] = -second.ratios[k, 0].real / 0.3, -second.ratios[k, 0].imag / 0.3
        table.append(held)
    last = np.zeros((2, table[0].shape[1]))
    last[[0, 1], [6 * count, 6 * count + 1]] = 1 / (0.3 * CENT), 1 / 0.3
    whole = np.concatenate([*table, last])
    return whole[:, : 6 * count + 2], whole[:, 6 * count + 2 :]


def test_what_all_share_is_the_dense_least_squares_of_it() -> None:
    """Slopes, their covariance and what is left, against numpy's own solver."""
    second = second_lines._Second(0.58 * CENT, 0.3, 0.9 * RATIOS)
    blocks = envelopes(two_lines(0.6 * CENT) + noise_of(7, 1e-3))
    say = np.array([[1.0]] * 7 + [[0.0]])  # of the last nothing is known but the priors
    left = second_lines._left(blocks.values, blocks, second, say)
    phases = 0.01 * OMEGA * TIMES_S / OMEGA[-1]
    wander = wander_over(TIMES_S)
    triangles = second_lines._triangles(left, blocks, second, phases, wander.integrals)
    terms, covariance = second_lines._terms(triangles, wander)

    unknowns, columns = dense(left, second, phases, wander.integrals)
    scale = np.linalg.norm(unknowns, axis=0)
    found = np.linalg.lstsq(unknowns / scale, columns, rcond=None)[0] / scale[:, None]
    slopes, constants = found[5:48:6], found[4:48:6]
    assert terms.slope == pytest.approx(slopes[:, -1], rel=1e-6)
    assert terms.mean == pytest.approx(constants[:, -1], rel=1e-5, abs=1e-9)
    assert terms.row_slope == pytest.approx(slopes[:, :-1], rel=1e-6, abs=1e-9)
    assert terms.row_mean == pytest.approx(constants[:, :-1], rel=1e-5, abs=1e-9)
    assert terms.hats == len(wander.integrals)
    rest = columns - unknowns @ found
    assert terms.root.T @ terms.root == pytest.approx(rest.T @ rest, rel=1e-5, abs=1e-6)
    inverse = np.linalg.inv((unknowns / scale).T @ (unknowns / scale)) / np.outer(scale, scale)
    assert covariance == pytest.approx(inverse[5:48:6, 5:48:6], rel=1e-5)
    alone = np.delete(unknowns, [48, 49], axis=1)[:, :6]  # of one partial, b and c known
    own = np.linalg.inv(alone.T @ alone)[5, 5]
    assert 1 / terms.spread[0] == pytest.approx(own, rel=1e-6)


def test_suspicion_is_of_most_partials() -> None:
    """Bent by 0.3 rad in noise of 0.005 rad: its square is thousands of times the noise's."""
    bent = np.exp(-0.7 * TIMES_S + 0.3j * np.sin(2 * TIMES_S)) * np.ones((8, 1))
    blocks = envelopes(bent + noise_of(1, 1e-3))
    assert second_lines._suspect(blocks, np.ones((8, 1)))
    assert second_lines._suspect(blocks, np.full((8, 1), 0.01))  # whatever all have to say
    straight = envelopes(np.exp(-0.7 * TIMES_S) + noise_of(1, 1e-3))
    assert not second_lines._suspect(straight, np.ones((8, 1)))
    few = blocks.values.copy()
    few[3:] = straight.values[3:]
    assert not second_lines._suspect(replace(blocks, values=few), np.ones((8, 1)))
