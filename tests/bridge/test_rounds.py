"""From one round to the next: what --previous and --turned make of it, and how many it takes."""

from __future__ import annotations

import os

import pytest
from benchmark_adjust import KINDS, listen_through_noise, rounds_needed
from two_rounds import BEFORE, INSTRUMENT, S_MM, loaded, moved


def test_second_round_learns_the_response(before, record, called, tmp_path) -> None:
    advised = {each["name"]: each["move_mm"] for each in loaded(before)["adjusters"]}
    assert (advised["saddle 2"] > 0, advised["saddle 1"] < 0) == (True, True)
    true = {s: moved(BEFORE[s], 0.85 * advised[f"saddle {s}"]) for s in (2, 1)}
    after, path = record("after", true), tmp_path / "after.json"
    done = called("analyze", after, "--previous", before, "--json", path)
    assert (done.code, done.err) == (0, "")
    assert "What the moves since before.json, taken to be as it advised, did" in done.out
    assert done.out.count("as predicted") == 2
    report = loaded(path)
    assert (report["previous"], report["moves_told"]) == ("before.json", False)
    for each in report["adjusters"]:
        assert each["response"] == pytest.approx(0.85, abs=0.04)
        assert each["response_uncertainty"] < 0.1
        own = next(iter(each["cents_per_turn"].values()))
        assert own == pytest.approx(-0.5 * 1731.234 / S_MM * each["response"], rel=1e-6)
    for each in report["outcome"]:
        string = each["string"]
        assert each["found_change_cents"] == pytest.approx(true[string] - BEFORE[string], abs=0.1)
        predicted = moved(0.0, advised[f"saddle {string}"])
        assert each["predicted_change_cents"] == pytest.approx(predicted, abs=1e-6)
    # The next move is by the learned response: what is left, over 0.85 of the geometry's.
    (second, _) = report["saddles"]
    assert second["move_mm"] == pytest.approx(true[2] / (1731.234 / S_MM) / 0.85, abs=0.07)
    # Travel is counted on: 4 mm toward the nut have grown by what was moved away.
    assert report["adjusters"][0]["moved_mm"] == advised["saddle 2"]
    assert any("travel_mm is as it was for before.json" in each for each in report["warnings"])


def test_third_round_carries_on_from_the_second(before, record, called, tmp_path) -> None:
    after, second = record("after", BEFORE), tmp_path / "second.json"
    turned = tmp_path / "turned.csv"
    turned.write_text("adjuster,turns,direction\n", encoding="utf-8")
    words = ("analyze", after, "--previous", before, "--turned", turned)
    assert called(*words, "--json", second, "--quiet").code == 0
    assert loaded(second)["response"]["rounds"] == 0  # nothing was turned: nothing to learn
    third = tmp_path / "third.json"
    last = record("last", {2: moved(8.0, 1.0), 1: -5.0})
    turned.write_text("adjuster,turns,direction\n2,2,clockwise\n", encoding="utf-8")
    words = ("analyze", last, "--previous", second, "--turned", turned)
    assert called(*words, "--json", third, "--quiet").code == 0
    report = loaded(third)
    assert report["response"]["rounds"] == 1
    assert report["moves_told"] is True
    assert report["adjusters"][0]["moved_mm"] == 1.0
    assert [each["in_words"] for each in report["outcome"]] == [
        "as predicted",
        "unmoved, and unchanged",
    ]


def test_what_was_not_turned_after_all_takes_no_travel(before, record, called, tmp_path) -> None:
    path = tmp_path / "second.json"
    done = called("analyze", record("after", BEFORE), "--previous", before, "--json", path)
    assert done.out.count("no change found") == 2
    assert [each["moved_mm"] for each in loaded(path)["adjusters"]] == [0.0, 0.0]
    advised = [each["move_mm"] for each in loaded(before)["adjusters"]]
    assert [each["move_mm"] for each in loaded(path)["adjusters"]] == advised


def test_turned_the_wrong_way_is_said_and_not_learned(before, record, called, tmp_path) -> None:
    advised = {each["name"]: each["move_mm"] for each in loaded(before)["adjusters"]}
    true = {s: moved(BEFORE[s], -advised[f"saddle {s}"]) for s in (2, 1)}
    path = tmp_path / "second.json"
    done = called("analyze", record("after", true), "--previous", before, "--json", path)
    went = {each["name"]: each["moved_mm"] for each in loaded(path)["adjusters"]}
    assert went == pytest.approx({name: -move for name, move in advised.items()})
    assert "saddle 2, saddle 1 did not go as given" in " ".join(done.out.split())
    assert done.out.count("the wrong way; check screw_head and the way it was turned") == 2
    page = tmp_path / "page.html"
    called("analyze", tmp_path / "after", "--previous", before, "--html", page)
    for text in (done.out, page.read_text(encoding="utf-8")):
        words = " ".join(text.split())
        first = words.index("Strings 2, 1 went the wrong way in the last round: find out first")
        assert first < words.index("Until you know, do not follow these steps")
        assert first < words.index("Never move a saddle under a string at pitch")
    assert "Nothing was learned from it" in done.out
    assert "or none, say so with --turned" in " ".join(done.out.split())


def test_travel_that_was_used_up_is_not_given_again(record, called, tmp_path) -> None:
    """6 mm away from the nut, 5.9 of them used: what is left is a step or so, not 6 mm."""
    first, far = tmp_path / "first.json", {**BEFORE, 2: 30.0}
    assert called("analyze", record("one", far), "--json", first, "--quiet").code == 0
    turned = tmp_path / "turned.csv"
    turned.write_text("adjuster,move_mm\nsaddle 2,5.9\n", encoding="utf-8")
    nearer = {**far, 2: moved(30.0, 5.9)}
    words = ("analyze", record("two", nearer), "--previous", first, "--turned", turned)
    second = tmp_path / "second.json"
    called(*words, "--json", second, "--quiet")
    saddle = loaded(second)["saddles"][0]
    assert 0 <= saddle["move_mm"] <= 0.1
    assert "The travel ends" in saddle["reason"]


