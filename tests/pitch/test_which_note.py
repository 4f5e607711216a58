"""Which note it is: a wrong string, octave, fret or place is recognised and named."""

from __future__ import annotations

import pytest
from pluck_model import PluckModel

from analyzer.instrument.model import assumed_instrument
from analyzer.measure import measure_recording
from analyzer.music import note_hz
from analyzer.report.build import build_report

SIX = assumed_instrument()


def measure(write_pluck, name: str, f_hz: float, **model: float):
    return measure_recording(write_pluck(name, PluckModel(f_hz, 4e-5, **model)), SIX)


@pytest.mark.parametrize(
    ("name", "sounding", "named"),
    [
        ("s6_open_1.wav", "E3", "(E3, as string 6 at the 12th fret, or its harmonic)"),
        ("s6_f12_1.wav", "E2", "(E2, as string 6 open)"),
        ("s5_open_1.wav", "D3", "(D3, as string 4 open)"),
        ("s1_f12_1.wav", "E4", "(E4, as string 1 open)"),
        ("s1_f12_1.wav", "E6", "(E6)"),
        ("s3_open_1.wav", "C#2", "(C#2)"),
    ],
)
def test_label_that_the_sound_contradicts(write_pluck, name, sounding, named) -> None:
    found = measure(write_pluck, name, note_hz(sounding))
    assert found.pitch is None
    assert found.reason is not None
    assert named in found.reason
    assert f"{note_hz(sounding):.1f} Hz" in found.reason


@pytest.mark.parametrize("note", ["B0", "E1", "E2", "E4", "E5", "E6"])
@pytest.mark.parametrize("first_partial_db", [0.0, -25.0])
def test_octave_is_right_over_the_whole_range(write_pluck, note, first_partial_db) -> None:
    """Bass B0 to E6, also with a first partial that is hardly heard."""
    from test_settled_pitch import off_cents

    model = PluckModel(note_hz(note), 1e-4, first_partial_db=first_partial_db)
    assert abs(off_cents(write_pluck("p.wav", model), note_hz(note))) < 0.1


def test_weak_odd_partials_do_not_make_it_an_octave_higher(tmp_path, write_pluck) -> None:
    """As on a real nylon string, whose odd partials lie 17 to 36 dB below the even ones."""
    import soundfile
    from test_settled_pitch import off_cents

    octave, rate = soundfile.read(write_pluck("a.wav", PluckModel(2 * 590.67, 4e-5)))
    whole, _ = soundfile.read(write_pluck("b.wav", PluckModel(590.67, 1e-5), seed=2))
    for below_db, truth_hz in ((-20, 590.67), (-40, 2 * 590.67)):
        path = tmp_path / "s1_f12_1.wav"
        soundfile.write(path, octave + 10 ** (below_db / 20) * whole, rate, subtype="PCM_24")
        assert abs(off_cents(path, truth_hz)) < 20


def test_another_strings_line_does_not_make_it_an_octave_lower(tmp_path, write_pluck) -> None:
    """As on a real slapped bass: the low string sounds 21 dB below, and a line between partials."""
    import numpy as np
    import soundfile
    from test_settled_pitch import off_cents

    f_hz = note_hz("D#2")
    samples, rate = soundfile.read(
        write_pluck("a.wav", PluckModel(f_hz, 4e-5, first_partial_db=-25))
    )
    t_s = np.arange(samples.size) / rate
    for ratio, level in ((0.548, 0.05), (1.4957, 0.02)):
        samples += level * np.exp(-t_s / 2) * np.sin(2 * np.pi * ratio * f_hz * t_s)
    soundfile.write(tmp_path / "p.wav", samples, rate, subtype="PCM_24")
    assert abs(off_cents(tmp_path / "p.wav", f_hz)) < 5


def test_semitone_down_is_in_tune_to_itself(write_pluck) -> None:
    found = measure(write_pluck, "s6_open_1.wav", note_hz("D#2"))
    assert found.pitch is not None


def test_wrong_fret_is_not_taken_for_an_error_of_the_saddle(write_pluck) -> None:
    """One fret beside the 12th is 100 cents, which the label alone does not exclude."""
    open_note = measure(write_pluck, "s6_open_1.wav", note_hz("E2"))
    thirteenth = measure(write_pluck, "s6_f12_1.wav", note_hz("F3"))
    report = build_report(SIX, 440.0, [open_note, thirteenth], [])
    string = report.strings[0]
    assert (string.error_cents, string.saddle_move_mm) == (None, None)
    assert string.reason is not None
    assert "+100 cents from the octave of the open string" in string.reason


def test_takes_that_cannot_belong_together_are_named(write_pluck) -> None:
    first = measure(write_pluck, "s6_open_1.wav", note_hz("E2"))
    second = measure(write_pluck, "s6_open_2.wav", note_hz("E2") * 2 ** (8 / 1200))
    report = build_report(SIX, 440.0, [first, second], [])
    (finding,) = report.findings
    assert (finding.cause, finding.strings) == ("repeats scatter", (6,))
    assert finding.evidence.startswith("the takes of s6_open lie 8.0 cents apart")


def test_clipped_recording_is_used_and_named(tmp_path, write_pluck) -> None:
    import numpy as np
    import soundfile

    samples, rate = soundfile.read(write_pluck("p.wav", PluckModel(110.0)))
    path = tmp_path / "s5_open_1.wav"
    soundfile.write(path, np.clip(2 * samples, -0.5, 0.5), rate, subtype="PCM_16")
    found = measure_recording(path, SIX)
    assert found.pitch is not None
    assert any("clipped" in caution.text for caution in found.cautions)
    whole = measure_recording(write_pluck("s5_open_2.wav", PluckModel(110.0)), SIX)
    assert (whole.warnings, whole.cautions) == ((), ())
