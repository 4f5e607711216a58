"""Each cause is named where it was made to be there, and not where it was not.

Made notes stand in for measured ones (``made_notes``); some causes are followed all the way from
sound. Stiffness by the law B ~ 1 / L^2 (Fletcher 1964), errors at frets by [AB24].
"""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from compensation_tables import TABLES
from conftest import SAMPLE_AUDIO
from made_bridges import own_screws
from made_notes import (
    OPEN_B,
    SIX,
    fretted_notes,
    note,
    octave_of_partials,
    published_string,
    report_of,
)
from pluck_model import PluckModel

from analyzer.instrument.string_data import StringData
from analyzer.measure import Measured
from analyzer.string_model.fretting import Setbacks


def causes(*notes: Measured, instrument=SIX) -> dict[str, tuple[int, ...]]:
    report = report_of(*notes, instrument=instrument)
    for finding in report.findings:
        assert finding.evidence
        assert finding.confirm.endswith((".", "?"))
    return {finding.cause: finding.strings for finding in report.findings}


def sound_instrument() -> list:
    """Six strings, two takes of each note, some cents off either way."""
    errors = {6: 3.0, 5: -2.0, 4: 1.0, 3: 4.0, 2: -1.0, 1: 0.5}
    return [
        note(f"{string} {place}", off + 0.2 * take, take)
        for string, error in errors.items()
        for place, off in (("open", 0.0), ("f12", error))
        for take in (1, 2)
    ]


def test_a_sound_instrument_has_no_causes() -> None:
    assert causes(*sound_instrument()) == {}


@pytest.mark.parametrize("folder", ["own_saddles", "paired_saddles"])
def test_no_false_alarm_in_the_demo(run, folder) -> None:
    report = json.loads(run("analyze", SAMPLE_AUDIO / folder, "--json", "-").stdout)
    assert report["findings"] == []
    assert report["frets"] == []


@pytest.mark.parametrize(("way", "sign"), [(-1, "-"), (1, "+")])
def test_open_pitch_that_runs_from_take_to_take(way, sign) -> None:
    takes = [note("6 open", way * 0.9 * take, take) for take in (1, 2, 3)]
    report = report_of(*takes, note("6 f12"))
    (finding,) = report.findings
    assert (finding.cause, finding.strings) == ("not settled", (6,))
    assert f"goes {sign}1.8 cents over 3 takes" in finding.evidence


def test_takes_are_followed_in_their_order_and_not_by_name() -> None:
    """Take 10 comes after take 9, whatever the order of file names is."""
    takes = [note("6 open", -0.4 * take, take) for take in (1, 10, 2, 9)]
    assert causes(*takes, note("6 f12")) == {"not settled": (6,)}


def test_takes_that_go_to_and_fro_or_hardly_move_have_settled() -> None:
    to_and_fro = [note("6 open", cents, take) for take, cents in enumerate((0.0, -1.8, 0.2), 1)]
    hardly = [note("5 open", -0.3 * take, take) for take in (1, 2, 3)]
    assert causes(*to_and_fro, *hardly, note("6 f12"), note("5 f12")) == {}


def test_open_note_that_still_falls_late() -> None:
    falling = {"late_slope_cents_per_s": -2.0}
    assert causes(note("6 open", **falling), note("6 f12")) == {"not settled": (6,)}
    assert causes(note("6 open"), note("6 f12", **falling)) == {}
    rising = {"late_slope_cents_per_s": 2.0}
    assert causes(note("6 open", **rising), note("6 f12")) == {}


def test_string_that_slips_while_it_sounds(tmp_path, run, write_pluck) -> None:
    """From sound: a glide of 20 cents that takes 4 s falls by 2.5 cents a second after 2 s."""
    write_pluck("s6_open_1.wav", PluckModel(82.407, glide_cents=20.0, glide_time_s=4.0))
    write_pluck("s6_f12_1.wav", PluckModel(164.814, 2e-4))
    found = json.loads(run("analyze", tmp_path, "--json", "-").stdout)["findings"]
    assert "not settled" in [each["cause"] for each in found]
    assert found[0]["strings"] == [6]


def test_plucked_too_hard(tmp_path, run, write_pluck) -> None:
    """From sound: 40 cents sharp at the start, settled after half a second."""
    write_pluck("s5_open_1.wav", PluckModel(110.0, glide_cents=40.0, glide_time_s=0.2))
    write_pluck("s5_f12_1.wav", PluckModel(220.0, 2e-4, glide_cents=6.0))
    found = json.loads(run("analyze", tmp_path, "--json", "-").stdout)["findings"]
    (finding,) = found
    assert (finding["cause"], finding["strings"]) == ("plucked too hard", [5])
    assert finding["evidence"].startswith("open starts")
    assert causes(note("5 open", glide_cents=8.0), note("5 f12")) == {}
    assert causes(note("5 open", glide_cents=-20.0), note("5 f12")) == {}


