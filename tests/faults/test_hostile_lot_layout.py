"""Folders of lots that are not as they should be: one line each, and the rest goes on."""

from __future__ import annotations

import builtins
import os
import sqlite3
from typing import Any

import pytest
from named_lots import AT_S, NOW_S, put
from rights import permissions_count

from analyzer.errors import UnusableInputError
from analyzer.lot.records import Session
from analyzer.lot.sessions import catalogue, place
from analyzer.lot.sessions.fetching import local_file, local_folder
from analyzer.lot.sessions.layout import Layout, find_sessions
from analyzer.recording.limits import Limits, ReadingRules

UNTRUSTED = ReadingRules(untrusted=True)
GOOD = "good/s6_open_1.wav"
links = pytest.mark.skipif(os.name == "nt", reason="links need a right there")


def found(lot, **options: Any) -> Layout:
    return find_sessions(str(lot), now_s=NOW_S, **options)


def only_fault(lot, **options: Any) -> str:
    """The one fault of a lot whose session ``good`` goes on."""
    layout = found(lot, **options)
    assert [each.serial for each in layout.sessions()] == ["good"]
    assert layout.count == 1
    (fault,) = layout.faults
    line = f"{fault.where}: {fault.reason}"
    assert "\n" not in line
    assert line.endswith(".")
    return line.replace(f"{lot}{os.sep}", "", 1)


def refused(lot, **options: Any) -> str:
    with pytest.raises(UnusableInputError) as error:
        found(lot, **options)
    return str(error.value)


def test_no_such_folder(tmp_path) -> None:
    assert "does not exist. Give a folder of recordings" in refused(tmp_path / "no")
    assert "does not exist" in refused("lot\0")


def test_empty_lot(tmp_path) -> None:
    assert "holds no folder of an instrument. Put the recordings of each" in refused(tmp_path)
    put(tmp_path, ["lot.toml", "readme.txt", ".hidden/A1/s6_open_1.wav"])
    assert "holds no folder of an instrument" in refused(tmp_path)


def test_neither_folder_nor_table(tmp_path) -> None:
    put(tmp_path, ["lot.xlsx"])
    line = refused(tmp_path / "lot.xlsx")
    assert "is neither a folder nor a table. Give a folder, or .csv, .tsv, .parquet." in line


def test_only_loose_recordings(tmp_path) -> None:
    lot = put(tmp_path / "lot", (f"s6_open_{n}.wav" for n in range(5)))
    line = refused(lot)
    assert "belong to no instrument: s6_open_0.wav, s6_open_1.wav, s6_open_2.wav and 2 more" in line
    assert "if they are of one instrument: pluckcheck analyze FOLDER." in line


def test_loose_recordings_beside_instruments(tmp_path) -> None:
    lot = put(tmp_path / "lot", ["s6_open_1.wav", GOOD])
    line = only_fault(lot)
    assert "holds recordings that belong to no instrument: s6_open_1.wav. Put the rec" in line
    assert "into a folder named by its serial number." in line


def test_folder_without_a_recording(tmp_path) -> None:
    lot = put(tmp_path / "lot", [GOOD, "A1/._s6_open_1.wav", "A1/notes.txt"])
    assert only_fault(lot) == "A1: holds no recording. Record it again, or delete the folder."


def test_only_folders_without_a_recording(tmp_path) -> None:
    (tmp_path / "A1").mkdir()
    (tmp_path / "line 1" / "B1").mkdir(parents=True)
    layout = found(tmp_path)
    assert layout.count == 0
    assert {each.where for each in layout.faults} == {
        str(tmp_path / "A1"),
        str(tmp_path / "line 1" / "B1"),
    }


@pytest.mark.parametrize(
    ("file", "named"),
    [
        ("a/b/c/s6_open_1.wav", "a/b/c"),
        ("a/b/c/d/e/s6_open_1.wav", "a/b/c/d/e"),
        ("good/again/s6_open_1.wav", "good/again"),  # beside recordings that are read
    ],
)
def test_too_deep(tmp_path, file, named) -> None:
    line = only_fault(put(tmp_path / "lot", [GOOD, file]))
    assert line.startswith(f"{named}: holds recordings too deep to belong anywhere. Keep to FOLDER")


