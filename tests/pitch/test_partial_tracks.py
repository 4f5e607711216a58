"""Each partial by itself: what was put into made envelopes comes out in cents and decibels."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from analyzer.pitch.envelopes import Envelopes
from analyzer.pitch.partial_tracks import tracks_of
from analyzer.pitch.partials import Peaks, stretched
from analyzer.pitch.phases import PhaseFit, Rest

NUMBERS = np.array([1.0, 2.0, 4.0])
F1_HZ, STIFFNESS, PACE, STEP_S = 110.0, 1e-4, 1.02, 0.01
CENTRES_HZ = stretched(NUMBERS, F1_HZ, STIFFNESS) * 1.0005
TIMES_S = 0.08 + STEP_S * np.arange(200)
BESIDE_CENTS = np.array([0.0, 4.0, -2.5])  # that each runs above the fit
OFF_CENTS = np.array([0.0, 1.5, -3.0])  # that each settles off the law
SD_CENTS = np.array([0.1, 0.2, 0.5])


def made(noise=(1e-6, 1e-6, 1e-6), fall=0.0):
    """What ``tracks_of`` reads of a note that was followed; every number is chosen here."""
    law_hz = stretched(NUMBERS, F1_HZ, STIFFNESS)
    offsets = law_hz * 2 ** (OFF_CENTS / 1200) / CENTRES_HZ - 1
    covariance = np.diag((SD_CENTS / 1731.234) ** 2)
    course = 8 * np.exp(-TIMES_S / 0.3)
    phases = PhaseFit(offsets, covariance, TIMES_S, course, np.zeros((3, 200)), np.ones(1))
    relative = BESIDE_CENTS * np.log(2) / 1200
    turned = 2 * np.pi * CENTRES_HZ[:, None] * relative[:, None] * TIMES_S
    sizes = np.array([1.0, 0.5, 0.1])[:, None] * np.exp(-fall * (TIMES_S - TIMES_S[0]))
    loud = np.where(TIMES_S[0] + 0.3 + 1e-9 >= TIMES_S, sizes, 0.01 * sizes)
    return SimpleNamespace(
        peaks=Peaks(NUMBERS, law_hz, np.array([50.0, 40.0, 30.0]), np.ones(3)),
        string=SimpleNamespace(f1_hz=F1_HZ, stiffness=STIFFNESS, weights=np.array([0.75, 0.25])),
        phases=phases,
        envelopes=Envelopes(loud.astype(complex), CENTRES_HZ, TIMES_S, 30.0),
        rest=Rest(sizes * np.exp(1j * turned), np.array(noise), TIMES_S),
        kept=np.array([True, False, True]),
        pace=PACE,
    )


def test_where_each_settles_and_how_far_off_the_law() -> None:
    for track, number, off, sd in zip(tracks_of(made()), NUMBERS, OFF_CENTS, SD_CENTS, strict=True):
        law_hz = PACE * stretched(np.array([number]), F1_HZ, STIFFNESS)[0]
        assert track.number == number
        assert track.law_hz == pytest.approx(law_hz)
        assert track.frequency_hz == pytest.approx(law_hz * 2 ** (off / 1200))
        assert track.deviation_cents == pytest.approx(off, abs=1e-9)
        assert track.deviation_uncertainty_cents == pytest.approx(1.96 * sd, rel=1e-5)


def test_weights_and_levels() -> None:
    """Amplitudes of 1, a half and a tenth in the first 0.3 s; what is not kept has no weight."""
    tracks = tracks_of(made())
    assert [each.used for each in tracks] == [True, False, True]
    assert [each.weight for each in tracks] == [0.75, 0, 0.25]
    assert [each.level_db for each in tracks] == pytest.approx([0, -6.0206, -20], abs=1e-3)
    assert [each.over_noise_db for each in tracks] == [50, 40, 30]


def test_courses_run_beside_that_of_the_fit() -> None:
    """In windows of 0.15 s, on the recorder's clock: deviation, the fit's course, what is left."""
    for track, beside, off in zip(tracks_of(made()), BESIDE_CENTS, OFF_CENTS, strict=True):
        assert len(track.times_s) == 200 // 15
        middles_s = 0.08 + STEP_S * (7 + 15 * np.arange(13))
        assert track.times_s == pytest.approx(middles_s / PACE)
        expected = off + 8 * np.exp(-middles_s / 0.3) + beside
        assert track.cents == pytest.approx(expected, abs=1e-3)


def test_a_course_ends_where_the_partial_is_no_more_heard() -> None:
    """8 times the noise of both parts; a partial that comes back is the noise's."""
    fall, noise = 3.0, 1e-4
    note = made(noise=(noise,) * 3, fall=fall)
    note.rest.values[0, 180:] = 1.0
    for track, size in zip(tracks_of(note), (1.0, 0.5, 0.1), strict=True):
        windows = (size * np.exp(-fall * STEP_S * np.arange(195))).reshape(13, 15)
        heard = np.mean(windows**2, axis=1) > 16 * noise
        assert 0 < np.sum(heard) < 13
        assert len(track.times_s) == np.sum(heard)