def test_repeats_that_scatter() -> None:
    takes = [note("3 f12", cents, take) for take, cents in enumerate((0.0, 4.0, 1.0), 1)]
    assert causes(note("3 open"), *takes) == {"repeats scatter": (3,)}
    close = [note("3 f12", cents, take) for take, cents in enumerate((0.0, 2.0, 1.0), 1)]
    assert causes(note("3 open"), *close) == {}


def test_worn_string_by_its_partials(tmp_path, run, write_pluck) -> None:
    """From sound: partials of both notes scattered by 12 cents, three takes of each."""
    worn = {"partial_scatter_cents": 12.0}
    for take in (1, 2, 3):
        write_pluck(f"s4_open_{take}.wav", PluckModel(146.832, **worn), seed=take)
        write_pluck(f"s4_f12_{take}.wav", PluckModel(293.665, 2e-4, **worn), seed=10 + take)
    found = json.loads(run("analyze", tmp_path, "--json", "-").stdout)["findings"]
    worn = [each for each in found if each["cause"] == "worn or wrong string"]
    assert [each["strings"] for each in worn] == [[4]]
    assert "partials of its open note disagree" in worn[0]["evidence"]
    assert not [each for each in found if "magnet" in each["cause"]]


def test_note_of_another_string_under_this_name() -> None:
    """The fretted note's B is that of a string four times as stiff: 16 times the open one's."""
    cause = "open and fretted notes of two strings"
    other = {"stiffness": 16 * OPEN_B, "stiffness_uncertainty": OPEN_B}
    assert causes(note("4 open"), note("4 f12", **other)) == {cause: (4,)}
    same = {"stiffness": OPEN_B, "stiffness_uncertainty": 0.05 * OPEN_B}
    assert causes(note("4 open"), note("4 f12", **same)) == {cause: (4,)}
    vague = {"stiffness": OPEN_B, "stiffness_uncertainty": 0.9 * OPEN_B}
    assert causes(note("4 open"), note("4 f12", **vague)) == {}


def test_stiffness_that_no_string_has() -> None:
    rod = {"stiffness": 2e-3, "stiffness_uncertainty": 1e-4}
    assert causes(note("4 open", **rod)) == {"worn or wrong string": (4,)}


def test_stiffness_against_the_strings_own_data() -> None:
    """[AB24] string 3 has B = pi^2 B0^2 = 8.94e-5 (computed); a fifth of it is another string."""
    row = TABLES["normal nylon"][2]
    data = StringData(2 * row.radius_mm, tension_n=row.tension_n, stretch_response=row.response)
    instrument = replace(SIX, string_data={3: data})
    right = {"stiffness": 8.942e-5, "stiffness_uncertainty": 1e-6}
    assert causes(note("3 open", **right), instrument=instrument) == {}
    wrong = {"stiffness": 8.942e-5 / 5, "stiffness_uncertainty": 1e-6}
    assert causes(note("3 open", **wrong), instrument=instrument) == {"worn or wrong string": (3,)}
    assert causes(note("3 open", **wrong)) == {}


def test_magnet_where_only_the_fretted_note_is_rough() -> None:
    assert causes(note("6 open", misfit_cents=1.0), note("6 f12", misfit_cents=6.0)) == {
        "magnet's pull": (6,)
    }
    assert causes(note("6 open", misfit_cents=1.0), note("6 f12", misfit_cents=3.0)) == {}
    assert causes(note("6 open", misfit_cents=5.0), note("6 f12", misfit_cents=6.0)) == {
        "worn or wrong string": (6,)
    }


def test_harmonic_that_is_not_the_open_strings() -> None:
    law = octave_of_partials(OPEN_B)
    takes = [note("2 open", 0.0, take) for take in (1, 2, 3)]
    right = [note("2 h12", law, take) for take in (1, 2, 3)]
    wrong = [note("2 h12", law + 2.5, take) for take in (1, 2, 3)]
    assert causes(*takes, *right) == {}
    assert causes(*takes, *wrong) == {"uneven string, or retuned between takes": (2,)}


FRETS = (1, 3, 5, 7, 12, 17, 19)


def often(notes) -> list:
    return [
        replace(each, label=replace(each.label, take=take)) for each in notes for take in (1, 2, 3)
    ]


def test_high_nut() -> None:
    """[AB24] string 6 lying 2.5 mm high at the nut: by hand 6.6 cents at fret 1, not 1."""
    high = fretted_notes(6, published_string(6, height_nut_mm=2.5), Setbacks(2.46, -0.43), FRETS)
    found = causes(*often(high))
    assert found["high nut"] == (6,)
    usual = fretted_notes(6, published_string(6), Setbacks(2.46, -0.43), FRETS)
    assert causes(*often(usual)) == {}