def test_ten_thousand_files_are_not_even_looked_at(tmp_path, monkeypatch) -> None:
    lot = put(tmp_path / "lot", [GOOD])
    (lot / "many").mkdir()
    for number in range(10_000):
        (lot / "many" / f"s6_open_{number}.wav").touch()
    looked_at = []
    from_entry = place._local_entry
    monkeypatch.setattr(place, "_local_entry", lambda e: looked_at.append(e) or from_entry(e))
    assert only_fault(lot).startswith("many: holds more than 500 recordings. Give a folder of one")
    assert len(looked_at) < 600


def test_limit_of_files_is_the_rules(tmp_path) -> None:
    lot = put(tmp_path / "lot", [GOOD, *(f"A1/s6_open_{n}.wav" for n in range(3))])
    assert found(lot, rules=ReadingRules(Limits(files=3))).faults == ()
    assert "more than 2 recordings" in only_fault(lot, rules=ReadingRules(Limits(files=2)))


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("A1", "line 2/A1"),
        ("line 1/A1", "line 2/A1"),
        ("line 1/A1", "line 2/a1"),
        ("line 1/A1", "line 2/ A1 "),
        ("line 1/caf\u00e9", "line 2/CAFE\u0301"),
        ("line 1/Stra\u00dfe", "line 2/STRASSE"),
    ],
)
def test_one_serial_number_twice_costs_both(tmp_path, one, other) -> None:
    lot = put(tmp_path / "lot", [GOOD, f"{one}/s6_open_1.wav", f"{other}/s6_open_1.wav"])
    layout = found(lot)
    assert [each.serial for each in layout.sessions()] == ["good"]
    first, second = (each.reason for each in sorted(layout.faults, key=lambda each: each.where))
    assert f"is the same serial number as {lot / other}. Rename" in first
    assert f"is the same serial number as {lot / one}. Rename" in second
    assert "list the files in lot.csv with repeat 1, 2 and so on." in second


def test_one_serial_number_many_times_stays_one_line(tmp_path) -> None:
    names = (f"line {n}/A1/s6_open_1.wav" for n in range(9))
    faults = found(put(tmp_path / "lot", [GOOD, *names])).faults
    assert len(faults) == 9
    assert all(
        each.reason.count("A1") == 3 and "and 5 more. Rename" in each.reason for each in faults
    )


@links
@pytest.mark.parametrize("inner", [b"A\xff1", b"line 1/A\xff1", b"line\xff1/A1"])
def test_folder_name_that_is_no_text(tmp_path, inner) -> None:
    lot = put(tmp_path / "lot", [GOOD, f"{os.fsdecode(inner)}/s6_open_1.wav"])
    line = only_fault(lot)
    assert "it is not UTF-8. Rename the folder." in line
    assert "\\udcff1" in line


@links
def test_file_name_that_is_no_text(tmp_path) -> None:
    lot = put(tmp_path / "lot", [GOOD, "A1/s6_open_1.wav", os.fsdecode(b"A1/\xff.wav")])
    assert only_fault(lot) == "A1/\\udcff.wav: has a name that is not UTF-8. Rename the file."


@links
def test_lot_whose_name_is_no_text(tmp_path) -> None:
    lot = put(tmp_path / os.fsdecode(b"lot\xff"), ["A1/s6_open_1.wav"])
    assert refused(lot).endswith("lot\\udcff: has a name that is not UTF-8. Rename the folder.")


@links
@pytest.mark.parametrize("name", ["a\nb", "a\x1b[31m", "a\tb", "a\u202eb", "\u2028"])
def test_name_that_a_terminal_would_obey(tmp_path, name) -> None:
    line = only_fault(put(tmp_path / "lot", [GOOD, f"{name}1/s6_open_1.wav"]))
    assert "it holds characters that cannot be printed" in line
    assert line.isprintable()


