"""inspect: its values against signals whose truth is known, and against what analyze says."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
import soundfile
from conftest import SAMPLE_AUDIO
from made_folders import TUNINGS, made_instrument
from pluck_model import PluckModel, glide_shape, partial_frequencies_hz, recording
from whole_takes import RATE_HZ, plan_of, whole_take

from analyzer.analysis import analyze_folder
from analyzer.errors import UnusableInputError
from analyzer.inspection.files import inspection_as_json
from analyzer.inspection.look import inspect_recording
from analyzer.inspection.model import Check, Inspection, PluckList
from analyzer.pitch.partials import stretched
from analyzer.pitch.stiff_string import fit_string
from analyzer.quality import thresholds as limits

A2 = PluckModel(110.0, 1e-4, glide_cents=6.0, glide_time_s=0.25)


@pytest.fixture(scope="module")
def takes(tmp_path_factory):
    """A take of a whole instrument, and what was played in it."""
    rng = np.random.default_rng(3)
    take = whole_take(plan_of(made_instrument(rng, TUNINGS[0]), 1), rng)
    path = tmp_path_factory.mktemp("whole") / "whole.wav"
    soundfile.write(path, take.samples, RATE_HZ, subtype="PCM_24")
    return path, take


# Against the truth of the model (Fletcher 1964; ``pluck_model``)


def test_levels_are_those_that_the_pluck_gives(write_pluck) -> None:
    """Against the first: |sin(k pi p)| / k (Morse 1948, as ``pluck_model`` says), and the decay."""
    steady = PluckModel(110.0, 1e-4, glide_cents=0.0, decay_s=50.0, decay_growth=0.0)
    found = inspect_recording(write_pluck("s5_open_1.wav", steady, snr_db=70))
    k = np.arange(1, 9)
    truth_db = 20 * np.log10(np.abs(np.sin(k * np.pi * steady.pluck_position)) / k)
    heard_db = np.array([each.level_db for each in found.tracks[:8]])
    assert [each.number for each in found.tracks[:8]] == list(k)
    np.testing.assert_allclose(heard_db - heard_db[0], truth_db - truth_db[0], atol=0.3)


def test_a_partial_that_strays_is_shown_to_stray(write_pluck) -> None:
    """The scatter of the partials is what the model's own generator drew first."""
    model = PluckModel(110.0, 1e-4, partial_scatter_cents=1.0)
    spread = np.random.default_rng(5).normal(0, 1.0, model.n_partials)
    spread[0] = 0.0
    found = inspect_recording(write_pluck("s5_open_1.wav", model, seed=5, snr_db=60))
    truth_hz = partial_frequencies_hz(model) * 2 ** (spread / 1200)
    for each in found.tracks:
        assert 1200 * abs(math.log2(each.frequency_hz / truth_hz[each.number - 1])) < 0.05
    deviations = np.array([each.deviation_cents for each in found.tracks])
    drawn = np.array([spread[each.number - 1] for each in found.tracks])
    assert np.corrcoef(deviations, drawn)[0, 1] > 0.9
    assert np.std(deviations - drawn) < 0.5 * np.std(drawn)


def test_tracks_follow_the_glide(write_pluck) -> None:
    found = inspect_recording(write_pluck("s5_open_1.wav", A2, duration_s=3.0, snr_db=60))
    loud = [each for each in found.tracks if each.over_noise_db > 50]
    assert len(loud) >= 5
    for each in loud:
        times_s = np.array(each.times_s)
        truth = A2.glide_cents * glide_shape(A2, times_s)
        # A window of 0.15 s rounds the glide off by a few hundredths at its start.
        np.testing.assert_allclose(np.array(each.cents)[times_s < 1.5], truth[times_s < 1.5],
                                   atol=0.35)  # fmt: skip
        assert each.cents[0] > 3.0


def test_a_wandering_partial_has_a_track_of_its_own(write_pluck) -> None:
    """Two polarisations make every partial waver about the fit at its own rate (beats)."""
    model = PluckModel(196.0, 5e-5, glide_cents=0.0, polarisation_split_cents=6.0)
    found = inspect_recording(write_pluck("s3_open_1.wav", model, duration_s=3.0, snr_db=60))
    still = inspect_recording(
        write_pluck("s3_open_2.wav", PluckModel(196.0, 5e-5, glide_cents=0.0), snr_db=60)
    )
    spread = [
        float(np.median([np.ptp(each.cents) for each in one.tracks[:6]])) for one in (found, still)
    ]
    assert spread[0] > 5 * spread[1]