def test_thread_that_was_mended_between_rounds(before, called, tmp_path) -> None:
    """The same turns of M4 in place of M3 do 0.7/0.5 of what was advised in millimetres."""
    instrument = tmp_path / "before" / "instrument.toml"
    text = INSTRUMENT.replace('"M3"', '"M4"').replace("travel_mm = [4.0, 6.0]\n", "")
    instrument.write_text(text, encoding="utf-8")
    advised = loaded(before)["adjusters"][0]["move_mm"]
    path = tmp_path / "after.json"
    called("analyze", tmp_path / "before", "--previous", before, "--json", path, "--quiet")
    predicted = loaded(path)["outcome"][0]["predicted_change_cents"]
    assert predicted == pytest.approx(moved(0.0, advised * 0.7 / 0.5), abs=1e-6)


def test_left_hand_thread_that_was_taken_for_a_right_hand_one(before, record, called) -> None:
    """Advised clockwise for the first string, which moved it the other way; nothing contradicts."""
    advised = {each["name"]: each["move_mm"] for each in loaded(before)["adjusters"]}
    true = {s: moved(BEFORE[s], -advised[f"saddle {s}"]) for s in (2, 1)}
    left_hand = INSTRUMENT.replace('"M3"', '"M3-LH"').replace("[4.0, 6.0]", "[8.0, 12.0]")
    done = called("analyze", record("after", true, left_hand), "--previous", before)
    assert done.out.count("as predicted") == 2


def test_scale_length_that_was_mended_between_rounds(before, record, called, tmp_path) -> None:
    """A response of 0.85 is what a scale length of 650 mm in place of 765 mm looks like.

    Once the length is right, the screws do what the geometry says: the 0.85 must not stay.
    """
    second, third = tmp_path / "second.json", tmp_path / "third.json"
    advised = {s: loaded(before)["adjusters"][2 - s]["move_mm"] for s in (2, 1)}
    true = {s: moved(BEFORE[s], 0.85 * advised[s]) for s in (2, 1)}
    first_round = record("after", true)
    called("analyze", first_round, "--previous", before, "--json", second, "--quiet")
    assert loaded(second)["adjusters"][0]["response"] == pytest.approx(0.85, abs=0.04)
    turned = tmp_path / "turned.csv"
    turned.write_text("adjuster,move_mm\n2,3\n1,-3\n", encoding="utf-8")
    again = {s: moved(true[s], 0.85 * mm) for s, mm in ((2, 3.0), (1, -3.0))}
    for length, response in ((650, 0.85), (650 / 0.85, 1.0)):
        text = INSTRUMENT.replace("650", f"{length}")
        folder = record(f"last {length:.0f}", again, text)
        words = ("analyze", folder, "--previous", second, "--turned", turned, "--json", third)
        assert called(*words, "--quiet").code == 0
        report = loaded(third)
        assert report["adjusters"][0]["response"] == pytest.approx(response, abs=0.03)
        assert report["response"]["rounds"] == (1 if response == 1 else 2)
        assert ("scale_length_mm" in " ".join(report["warnings"])) == (response == 1)


@pytest.mark.parametrize("columns", [40, 60, 80])
def test_nothing_is_wider_than_the_terminal(before, run, tmp_path, columns) -> None:
    environment = {**os.environ, "COLUMNS": str(columns)}
    folder = tmp_path / "before"
    for words in (("analyze", folder, "--previous", before), ("compare", before, before)):
        done = run(*words, env=environment)
        assert done.returncode == 0
        assert max(map(len, done.stdout.splitlines())) <= columns


# How many rounds it takes: a small form of benchmark_adjust.py, with noise for recordings.


def test_two_rounds_do_on_every_kind_of_bridge() -> None:
    """26 instruments, two of each kind; 95 % of those that answer 15 % off, all of the others."""
    listen = listen_through_noise(0.1)
    found = [rounds_needed(number, listen) for number in range(2 * len(KINDS))]
    as_geometry = [each[0] for each in found]
    assert sum(one for one, _ in as_geometry) >= 0.95 * len(found)
    assert all(two for _, two in as_geometry)
    off = [each[k][1] for each in found for k in (1, 2)]
    assert sum(off) >= 0.95 * len(off)
    assert not all(each[1][0] for each in found)  # one round is not enough for these


def test_every_string_of_a_part_stands_beside_its_last_adjuster(
    record, called, monkeypatch
) -> None:
    """String 2 does not hang on the second end; its error afterwards is said all the same."""
    ends = (
        INSTRUMENT.partition("[bridge]")[0] + '[bridge]\nkind = "general"\n'
        '[[bridge.adjusters]]\nname = "left"\nshares = [1.0, 0.5]\n'
        '[[bridge.adjusters]]\nname = "right"\nshares = [0.0, 0.5]\n'
    )
    monkeypatch.setenv("COLUMNS", "120")
    done = called("analyze", record("both", BEFORE, ends))
    lines = [line[:9] for line in done.out.splitlines()]
    above = lines.index(" 1. left ")
    assert lines[above + 1] == "    right"  # worked on together, so its place is said once
    row = done.out.splitlines()[above + 1]
    assert len(row.split("nut")[1].split(",")) == 2