def test_name_that_is_too_long_or_nothing(tmp_path) -> None:
    lot = put(tmp_path / "long", [GOOD, f"{'a' * 201}/s6_open_1.wav"])
    assert "it has more than 200 characters. Rename the folder." in only_fault(lot)
    lot = put(tmp_path / "blank", [GOOD, " /s6_open_1.wav"])
    assert "is no name of a serial number: it is empty" in only_fault(lot)


@pytest.mark.parametrize("inner", ["A1", "line 1/A1"])
def test_folder_that_cannot_be_listed(tmp_path, monkeypatch, inner) -> None:
    lot = put(tmp_path / "lot", [GOOD, f"{inner}/s6_open_1.wav"])
    scandir = os.scandir

    def denied(path) -> object:
        if str(path) == str(lot / inner):
            raise PermissionError(13, "Permission denied", str(path))
        return scandir(path)

    monkeypatch.setattr(os, "scandir", denied)
    line = only_fault(lot)
    assert line == (
        f"{inner}: cannot be listed (Permission denied). Check the path and its permissions."
    )


def test_folder_that_the_system_refuses_to_list(tmp_path) -> None:
    lot = put(tmp_path / "lot", [GOOD, "A1/s6_open_1.wav"])
    (lot / "A1").chmod(0)
    try:
        with permissions_count():
            assert "A1: cannot be listed (Permission denied)" in only_fault(lot)
    finally:
        (lot / "A1").chmod(0o700)


@links
def test_link_that_leads_nowhere(tmp_path) -> None:
    lot = put(tmp_path / "lot", [GOOD])
    (lot / "A1").symlink_to(tmp_path / "gone")
    assert only_fault(lot) == "A1: is a link that leads nowhere. Mend or delete it."


@links
def test_links_are_followed_only_for_whom_is_trusted(tmp_path) -> None:
    lot = put(tmp_path / "lot", [GOOD])
    (lot / "A1").symlink_to(put(tmp_path / "other", ["s6_open_1.wav"]))
    assert [each.serial for each in found(lot).sessions()] == ["A1", "good"]
    line = only_fault(lot, rules=UNTRUSTED)
    assert line.startswith("A1: is a link to a place outside its folder. Put the file itself")


@links
def test_link_to_the_lot_itself_ends(tmp_path) -> None:
    lot = put(tmp_path / "lot", [GOOD])
    (lot / "round").symlink_to(lot)
    layout = found(lot)  # good, and round/good: one serial number twice
    assert layout.count == 0
    assert len(layout.faults) == 3  # and round/round, which holds recordings too deep


@links
@pytest.mark.parametrize("inner", ["A1", "line 1"])
def test_instrument_file_of_a_stranger_leads_outside(tmp_path, inner) -> None:
    lot = put(tmp_path / "lot", [GOOD, f"{inner}/s6_open_1.wav"])
    if inner == "line 1":
        (lot / inner / "s6_open_1.wav").unlink()
        put(lot, [f"{inner}/A1/s6_open_1.wav"])
    (lot / inner / "instrument.toml").symlink_to(put(tmp_path, ["secret"]) / "secret")
    line = only_fault(lot, rules=UNTRUSTED)
    assert line.startswith(f"{inner}/instrument.toml: is a link to a place outside its folder")


@links
@pytest.mark.parametrize("name", ["instrument.toml", "lot.toml", "lot.csv"])
def test_what_holds_for_all_leads_outside(tmp_path, name) -> None:
    lot = put(tmp_path / "lot", [GOOD])
    (lot / name).symlink_to(put(tmp_path, ["secret"]) / "secret")
    assert "is a link to a place outside its folder" in refused(lot, rules=UNTRUSTED)


def test_instrument_file_that_is_not_there(tmp_path) -> None:
    lot = put(tmp_path / "lot", [GOOD])
    line = refused(lot, instrument_file=str(tmp_path / "no.toml"))
    assert "no.toml: is no file. Give an instrument file." in line


