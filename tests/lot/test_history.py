"""An instrument over the years: its errors against the truth, and what changed for sure."""

from __future__ import annotations

import os
import shutil
from dataclasses import replace
from pathlib import Path
from typing import Never

import pytest
from conftest import ROOT
from made_lots import small_lot
from made_outcomes import METHOD, UNDER, decided, outcome_of, session_of
from made_rounds import SERIAL, TRUTHS_CENTS, YEARS, keep_rounds, recorded_at
from two_rounds import write_round

import analyzer.analysis
from analyzer.analysis import analyze_folder, read_inputs
from analyzer.bench import Bench, bench_of
from analyzer.errors import UnusableInputError
from analyzer.lot.analysis import Asked, analyze_lot
from analyzer.lot.histories import open_history, read_history, verdicts, wanted_of
from analyzer.lot.records import Session
from analyzer.lot.store import FILE_NAME, open_store
from analyzer.report.comparison import compare_reports
from analyzer.report.earlier import parse_report
from analyzer.report.files import as_json


@pytest.fixture(scope="module")
def shop(tmp_path_factory) -> Path:
    """A shop's store, and beside it the recordings of three years."""
    place = tmp_path_factory.mktemp("shop")
    keep_rounds(place / "recordings", place / "store")
    return place


def history(place: Path, serial: str | None = SERIAL, **asked: object):
    words = {"since": None, "by": "analyzed", "most": None, **asked}
    with open_history(place) as store:
        return read_history(store, wanted_of(serial, **words))


def test_errors_are_the_true_ones_the_oldest_first(shop) -> None:
    found = history(shop / "store")
    years = [int(each.entry.recorded_at[:4]) for each in found.analyses]
    assert years == list(YEARS)  # though they were analyzed the other way round
    assert [each.analysis for each in found.entries] == [3, 2, 1]
    for each, truth in zip(found.analyses, TRUTHS_CENTS, strict=True):
        for string in each.strings:
            off_cents = abs(string.error_cents - truth[string.string])
            assert off_cents < string.error_uncertainty_cents < 2.0


def test_what_changed_is_what_was_changed(shop) -> None:
    first, *later = history(shop / "store").analyses
    assert first.changes == ()
    found = [{each.string: each.verdict for each in one.changes} for one in later]
    assert found == [
        {2: "better", 1: "no sure change"},
        {2: "no sure change", 1: "better"},
    ]
    moved = {each.string: each.change_cents for each in later[0].changes}
    assert moved[2] == pytest.approx(-7.5, abs=1.0)  # later less earlier
    assert all(each.warnings == () for each in (first, *later))


def test_changes_are_those_of_compare(shop) -> None:
    with open_history(shop / "store") as store:
        found = history(shop / "store").analyses
        earlier = [parse_report("x.json", store.report_json(each.entry.analysis)) for each in found]
    for number in (1, 2):
        compared = compare_reports(earlier[number - 1], earlier[number])
        assert found[number].changes == compared.strings


def test_the_same_recordings_are_there_once_and_measured_once(shop, tmp_path, monkeypatch) -> None:
    shutil.copytree(shop / "store", tmp_path / "store")
    folder = shop / "recordings" / "2022"
    plain = analyze_folder(folder, jobs=1)

    def never(*_words: object, **_options: object) -> Never:
        raise AssertionError("was measured again")

    monkeypatch.setattr(analyzer.analysis, "measure_file", never)
    bench = bench_of(tmp_path / "store", folder, SERIAL)
    report = bench.analyze(read_inputs(folder), jobs=1)
    bench.keep(report)
    assert as_json(report) == as_json(plain)
    assert len(history(tmp_path / "store").analyses) == 3


def test_another_instrument_file_measures_again(shop, tmp_path) -> None:
    """What is known is known of these settings only."""
    shutil.copytree(shop / "store", tmp_path / "store")
    folder = tmp_path / "again"
    shutil.copytree(shop / "recordings" / "2022", folder)
    bench = bench_of(tmp_path / "store", folder, SERIAL)
    bench.analyze(read_inputs(folder, a4_hz=442.0), jobs=1)
    bench.keep()
    found = history(tmp_path / "store").analyses
    assert len(found) == 4
    assert "It has the same time as the one before" in found[2].warnings[0]
    assert {each.verdict for each in found[2].changes} == {"no sure change"}