def test_what_was_taken_as_the_pluck(write_pluck) -> None:
    path = write_pluck("s5_open_1.wav", A2, duration_s=2.5, silence_s=0.4, peak=0.25)
    found = inspect_recording(path)
    samples, rate_hz = soundfile.read(path)
    place = found.place
    assert place.start_s == pytest.approx(0.4, abs=0.01)
    assert place.end_s == pytest.approx(2.9, abs=0.02)
    assert place.early_s == pytest.approx((place.start_s + 0.1, place.start_s + 0.3))
    assert max(found.wave.high) == pytest.approx(np.max(samples), abs=1e-4)
    assert min(found.wave.low) == pytest.approx(np.min(samples), abs=1e-4)
    assert found.wave.start_s + len(found.wave.low) * found.wave.step_s == pytest.approx(2.9, 0.01)
    step = round(0.005 * rate_hz)
    rms = np.sqrt(np.mean(samples[: samples.size // step * step].reshape(-1, step) ** 2, axis=1))
    assert max(found.levels.dbfs) == pytest.approx(20 * np.log10(np.max(rms)), abs=0.2)
    assert (found.sound.rate_hz, found.sound.channels, found.sound.channel) == (44100, 1, 1)
    assert found.sound.length_s == pytest.approx(samples.size / rate_hz, abs=0.006)
    assert "24 bit" in found.sound.kind


def test_the_settled_part_is_where_the_glide_is_over(write_pluck) -> None:
    found = inspect_recording(write_pluck("s5_open_1.wav", A2, duration_s=3.0, snr_db=60))
    within = max(found.own_uncertainty_cents, 0.1)  # the least that counts as settled
    over_s = A2.glide_time_s * math.log(A2.glide_cents / within)
    assert found.place.settled_s[0] - found.place.start_s == pytest.approx(over_s, abs=0.25)


def test_the_channel_that_was_used_is_named(tmp_path) -> None:
    rng = np.random.default_rng(2)
    bad, good = (recording(A2, rng, snr_db=each) for each in (5, 50))
    soundfile.write(tmp_path / "s5_open_1.wav", np.stack([bad, good], axis=1), 44100)
    sound = inspect_recording(tmp_path / "s5_open_1.wav").sound
    assert (sound.channel, sound.channels) == (2, 2)


def test_weights_are_inverse_variances() -> None:
    """Of partials that lie on the law, so that no scatter is added: 4 : 1 : 1, known beforehand."""
    numbers = np.array([1.0, 2.0, 3.0])
    frequencies_hz = stretched(numbers, 110.0, 1e-4)
    fit = fit_string(numbers, frequencies_hz, np.diag([0.25, 1.0, 1.0]) * 1e-8, np.ones(3))
    np.testing.assert_allclose(fit.weights, np.array([4, 1, 1]) / 6, rtol=1e-6)


# Against analyze


@pytest.fixture(scope="module")
def demo():
    return analyze_folder(SAMPLE_AUDIO / "own_saddles", jobs=1)


def test_inspect_says_what_analyze_says(demo) -> None:
    for each in demo.recordings:
        found = json.loads(
            inspection_as_json(inspect_recording(SAMPLE_AUDIO / "own_saddles" / each.file))
        )
        label = found["label"]
        assert (label["string"], label["fret"], label["take"]) == (
            each.string, each.fret, each.take)  # fmt: skip
        assert found["status"] == each.status
        for name in ("settled_hz", "settled_uncertainty_cents", "glide_cents", "glide_time_s",
                     "sustain_drift_cents", "late_slope_cents_per_s", "stiffness", "beat_hz",
                     "stiffness_uncertainty", "misfit_cents", "first_partial_hz"):  # fmt: skip
            assert found["pitch"][name] == getattr(each, name), name


def test_cautions_and_checks_agree(write_pluck, tmp_path) -> None:
    for name, take in (
        ("s5_open_1.wav", {"snr_db": 8}),
        ("s5_open_2.wav", {"hum_hz": 50, "hum_dbfs": -14}),
        ("s5_open_3.wav", {"duration_s": 0.8}),
        ("s5_open_4.wav", {"peak": 0.002, "snr_db": 40}),
        ("s5_open_5.wav", {}),
    ):
        write_pluck(name, A2, **take)
    report = {each.file: each for each in analyze_folder(tmp_path, jobs=1).recordings}
    raised = []
    for name, each in report.items():
        found = inspect_recording(tmp_path / name)
        bad = [check.name for check in found.checks if check.verdict != "good"]
        own = tuple(caution.text for caution in found.cautions)
        assert own == each.cautions[: len(own)]  # analyze may add what it sees between recordings
        assert len(bad) == len(own)
        raised += bad
        added = math.hypot(found.own_uncertainty_cents, *(c.added_cents for c in found.cautions))
        assert found.pitch.settled_uncertainty_cents == pytest.approx(added)
    assert sorted(raised) == ["loudest 5 ms", "mains hum", "over noise", "sounds for"]


def test_a_check_falls_on_the_side_of_its_limit() -> None:
    noise = {"unit": "dB", "caution": limits.NOISY_DB, "reject": limits.DROWNED_DB, "least": True}
    for value, verdict in ((15.1, "good"), (14.9, "caution"), (-0.1, "reject"), (None, "good")):
        assert Check("over noise", value=value, **noise).verdict == verdict
    for value, verdict in ((3.9, "good"), (4.1, "caution"), (12.1, "reject")):
        assert Check("vibrato", "cents", value, 4.0, 12.0).verdict == verdict


# What has no label, and what is rejected


def test_without_a_label_it_goes_by_its_pitch(write_pluck) -> None:
    found = inspect_recording(write_pluck("bench take.wav", A2))
    assert (found.status, found.label, found.promised_hz) == ("used", None, None)
    assert "neither string nor fret" in found.unlabelled
    assert found.note == "A2"
    assert found.note_cents == pytest.approx(0.0, abs=0.05)


def test_the_note_is_named_by_a4_and_the_instrument(write_pluck, tmp_path) -> None:
    path = write_pluck("s1_open_1.wav", A2)
    other = tmp_path / "other.toml"
    other.write_text('[instrument]\nscale_length_mm = 860\ntuning = ["E1", "A2"]\n', "utf-8")
    found = inspect_recording(path, instrument_file=other, a4_hz=432.0)
    up_cents = 1200 * math.log2(440 / 432)
    assert found.promised_hz == pytest.approx(108.0)  # A2 is two octaves below A4
    assert found.promised_cents == pytest.approx(up_cents, abs=0.05)
    assert found.note_cents == pytest.approx(up_cents, abs=0.05)


def test_a_rejected_recording_is_shown_as_far_as_it_goes(write_pluck, tmp_path) -> None:
    wrong = inspect_recording(write_pluck("s1_open_1.wav", A2))
    (said,) = analyze_folder(tmp_path, jobs=1).recordings
    assert (wrong.status, wrong.reason) == ("rejected", said.reason)
    assert wrong.pitch.settled_hz == pytest.approx(110.0, rel=1e-5)
    assert wrong.promised_cents == pytest.approx(-1200 * math.log2(329.6276 / 110), abs=0.05)
    assert wrong.tracks
    assert wrong.checks


def test_noise_and_silence_are_rejected_with_what_there_is(tmp_path) -> None:
    rng = np.random.default_rng(4)
    soundfile.write(tmp_path / "s1_open_1.wav", np.zeros(88200), 44100)
    soundfile.write(tmp_path / "s2_open_1.wav", 0.1 * rng.standard_normal(132300), 44100)
    said = {each.file: each.reason for each in analyze_folder(tmp_path, jobs=1).recordings}
    for name, has_wave in (("s1_open_1.wav", False), ("s2_open_1.wav", True)):
        found = inspect_recording(tmp_path / name)
        assert (found.status, found.reason, found.pitch) == ("rejected", said[name], None)
        assert (found.wave is not None) == has_wave
        assert found.levels.dbfs


# Many plucks


def test_plucks_of_a_whole_take_are_listed(takes) -> None:
    path, take = takes
    found = inspect_recording(path)
    assert isinstance(found, PluckList)
    assert [(each.label.string, each.label.fret) for each in found.plucks] == [
        (each.string, each.fret) for each in take.played
    ]
    assert [each.number for each in found.plucks] == list(range(1, len(take.played) + 1))
    for each, played in zip(found.plucks, take.played, strict=True):
        assert each.start_s == pytest.approx(played.start_s, abs=0.05)
        assert each.settled_hz == pytest.approx(played.model.f1_hz, rel=3e-4)


def test_one_pluck_of_many_by_its_number_or_its_moment(takes) -> None:
    path, take = takes
    listed = inspect_recording(path).plucks[4]
    played = take.played[4]
    one = inspect_recording(path, pluck="5")
    assert isinstance(one, Inspection)
    assert one.number == 5
    assert one.pitch.settled_hz == listed.settled_hz
    assert one.pitch.settled_uncertainty_cents == listed.settled_uncertainty_cents
    assert (one.place.start_s, one.place.end_s) == (listed.start_s, listed.end_s)
    for moment in (f"{played.start_s + 0.5:.2f}s", f"{played.start_s + 0.5:.2f}"):
        assert inspection_as_json(inspect_recording(path, pluck=moment)) == inspection_as_json(one)


@pytest.mark.parametrize("wanted", ["0", "13", "0.01s", "third", "", "-1", "1e9"])
def test_a_pluck_that_is_not_there(takes, wanted) -> None:
    with pytest.raises(UnusableInputError, match=r"--pluck.*12\.5s"):
        inspect_recording(takes[0], pluck=wanted)


def test_the_table_goes_before_the_name(write_pluck, tmp_path) -> None:
    path = write_pluck("phone.wav", A2, duration_s=3.0)
    rows = "file,start_s,end_s,string,fret\n{}"
    table = tmp_path / "takes.csv"
    table.write_text(rows.format("phone.wav,,,5,open\n"), "utf-8")
    one = inspect_recording(path)
    assert (one.label.string, one.label.fret) == (5, "open")
    assert one.promised_cents == pytest.approx(0.0, abs=0.05)
    table.write_text(rows.format("phone.wav,0.0,1.5,5,open\nphone.wav,1.5,,5,open\n"), "utf-8")
    two = inspect_recording(path)
    assert [each.label.take for each in two.plucks] == [1, 2]
    second = inspect_recording(path, pluck="2")
    assert second.place.start_s == pytest.approx(1.5, abs=0.01)
    assert second.label.take == 2
