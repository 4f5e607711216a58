"""The pitch over time as measured: against made notes whose pitch runs as is known."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from pluck_model import PluckModel

from analyzer.pitch.note import cut_note
from analyzer.pitch.phases import PhaseFit, Rest
from analyzer.pitch.settle import SettledPitch, settle
from analyzer.pitch.track import MOST_POINTS, _beside, measured_track, settled_from_s
from analyzer.plucks import find_pluck
from analyzer.recording.reading import open_recording

GLIDE_CENTS, GLIDE_TIME_S = 8.0, 0.25
CENTRES_HZ = np.array([110.0, 220.0, 330.0])
BLOCKS_S = 0.05 + 0.03 * np.arange(60)


def pitch_of(path: Path) -> SettledPitch:
    recording = open_recording(path)
    return settle(cut_note(recording, find_pluck(recording)))


@pytest.mark.parametrize("glide_cents", [GLIDE_CENTS, -GLIDE_CENTS / 2])
def test_track_is_the_glide_that_the_note_was_made_with(write_pluck, glide_cents) -> None:
    """The model's own law: glide_cents e^(-t / glide_time_s); no figure of the program."""
    model = PluckModel(196.0, 5e-5, glide_cents, GLIDE_TIME_S)
    track = pitch_of(write_pluck("s3_open_1.wav", model)).track
    assert track is not None
    assert 60 <= len(track.times_s) == len(track.cents) <= MOST_POINTS
    for at_s, cents in zip(track.times_s, track.cents, strict=True):
        if cents is not None and at_s < 2.0:
            made = glide_cents * math.exp(-at_s / GLIDE_TIME_S)
            assert cents == pytest.approx(made, abs=0.25), at_s
    seen = [each for each in track.cents if each is not None]
    assert (seen[0] - seen[-1]) * glide_cents > 0  # a note that starts sharp goes down


def turned_by(beside_cents, *, power=1e6):
    """A fit that is flat, and what it leaves where the pitch runs ``beside_cents`` above it."""
    relative = np.asarray(beside_cents) * math.log(2) / 1200
    ahead = np.concatenate([[0.0], np.cumsum(0.03 * relative[1:])])
    phases = 2 * np.pi * CENTRES_HZ[:, None] * ahead
    rest = Rest(np.sqrt(power) * np.exp(1j * phases), np.ones(3), BLOCKS_S)
    flat = np.zeros(BLOCKS_S.size)
    fit = PhaseFit(np.zeros(3), 1e-12 * np.eye(3), BLOCKS_S, flat, phases * 0, np.ones(1))
    return fit, rest


def test_what_the_fit_does_not_follow_is_seen_with_its_sign_and_size() -> None:
    """All partials run so many cents above the fit, which knows nothing of it."""
    beside = np.where(BLOCKS_S > 1.0, 3.0, 0.0)
    fit, rest = turned_by(beside)
    track = measured_track(fit, rest, CENTRES_HZ, 1.0)
    seen = np.array(track.cents, dtype=float)
    at_s = np.array(track.times_s)
    assert seen[at_s < 0.95] == pytest.approx(0.0, abs=0.01)
    assert seen[at_s > 1.05] == pytest.approx(3.0, abs=0.01)
    assert list(track.times_s) == pytest.approx(0.5 * (BLOCKS_S[1:] + BLOCKS_S[:-1]), abs=1e-4)


def test_variance_of_a_step_of_phase_is_twice_that_of_a_block() -> None:
    """Noise over power, in radians; a radian in 0.03 s is 1731.2 / (2 pi f 0.03) cents."""
    fit, rest = turned_by(np.zeros(60), power=400.0)
    _, _, variances = _beside(fit, rest, CENTRES_HZ)
    a_radian = 1200 / math.log(2) / (2 * math.pi * CENTRES_HZ * 0.03)
    assert variances == pytest.approx(np.tile((2 / 400 * a_radian**2)[:, None], (1, 59)))


def test_track_is_on_the_recorders_clock() -> None:
    """Two seconds of the note's clock to one of the recorder's; cents are cents on any clock."""
    fit, rest = turned_by(np.full(60, -2.0))
    track = measured_track(fit, rest, CENTRES_HZ, 2.0)
    assert track.times_s[-1] == pytest.approx((BLOCKS_S[-1] - 0.015) / 2, abs=1e-3)
    assert track.cents[30] == pytest.approx(-2.0, abs=0.01)


def test_the_partial_that_the_fit_knows_best_leads() -> None:
    fit, rest = turned_by(np.full(60, 5.0))
    rest.values[0] = np.abs(rest.values[0])  # the first partial stands still: 0 cents
    fit.covariance[0, 0] = 1e-9  # but is a thousand times less sure than the others
    track = measured_track(fit, rest, CENTRES_HZ, 1.0)
    assert track.cents[20] == pytest.approx(5.0, abs=0.01)


def test_where_nothing_stands_out_of_the_noise_there_is_a_gap() -> None:
    fit, rest = turned_by(np.zeros(60))
    rest.values[:, 30:] *= 1e-3  # as strong as the noise
    track = measured_track(fit, rest, CENTRES_HZ, 1.0)
    assert None not in track.cents[:29]
    assert set(track.cents[30:]) == {None}


def test_a_long_note_is_drawn_with_as_many_points_as_a_drawing_shows() -> None:
    times_s = 0.03 * np.arange(500)
    flat = np.zeros(500)
    rest = Rest(np.full((3, 500), 1e3 + 0j), np.ones(3), times_s)
    fit = PhaseFit(np.zeros(3), 1e-12 * np.eye(3), times_s, flat, rest.values.real, np.ones(1))
    track = measured_track(fit, rest, CENTRES_HZ, 1.0)
    assert MOST_POINTS // 2 < len(track.times_s) <= MOST_POINTS
    assert track.times_s[-1] == pytest.approx(times_s[-1], abs=0.2)


@pytest.mark.parametrize(
    ("cents", "half_width_cents", "from_s"),
    [
        ((3.0, 2.0, 1.0, 0.05, 0.0, 0.0), 0.01, 1.5),  # the last that is off lies at 1.0 s
        ((3.0, 2.0, 1.0, 0.05, 0.0, 0.0), 2.5, 0.5),  # within what is known of it
        ((-3.0, -2.0, -1.0, -0.05, 0.0, 0.0), 0.01, 1.5),
        ((0.0,) * 6, 0.01, 0.0),
        ((0.0, 0.0, 0.0, 0.0, 0.0, 1.0), 0.01, None),  # runs away at its end
        ((0.0, 0.0, 2.0, 0.0, 0.0, 0.0), 0.01, 1.5),  # came back
    ],
)
def test_settled_is_from_where_it_stays(cents, half_width_cents, from_s) -> None:
    times_s = (0.0, 0.5, 1.0, 1.5, 2.0, 2.5)
    assert settled_from_s(times_s, cents, half_width_cents) == from_s


def test_settled_for_a_moment_is_not_settled() -> None:
    assert settled_from_s((0.0, 0.5, 1.0, 1.1), (3.0, 3.0, 0.0, 0.0), 0.01) is None
