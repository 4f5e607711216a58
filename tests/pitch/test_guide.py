"""The guide by itself: a look over the whole range, octaves by hand-made spectra, a band of pYIN.

Levels are laid down line by line, so that what must be decided is plain from the numbers of the
module: lines within 40 dB of the loudest count, 18 dB above what lies between them are clear;
for the octave below, 25 dB and 30 dB.
"""

from __future__ import annotations

import numpy as np
import pytest

from analyzer.pitch import guide
from analyzer.pitch.guide import Guide, guide_note
from analyzer.pitch.spectrum import LineSpectrum, line_spectrum, low_note, note_spectrum

BIN_HZ = 1.0
FLOOR_DB = -90.0


def spectrum(levels_db: dict[float, float], floor_db: float = FLOOR_DB) -> LineSpectrum:
    """Lines (Hz: dB) over a floor, up to 8 kHz."""
    level_db = np.full(8000, floor_db)
    for hz, db in levels_db.items():
        level_db[round(hz / BIN_HZ)] = db
    return LineSpectrum(level_db, BIN_HZ)


def multiples(hz: float, db: float = 0.0, count: int = 14, *, step: int = 1, first: int = 1):
    return {hz * n: db for n in range(first, count + 1, step)}


# --- levels


def test_levels_are_the_highest_within_two_percent_of_each_multiple() -> None:
    """At 200 Hz that is 4 Hz to either side, of every multiple alike."""
    lines = spectrum({204: -3.0, 396: -5.0, 605: -7.0, 795: -9.0, 1000: -11.0})
    found = guide._levels_db(200.0, lines)
    assert found.shape == (14,)
    assert found[:5] == pytest.approx([-3.0, -5.0, FLOOR_DB, FLOOR_DB, -11.0])


def test_levels_beyond_the_spectrum_are_those_of_its_end() -> None:
    lines = spectrum({7999: -20.0})
    assert guide._levels_db(1600.0, lines)[5:] == pytest.approx(np.full(9, -20.0))


def test_a_very_low_pitch_looks_at_least_a_bin_to_either_side() -> None:
    lines = LineSpectrum(np.where(np.arange(400) % 10 == 1, 0.0, FLOOR_DB), 3.0)
    assert guide._levels_db(30.0, lines)[0] == 0.0


# --- a look that is too low


@pytest.mark.parametrize(
    ("first_db", "floor_db", "has"),
    [
        (-39.0, -90.0, True),
        (-41.0, -90.0, False),  # too faint beside the others
        (-30.0, -49.0, True),  # 19 dB out of what lies around
        (-30.0, -47.0, False),  # 17 dB
    ],
)
def test_a_first_line_of_its_own(first_db, floor_db, has) -> None:
    lines = spectrum({**multiples(100.0), 100.0: first_db}, floor_db)
    levels = guide._levels_db(100.0, lines)
    assert guide._has_its_first_line(100.0, lines, levels) is has
    expected = 100.0 if has else 0.0  # with it, nothing is raised
    if has:
        assert guide._raised(100.0, lines) == expected


@pytest.mark.parametrize("multiple", [2, 3, 5, 7])
def test_a_fraction_is_raised_to_the_note(multiple) -> None:
    """330 Hz, of which YIN saw a half, a third, a fifth or a seventh, without lines of its own."""
    lines = spectrum(multiples(330.0))
    assert guide._raised(330.0 / multiple, lines) == pytest.approx(330.0)
    assert guide._raised(330.0, lines) == 330.0


def test_a_quarter_and_an_eighth_are_raised_by_steps_of_two() -> None:
    lines = spectrum(multiples(480.0))
    assert guide._raised(120.0, lines) == pytest.approx(480.0)
    assert guide._raised(60.0, lines) == pytest.approx(480.0)


def test_a_sixth_takes_two_steps() -> None:
    lines = spectrum(multiples(480.0))
    assert guide._raised(80.0, lines) == pytest.approx(480.0)


