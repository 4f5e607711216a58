"""The gate: each fault of a recording is cautioned or rejected, in a sentence that says what to do.

The sounds are synthetic, with the fault made on purpose and its size known; the sound ones are the
same without it, and the real notes of ``fetch_recordings``.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile
from pluck_model import PluckModel, recording

from analyzer.instrument.model import assumed_instrument
from analyzer.measure import Measured, measure_recording
from analyzer.music import note_hz
from analyzer.plucks import find_pluck
from analyzer.quality.sound import judge_pluck
from analyzer.recording.reading import open_recording

SIX = assumed_instrument()
RATE_HZ = 44_100
A2 = PluckModel(110.0)

Measure = Callable[..., Measured]


@pytest.fixture
def measured(tmp_path: Path) -> Measure:
    """Measure these samples under this name."""

    def measure(samples: np.ndarray, name: str = "s5_open_1.wav") -> Measured:
        soundfile.write(tmp_path / name, samples, RATE_HZ, subtype="PCM_24")
        return measure_recording(tmp_path / name, SIX)

    return measure


def take(model: PluckModel = A2, seed: int = 1, **settings: float) -> np.ndarray:
    return recording(model, np.random.default_rng(seed), **settings)


def running(cents: Callable[[np.ndarray], np.ndarray], f1_hz: float = 110.0) -> np.ndarray:
    """A decaying note of ten partials whose pitch runs as it is told, in cents over its time."""
    t_s = np.arange(3 * RATE_HZ) / RATE_HZ
    turns = np.cumsum(f1_hz * 2 ** (cents(t_s) / 1200)) / RATE_HZ
    note = sum(np.sin(2 * np.pi * k * turns + k) / k * np.exp(-t_s * k**0.5) for k in range(1, 11))
    noise = np.random.default_rng(2).normal(0, 1e-4, note.size + RATE_HZ // 4)
    return noise + np.pad(0.2 * note, (RATE_HZ // 4, 0))


def the_caution(found: Measured) -> str:
    assert found.pitch is not None, found.reason
    (caution,) = found.cautions
    assert caution.text.endswith(".")
    assert caution.text.count(". ") >= 1  # what was found, and what to do
    return caution.text


def test_sound_recordings_have_no_caution(measured) -> None:
    for note in ("E2", "A2", "D3", "G3", "B3", "E4"):
        string = 6 - SIX.tuning.index(note)
        model = PluckModel(note_hz(note), glide_cents=8)
        for name, each in (
            (f"s{string}_open_1.wav", model),
            (f"s{string}_f12_1.wav", replace(model, f1_hz=2 * model.f1_hz, stiffness=2e-4)),
        ):
            found = measured(take(each, snr_db=22), name)
            assert (found.reason, found.cautions) == (None, ()), name


def test_real_notes_pass(real_recordings) -> None:
    """54 notes of two guitars: none is rejected or split; one falls late and is cautioned."""
    from analyzer.pitch.note import cut_note
    from analyzer.pitch.settle import settle

    cautioned = []
    files = sorted(real_recordings.glob("acoustic/*.wav"))
    files += sorted(real_recordings.glob("electric/*.wav"))
    assert len(files) >= 54
    for path in files:
        sound = open_recording(path)
        pluck = find_pluck(sound)
        assert pluck.others == 0, path.name
        note = cut_note(sound, pluck)
        cautions, _ = judge_pluck(note, settle(note), 440.0)
        cautioned += [f"{path.parent.name}/{path.name}: {each.text}" for each in cautions]
    assert len(cautioned) <= 2, cautioned
    assert all("still falls" in each for each in cautioned)


def test_caution_widens_the_interval_as_a_root_sum_of_squares(measured) -> None:
    level = PluckModel(110.0, glide_cents=0.0)
    plain = measured(take(level))
    short = measured(take(level, duration_s=0.8))
    (caution,) = short.cautions
    assert plain.cautions == ()
    assert caution.added_cents > 0
    width = short.pitch.settled_uncertainty_cents
    assert plain.pitch.settled_uncertainty_cents < 0.05
    assert caution.added_cents < width < caution.added_cents + 0.05
    twice = short.with_cautions([replace(caution, added_cents=3.0)])
    assert twice.pitch.settled_uncertainty_cents == pytest.approx(math.hypot(width, 3.0))
    assert len(twice.cautions) == 2


def test_level(measured) -> None:
    assert "is very quiet" in the_caution(measured(take(peak=0.002, snr_db=40)))
    silent = measured(1e-6 * take())
    assert silent.pitch is None
    assert "is silent" in silent.reason
    loud = the_caution(measured(np.clip(4 * take(), -0.5, 0.5)))
    assert loud == "was too loud for its recorder (clipped). Record it again more quietly."


def test_noise(measured) -> None:
    assert "is noisy (the note is only 12 dB above" in the_caution(measured(take(snr_db=12)))
    drowned = measured(take(snr_db=-8))
    assert drowned.pitch is None
    assert "more noise than note" in drowned.reason
    assert "Go nearer to the string" in drowned.reason
    assert measured(np.random.default_rng(3).normal(0, 0.1, 3 * RATE_HZ)).pitch is None


@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
def test_hum(measured, mains_hz) -> None:
    """The line is named by its true frequency; at -40 dBFS it is no reason to say anything."""
    loud = measured(take(PluckModel(82.407), hum_hz=mains_hz, hum_dbfs=-18), "s6_open_1.wav")
    assert f"hums at {mains_hz:.0f} Hz" in the_caution(loud)
    faint = measured(take(PluckModel(82.407), hum_hz=mains_hz, hum_dbfs=-40), "s6_open_1.wav")
    assert faint.cautions == ()


def test_hum_that_passes_for_the_octave_below_is_named(measured) -> None:
    """D3 is near three times 50 Hz; with so much hum under it a third of it is heard."""
    found = measured(take(PluckModel(146.832), hum_hz=50.0, hum_dbfs=-18), "s4_open_1.wav")
    assert found.pitch is None
    assert re.search(r"but sounds (48|49|50)\.[0-9] Hz", found.reason)
    assert "If it hums (50 Hz), go away from mains leads" in found.reason


def test_length(measured) -> None:
    assert "sounds for 0.7 s only" in the_caution(
        measured(take(replace(A2, glide_cents=0.0), duration_s=0.72))
    )
    cut = measured(take(duration_s=0.4))
    assert cut.pitch is None
    assert "At least 0.5 s is needed" in cut.reason


@pytest.mark.parametrize(
    ("level_db", "words"), [(-40, None), (-14, "something else sounding near 147 Hz (D3")]
)
def test_another_note(measured, level_db, words) -> None:
    other = take(PluckModel(146.832), seed=4) * 10 ** (level_db / 20)
    found = measured(take() + other)
    if words is None:
        assert found.cautions == ()
    else:
        assert words in the_caution(found)
        assert "Damp the other strings" in the_caution(found)


def test_two_notes_of_which_neither_is_the_louder(measured) -> None:
    """A chord: whatever is heard in it, no figure comes of it without a word."""
    for level in (0.8, 1.0, 1.3):
        found = measured(take() + level * take(PluckModel(146.832, pluck_position=0.1), seed=4))
        assert found.pitch is None or any("something else" in each.text for each in found.cautions)


@pytest.mark.parametrize("snr_db", [60, 22])
@pytest.mark.parametrize("promised", ["A4", "E5"])
def test_octave_above_the_range_is_not_taken_for_the_octave_below(tmp_path, promised, snr_db):
    """An octave too high at the 12th fret: half its frequency is just what the name promises."""
    from analyzer.instrument.model import Instrument

    f12_hz = 2 * note_hz(promised)
    instrument = Instrument("made", (promised,))
    for seed in range(3):
        rng = np.random.default_rng(seed)
        for factor in (1, 2):
            model = PluckModel(factor * f12_hz, 2e-4, pluck_position=rng.uniform(0.08, 0.3))
            path = tmp_path / f"s1_f12_{2 * seed + factor}.wav"
            soundfile.write(path, take(model, seed, snr_db=snr_db), RATE_HZ, subtype="PCM_24")
            found = measure_recording(path, instrument)
            assert (found.pitch is None) == (factor == 2)


def test_vibrato(measured) -> None:
    slight = measured(running(lambda t: 6 * np.sin(2 * np.pi * 5 * t)))
    words = the_caution(slight).split()
    assert words[:4] == ["has", "a", "vibrato", "of"]
    assert float(words[4]) == pytest.approx(6, abs=0.5)
    assert slight.pitch.settled_uncertainty_cents >= 5.5
    wide = measured(running(lambda t: 25 * np.sin(2 * np.pi * 5 * t)))
    assert wide.pitch is None
    assert float(wide.reason.split()[4]) == pytest.approx(25, abs=2)


def test_bend(measured) -> None:
    slight = measured(running(lambda t: 20 * np.clip(t - 1, 0, 1)))
    assert "rises by 20 cents" in " ".join(each.text for each in slight.cautions)
    assert slight.pitch.settled_uncertainty_cents >= 10
    wide = measured(running(lambda t: 60 * np.clip(t - 1, 0, 1)))
    assert wide.pitch is None
    assert "is bent: its pitch rises by" in wide.reason


def test_note_that_never_settles(measured) -> None:
    slow = measured(running(lambda t: -3 * t))
    words = the_caution(slow).split()
    assert words[:3] == ["still", "falls", "by"]
    assert float(words[3]) == pytest.approx(3, abs=0.5)
    assert slow.pitch.settled_uncertainty_cents >= 1.25
    fast = measured(running(lambda t: -15 * t))
    assert fast.pitch is None
    assert fast.reason.startswith("never settles: its pitch still falls by 1")
    gliding = measured(running(lambda t: 12 * np.exp(-t / 0.25)))
    assert gliding.cautions == ()
    cut = measured(running(lambda t: 8 * np.exp(-t / 0.4))[: round(1.75 * RATE_HZ)])
    assert cut.cautions == ()  # it falls by 1.5 cents a second at mid-course, and ever less


def test_manual_gives_the_numbers_that_count() -> None:
    """The manual's table of verdicts, row by row, against the one place where they stand."""
    from conftest import ROOT

    from analyzer.gate import FURTHEST_FROM_NOMINAL_CENTS
    from analyzer.plucks import SHORTEST_NOTE_S, SILENT_DBFS
    from analyzer.quality import thresholds as limits

    text = (ROOT / "README.md").read_text(encoding="utf-8")
    rows = dict(re.findall(r"^\| ([^|]+?) +\| (.*) \|$", text, re.MULTILINE))
    for row, number in (
        ("level", limits.QUIET_DBFS),
        ("level", SILENT_DBFS),
        ("noise", limits.NOISY_DB),
        ("mains hum", limits.HUM_DB),
        ("mains hum", limits.HUM_ON_PARTIAL_DB),
        ("length", limits.SHORT_S),
        ("length", SHORTEST_NOTE_S),
        ("another note", limits.OTHER_NOTE_DB),
        ("vibrato, either way", limits.VIBRATO_CENTS),
        ("vibrato, either way", limits.MOST_VIBRATO_CENTS),
        ("bend: the pitch rises", limits.RISE_CENTS),
        ("bend: the pitch rises", limits.MOST_RISE_CENTS),
        ("never settles: falls at its end", limits.UNSETTLED_CENTS_PER_S),
        ("never settles: falls at its end", limits.MOST_UNSETTLED_CENTS_PER_S),
        ("another string, fret or octave than its label says", FURTHEST_FROM_NOMINAL_CENTS),
        ("string out of tune with the others", limits.OUT_OF_TUNE_CENTS),
        ("stray pluck of a long take", limits.STRAY_CENTS),
    ):
        assert f"{number:g}" in re.findall(r"-?[0-9.]+", rows[row]), row
    assert (limits.DROWNED_DB, limits.OTHER_NOTE_LOUDER_DB) == (0, 0)  # in words there


def test_what_is_too_short_because_it_was_cut_off_says_so(measured, tmp_path) -> None:
    """0.3 s of a note, as they are and as what is left of a file whose header promises it all."""
    note = take()
    short = measured(note[: round(0.55 * RATE_HZ)], "s5_open_1.wav")  # 0.25 s before the note
    size = (tmp_path / "s5_open_1.wav").stat().st_size
    measured(note, "s5_open_2.wav")
    cut = tmp_path / "s5_open_2.wav"
    cut.write_bytes(cut.read_bytes()[:size])
    left = measure_recording(cut, SIX)
    assert short.reason.startswith("holds only 0.3")
    assert left.reason.startswith("holds only 0.3")
    assert "header" not in short.reason
    assert left.reason.endswith("It ends before its header says: copy it again first.")