def test_two_tables(tmp_path) -> None:
    lot = put(tmp_path / "lot", [GOOD, "lot.csv", "lot.parquet"])
    assert "holds lot.csv and lot.parquet. Keep one table." in refused(lot)


def test_times_in_the_future(tmp_path) -> None:
    lot = put(tmp_path / "lot", [GOOD])
    put(lot, ["A1/s6_open_1.wav", "A2/s6_open_1.wav"], NOW_S + 3600)
    (warning,) = found(lot).warnings
    assert "2031-06-01T01:00:00+00:00 lies in the future, and so 1 more times. Check the" in warning
    put(lot, ["A1/s6_open_1.wav", "A2/s6_open_1.wav"], NOW_S + 60)
    assert found(lot).warnings == ()


def test_time_beyond_any_calendar(tmp_path, monkeypatch) -> None:
    lot = put(tmp_path / "lot", [GOOD])
    monkeypatch.setattr(place.Entry, "modified_s", lambda _: 1e300)
    (session,) = found(lot).sessions()
    assert (session.recorded_at, session.recorded_s) == (None, None)


def test_no_room_for_temporary_files(tmp_path, monkeypatch) -> None:
    lot = put(tmp_path / "lot", [GOOD])

    def full(*_: object) -> None:
        raise sqlite3.OperationalError("database or disk is full")

    monkeypatch.setattr(catalogue.Catalogue, "add_files", full)
    line = refused(lot)
    assert "the folder for temporary files gives no room (database or disk is full)" in line
    assert "set TMPDIR" in line


def test_url_without_its_library(tmp_path, monkeypatch) -> None:
    real = builtins.__import__

    def without(name, *rest: object) -> object:
        if name.startswith("fsspec"):
            raise ImportError(name)
        return real(name, *rest)

    monkeypatch.setattr(builtins, "__import__", without)
    line = refused(f"file://{tmp_path}")
    assert "is a URL, and fsspec, which reads it, is not installed. Install it with: " in line
    assert "pip install 'pluckcheck[cluster]'" in line


def test_url_of_a_kind_nobody_knows() -> None:
    assert "cannot be opened (Protocol not known: nope" in refused("nope://bucket/lot")


def test_url_of_nothing(tmp_path) -> None:
    assert "does not exist" in refused(f"file://{tmp_path}/no")


def test_file_system_that_fails_as_it_likes(tmp_path, monkeypatch) -> None:
    lot = put(tmp_path / "lot", [GOOD])
    session = next(found(f"file://{lot}").sessions())
    from fsspec.implementations.local import LocalFileSystem

    class NobodyKnowsError(Exception):
        pass

    def fails(*_: object, **__: object) -> None:
        raise NobodyKnowsError("no route")

    monkeypatch.setattr(LocalFileSystem, "get_file", fails)
    with pytest.raises(UnusableInputError, match=r"cannot be fetched \(NobodyKnowsError: no route"):
        local_folder(session).__enter__()
    with pytest.raises(UnusableInputError, match="cannot be fetched"):
        local_file(f"file://{lot}/{GOOD}").__enter__()


def test_name_that_would_leave_the_temporary_folder(tmp_path) -> None:
    put(tmp_path, ["lot/A1/s6_open_1.wav", "lot/s6_open_1.wav"])
    session = Session("A1", f"file://{tmp_path}/lot/A1", ("../s6_open_1.wav",))
    with pytest.raises(UnusableInputError, match="is a name that leads out of its folder"):
        local_folder(session).__enter__()


def test_fault_costs_nobody_else(tmp_path) -> None:
    put(tmp_path / "lot", [f"A{n}/s6_open_1.wav" for n in range(20)], AT_S)
    for number in range(0, 20, 2):
        (tmp_path / "lot" / f"A{number}" / "s6_open_1.wav").unlink()
    layout = found(tmp_path / "lot")
    assert (layout.count, len(layout.faults)) == (10, 10)