def test_nothing_is_raised_beyond_the_range() -> None:
    """A half of 1500 Hz may be raised; 850 Hz to 1700 Hz may not."""
    assert guide._raised(750.0, spectrum(multiples(1500.0, count=5))) == pytest.approx(1500.0)
    assert guide._raised(850.0, spectrum(multiples(1700.0, count=4))) == 850.0


@pytest.mark.parametrize(
    ("own_db", "no_lines"),
    [(-41.0, True), (-39.0, False)],
)
def test_lines_of_its_own_count_from_40_db_below_the_others(own_db, no_lines) -> None:
    """A third: lines 2 and 4 of it are there or not."""
    lines = spectrum({**multiples(300.0), 200.0: own_db, 400.0: own_db})
    levels = guide._levels_db(100.0, lines)
    assert guide._no_lines_of_its_own(100.0, 3, lines, levels) is no_lines


def test_lines_that_do_not_stand_out_are_none_of_its_own() -> None:
    """30 dB below the note's and 15 dB above what lies between: noise, not lines."""
    lines = spectrum({**multiples(300.0), 200.0: -30.0, 400.0: -30.0}, floor_db=-45.0)
    levels = guide._levels_db(100.0, lines)
    assert guide._no_lines_of_its_own(100.0, 3, lines, levels)
    clear = spectrum({**multiples(300.0), 200.0: -30.0, 400.0: -30.0}, floor_db=-50.0)
    levels = guide._levels_db(100.0, clear)
    assert not guide._no_lines_of_its_own(100.0, 3, clear, levels)


@pytest.mark.parametrize(("odd", "no_lines"), [((1,), True), ((1, 5), False), ((3, 7), False)])
def test_one_odd_line_is_another_strings_and_two_are_the_notes(odd, no_lines) -> None:
    """Of the first four odd lines of half the pitch, 25 dB below the note's, well clear."""
    lines = spectrum({**multiples(200.0), **{100.0 * n: -25.0 for n in odd}})
    levels = guide._levels_db(100.0, lines)
    assert guide._no_lines_of_its_own(100.0, 2, lines, levels) is no_lines


def test_odd_lines_that_are_faint_or_in_noise_do_not_count() -> None:
    for odd_db, floor_db in ((-42.0, -90.0), (-30.0, -46.0)):
        lines = spectrum({**multiples(200.0), 100.0: odd_db, 300.0: odd_db, 9e2: -35.0}, floor_db)
        levels = guide._levels_db(100.0, lines)
        assert guide._no_lines_of_its_own(100.0, 2, lines, levels)


# --- a look that is too high


@pytest.mark.parametrize(
    ("odd_db", "floor_db", "lowered"),
    [
        (-24.0, -90.0, True),
        (-26.0, -90.0, False),  # too faint for the note's own
        (-20.0, -51.0, True),  # 31 dB clear
        (-20.0, -49.0, False),  # 29 dB
    ],
)
def test_the_octave_above_is_lowered_where_the_odd_lines_are_heard(
    odd_db, floor_db, lowered
) -> None:
    odd = {110.0 * n: odd_db for n in (1, 3, 5, 7)}
    lines = spectrum({**multiples(220.0), **odd}, floor_db)
    assert guide._lowered(220.0, lines) == (110.0 if lowered else 220.0)


def test_all_first_odd_lines_have_to_be_clear() -> None:
    odd = {110.0 * n: -10.0 for n in (1, 3, 5)}
    assert guide._lowered(220.0, spectrum({**multiples(220.0), **odd})) == 220.0


@pytest.mark.parametrize("loud", [1, 3, 5, 7])
def test_one_loud_odd_line_is_enough_where_all_are_clear(loud) -> None:
    odd = {110.0 * n: -10.0 if n == loud else -55.0 for n in (1, 3, 5, 7)}
    assert guide._lowered(220.0, spectrum({**multiples(220.0), **odd})) == 110.0