def heights(fret_1_mm: float, fret_12_mm: float):
    row = TABLES["normal nylon"][5]
    data = StringData(
        2 * row.radius_mm,
        tension_n=row.tension_n,
        stretch_response=row.response,
        height_at_fret_1_mm=fret_1_mm,
        height_at_fret_12_mm=fret_12_mm,
    )
    return replace(SIX, string_data={6: data})


def test_high_action_is_told_from_a_misplaced_nut_by_the_heights() -> None:
    """b = 1.2 and c = 16 mm: nut part 1731 kappa (2b^2 + 2bc) / 4 X0^2 = 2.5 cents, by hand."""
    lofty = published_string(6, height_nut_mm=1.2, rise_mm=16.0)
    notes = often(fretted_notes(6, lofty, Setbacks(5.0, 0.0), FRETS))
    saddle = 1 - 2 ** (-1 / 12)
    given = heights(1.2 + 16 * saddle, 9.2)
    assert "high action" in causes(*notes, instrument=given)
    assert "high action, or a nut too far from the saddle" in causes(*notes)
    low = published_string(6)
    away = often(fretted_notes(6, low, Setbacks(2.46, 1.2), FRETS))
    assert "nut too far from the saddle" in causes(*away, instrument=heights(1.2245, 3.0))


def with_bridge(travel_mm, setback_mm=None):
    bridge = own_screws(((6,), (5,), (4,), (3,), (2,), (1,)), None, travel_mm)
    return replace(SIX, bridge=replace(bridge, setback_mm=setback_mm or {}))


def test_saddle_on_the_wrong_side_of_its_travel() -> None:
    """8 cents sharp at 650 mm are 3 mm away from the nut (2.66 cents a millimetre)."""
    sharp = (note("2 open"), note("2 f12", 8.0))
    flat = (note("2 open"), note("2 f12", -8.0))
    cause = {"saddle on the wrong side of its travel": (2,)}
    assert causes(*sharp, instrument=with_bridge((9.0, 1.0))) == cause
    assert causes(*sharp, instrument=with_bridge((1.0, 9.0))) == {}
    assert causes(*sharp, instrument=with_bridge((1.0, 1.0))) == {}
    assert causes(*flat, instrument=with_bridge((1.0, 9.0))) == cause
    assert causes(*flat, instrument=with_bridge((9.0, 1.0))) == {}


@pytest.mark.parametrize("sign", [1, -1])
def test_all_strings_far_off_the_same_way(sign) -> None:
    off = [
        each
        for string in SIX.strings
        for each in (note(f"{string} open"), note(f"{string} f12", sign * (12.0 + string)))
    ]
    assert causes(*off) == {"scale length or bridge position": (6, 5, 4, 3, 2, 1)}
    mixed = [*off[:-1], note("1 f12", -sign * 12.0)]
    assert causes(*mixed) == {}


def test_uncompensated_strings_are_no_fault_of_the_scale() -> None:
    """[AB24]'s strings without any setback are 5 to 8 cents sharp (computed): saddles' business."""
    notes = [
        each
        for row in TABLES["normal nylon"]
        for each in (note(f"{row.string} open"), note(f"{row.string} f12", row.error_12_cents))
    ]
    assert causes(*notes) == {}


def test_setback_that_cannot_be() -> None:
    sharp = (note("2 open"), note("2 f12", 8.0))
    cause = {"scale length or bridge position": (2,)}
    assert causes(*sharp, instrument=with_bridge(None, {2: 9.0})) == cause
    assert causes(*sharp, instrument=with_bridge(None, {2: -6.0})) == cause
    assert causes(*sharp, instrument=with_bridge(None, {2: 0.0})) == {}


def test_several_strings_with_one_cause_share_a_finding() -> None:
    hard = {"glide_cents": 30.0}
    report = report_of(note("6 open", **hard), note("5 open", **hard), note("4 open"))
    (finding,) = report.findings
    assert finding.strings == (6, 5)
    assert finding.evidence.startswith("string 6: open starts 30 cents")
    assert "; string 5: open starts" in finding.evidence


def test_terminal_names_cause_evidence_and_what_would_confirm(tmp_path, run, write_pluck) -> None:
    write_pluck("s5_open_1.wav", PluckModel(110.0, glide_cents=40.0, glide_time_s=0.2))
    write_pluck("s5_f12_1.wav", PluckModel(220.0, 2e-4))
    said = " ".join(run("analyze", tmp_path).stdout.split())
    assert "Look at string 5: plucked too hard? Evidence: open starts" in said
    assert "To confirm: Pluck with half the force" in said