def test_a_lot_and_the_bench_share_what_they_measured(shop, tmp_path) -> None:
    """One analysis, whichever of them made it, and the lot's decision stays with it."""
    lot = tmp_path / "lot"
    small_lot(lot, (SERIAL,), shop / "recordings" / "2022")
    recorded_at(lot / SERIAL, 2022)
    store = tmp_path / "store"
    bench = bench_of(store, lot / SERIAL)
    bench.analyze(read_inputs(lot / SERIAL), jobs=1)
    bench.keep()
    assert [each.verdict for each in history(store).entries] == [None]
    result = analyze_lot(str(lot), store, Asked(jobs=1))
    assert (result.measured, result.kept) == (0, 1)
    assert [each.verdict for each in history(store).entries] == ["not conform"]
    bench.keep()
    assert [each.verdict for each in history(store).entries] == ["not conform"]


def test_a_round_that_learned_is_kept_whole_beside_the_plain_one(shop, tmp_path) -> None:
    """Its advice and what it learned are not lost to a later analysis without --previous."""
    store, folder = tmp_path / "store", shop / "recordings" / "2022"
    before = tmp_path / "before.json"
    before.write_text(as_json(analyze_folder(shop / "recordings" / "2021", jobs=1)))
    kept = []
    for previous in (before, None, before):
        bench = bench_of(store, folder)
        kept.append(as_json(bench.analyze(read_inputs(folder, previous=previous), jobs=1)))
        bench.keep()
    assert kept[0] == kept[2] != kept[1]
    with open_history(store) as opened:
        analyses = [each.analysis for each in opened.history_of("2022")]
        assert [opened.report_json(each) for each in analyses] == kept[:2]
        learned = opened.stored_report(analyses[0])
    assert learned.response.rounds == 1
    assert [each.string for each in learned.outcome] == [2, 1]


@pytest.mark.fault("recordings that change while they are analyzed")
def test_recordings_that_change_meanwhile_are_not_kept(shop, tmp_path) -> None:
    folder = tmp_path / "now"
    shutil.copytree(shop / "recordings" / "2021", folder)
    path = folder / "s2_open_1.wav"
    bench = bench_of(tmp_path / "store", folder)
    report = bench.analyze(read_inputs(folder), jobs=1, progress=lambda *_: os.utime(path, (1, 1)))
    assert report.complete  # and it is printed
    with pytest.raises(UnusableInputError, match=r"changed while they were read.*Analyze it again"):
        bench.keep(report)
    with open_store(tmp_path / "store" / FILE_NAME, create=False) as store:
        assert list(store.since(0.0)) == []


def test_a_place_is_a_file_or_a_folder(tmp_path) -> None:
    folder = tmp_path / "my guitar"
    folder.mkdir()
    (tmp_path / "old.sqlite").mkdir()
    (tmp_path / "notes").write_text("x")
    found = {
        name: bench_of(tmp_path / name, folder)
        for name in ("shop", "shop.sqlite", "a/b.SQLITE", "old.sqlite", "notes")
    }
    assert {name: str(each.store.relative_to(tmp_path)) for name, each in found.items()} == {
        "shop": "shop/lot.sqlite",
        "shop.sqlite": "shop.sqlite",
        "a/b.SQLITE": "a/b.SQLITE",
        "old.sqlite": "old.sqlite/lot.sqlite",
        "notes": "notes",
    }
    assert {each.serial for each in found.values()} == {"my guitar"}
    assert bench_of(tmp_path, folder, " A-1 ").serial == "A-1"


def kept(store: Path, *sessions: tuple[Session, str, float, bool]) -> None:
    """Sessions with the method, the error of string 3 in cents, and whether it is decided."""
    with open_store(store / FILE_NAME, create=True) as opened:
        for session, method, error_cents, judged in sessions:
            run = opened.begin(method, specification=UNDER if judged else None)
            outcome = outcome_of(session, error_cents)
            opened.add(run, outcome, decided(outcome) if judged else None, analyzed_s=2e9)