def test_what_lies_between_is_looked_at_where_the_lines_are() -> None:
    """It is quiet below 50 Hz and loud about the lines, which so are none."""
    odd = {110.0 * n: -10.0 for n in (1, 3, 5, 7)}
    octave = spectrum({**multiples(220.0), **odd}, floor_db=-25.0)
    third = spectrum({**multiples(300.0), 200.0: -30.0, 400.0: -30.0}, floor_db=-40.0)
    for lines in (octave, third):
        lines.level_db[:50] = -120.0
    assert guide._lowered(220.0, octave) == 220.0
    levels = guide._levels_db(100.0, third)
    assert guide._no_lines_of_its_own(100.0, 3, third, levels)


def test_nothing_is_lowered_below_the_range() -> None:
    """25 Hz is the lowest: 49 Hz stays, 51 Hz may go."""
    for hz, lowest in ((49.0, 49.0), (51.0, 25.5)):
        lines = spectrum(multiples(hz / 2, count=60))
        assert guide._lowered(hz, lines) == lowest


# --- from sound


def note(f_hz: float, rate_hz: float = 44_100.0, seconds: float = 2.0, noise: float = 1e-4):
    """Ten partials from 0.1 s on, which fall by 1/n and die away."""
    t = np.arange(round(seconds * rate_hz)) / rate_hz - 0.1
    on = t >= 0
    sound = sum(np.sin(2 * np.pi * n * f_hz * t) / n for n in range(1, 11))
    rng = np.random.default_rng(1)
    return on * sound * np.exp(-1.5 * np.maximum(t, 0)) / 4 + noise * rng.normal(size=t.size)


def guided(samples, rate_hz: float = 44_100.0) -> Guide:
    whole = note_spectrum(samples, rate_hz, 0.1)
    return guide_note(whole, line_spectrum(low_note(whole)))


@pytest.mark.parametrize("f_hz", [30.9, 41.2, 82.41, 196.0, 440.0, 880.0, 1318.5])
@pytest.mark.parametrize("rate_hz", [8_000.0, 44_100.0, 96_000.0])
def test_a_note_is_found_within_a_quarter_tone(f_hz, rate_hz) -> None:
    """pYIN's grid is half a semitone here; the refinement looks 40 cents to either side."""
    partials = note(f_hz, rate_hz) if f_hz * 10 < rate_hz / 2 else None
    if partials is None:
        t = np.arange(round(2 * rate_hz)) / rate_hz - 0.1
        partials = (t >= 0) * np.sin(2 * np.pi * f_hz * t) * np.exp(-np.maximum(t, 0))
    found = guided(partials, rate_hz)
    assert 1200 * np.log2(found.pitch_hz / f_hz) == pytest.approx(0, abs=40)
    assert found.voiced_share > 0.9


def test_noise_has_no_note() -> None:
    noise = np.random.default_rng(2).normal(size=88_200) * 0.1
    assert guided(noise).voiced_share < guide.LEAST_VOICED_SHARE


def test_a_note_that_hardly_lasts_is_looked_at_all_the_same() -> None:
    """0.12 s after the onset are less than a frame of the look."""
    samples = note(220.0, seconds=0.25)
    assert guided(samples).pitch_hz == pytest.approx(220.0, rel=0.025)


def test_the_look_is_at_the_start_of_the_note() -> None:
    """Another note that sounds louder before the onset, or from 1 s after it, is not looked at."""
    rate_hz = 44_100.0
    samples = note(220.0)
    t = np.arange(samples.size) / rate_hz
    other = 2 * np.sin(2 * np.pi * 331.0 * t)
    for elsewhere in (t < 0.1, t > 1.1):
        found = guide._look(note_spectrum(samples + other * elsewhere, rate_hz, 0.1))
        assert found == pytest.approx(220.0, rel=0.02)