def test_warnings_say_what_else_may_have_changed(tmp_path) -> None:
    sessions = [session_of("A-1", recorded_s=1e9 + n, place=str(n)) for n in range(3)]
    sessions[2] = replace(sessions[2], serial="a-1")
    versions = ("pluckcheck 1.0, numpy 2.0, scipy 1", "pluckcheck 1.0, numpy 2.1, scipy 1")
    kept(
        tmp_path,
        (sessions[0], versions[0], 1.0, True),
        (sessions[1], versions[1], 5.0, True),
        (sessions[2], versions[1], 5.0, False),
    )
    first, second, third = history(tmp_path, " A-1 ").analyses
    assert first.warnings == ()
    assert second.entry.verdict == "not conform"
    other = "Measured by another version of the method (numpy 2.1, before numpy 2.0): "
    assert second.warnings == (second.entry.reason, f"{other}compare the figures with care.")
    assert third.warnings == ("The serial number is spelled a-1, before A-1.",)


def test_another_tuning_is_not_compared(tmp_path) -> None:
    kept(tmp_path, (session_of("A-1", recorded_s=1e9), METHOD, 1.0, True))
    two = write_round(tmp_path / "A-1", {2: 0.0, 1: 0.0})
    recorded_at(two, 2023)
    bench = bench_of(tmp_path, two)
    bench.analyze(read_inputs(two), jobs=1)
    bench.keep()
    _, found = history(tmp_path, "A-1").analyses
    assert found.changes == ()
    assert "It is tuned to E2 A2, before to E2 A2 D3 G3 B3 E4: not compared." in found.warnings


def test_since_a_moment_by_either_time(tmp_path) -> None:
    places = [session_of(f"A-{n}", recorded_s=1e9 + 86400.0 * n) for n in range(4)]
    kept(tmp_path, *((each, METHOD, 4.0, number < 3) for number, each in enumerate(places)))
    # 1e9 s is 2001-09-09T01:46:40 UTC (the Unix time is published as such in many places).
    asked = {"since": "2001-09-11", "by": "recorded"}
    found = history(tmp_path, None, **asked)
    assert [each.serial for each in found.entries] == ["A-2", "A-3"]
    assert (found.known, verdicts(found.entries)["not conform"]) == (2, 1)
    assert verdicts(found.entries)[None] == 1
    zoned = history(tmp_path, None, since="2001-09-11T03:46:40+02:00", by="recorded")
    assert len(zoned.entries) == 2
    late = history(tmp_path, None, since="2001-09-11T03:46:41+02:00", by="recorded")
    assert len(late.entries) == 1
    assert len(history(tmp_path, None, since="2033-05-18").entries) == 4  # 2e9 s: 03:33:20 UTC
    assert history(tmp_path, None, since="2033-05-19").entries == ()
    some = history(tmp_path, None, since="2001-01-01", most=3)
    assert ([each.serial for each in some.entries], some.known) == (["A-0", "A-1", "A-2"], 4)


def test_an_instrument_since_a_moment_keeps_its_change(shop) -> None:
    """The first that is shown is still compared with the one before, which is not."""
    (found,) = history(shop / "store", since="2022-01-01", by="recorded", most=1).analyses
    assert found.entry.recorded_at.startswith("2022")
    assert found.changes[0].verdict == "better"
    none = history(shop / "store", since="2024-01-01", by="recorded")
    assert (none.analyses, none.known) == ((), 3)
    assert none.newest.recorded_at.startswith("2023")


def test_the_nearest_spellings_are_told(tmp_path) -> None:
    sessions = [session_of(f"KNOT-{n:03}") for n in range(0, 40, 2)]
    kept(tmp_path, *((each, METHOD, 1.0, False) for each in sessions))
    with pytest.raises(UnusableInputError) as caught:
        history(tmp_path, "Knot-O12")  # the letter
    line = str(caught.value)
    assert "has no serial number Knot-O12 among its 20. Look at the spelling; near to it" in line
    assert "KNOT-012" in line
    with pytest.raises(UnusableInputError, match="large and small ones are alike"):
        history(tmp_path, "~~~~~~~~~~")


def test_a_store_of_version_1_is_read(tmp_path) -> None:
    import sqlite3

    path = tmp_path / FILE_NAME
    connection = sqlite3.connect(path)
    connection.executescript((ROOT / "tests" / "lot" / "store_version_1.sql").read_text())
    connection.close()
    content = path.read_bytes()
    (found,) = history(tmp_path, "A-1").analyses
    assert found.entry.verdict == "conform"
    assert len(found.strings) == 6
    assert path.read_bytes() == content  # reading changes nothing


def test_what_is_not_analyzed_is_not_kept(tmp_path) -> None:
    with pytest.raises(ValueError, match="nothing was analyzed"):
        Bench(tmp_path / FILE_NAME, "A-1").keep()
