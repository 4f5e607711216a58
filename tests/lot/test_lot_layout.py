"""The folder of a lot becomes sessions: serial numbers, stations, files, times, URLs."""

from __future__ import annotations

import tracemalloc
from typing import Any

import fsspec
import pytest
from named_lots import AT_S, NOW_S, put

from analyzer.lot.records import Session
from analyzer.lot.sessions.fetching import local_file, local_folder, local_instrument_file, tokens
from analyzer.lot.sessions.layout import find_sessions
from analyzer.lot.sessions.place import joined, parted, token
from analyzer.recording.limits import Limits, ReadingRules

TWO = ("s6_open_1.wav", "s6_f12_1.wav")


def sessions(place, **options: Any) -> list[Session]:
    return list(find_sessions(str(place), now_s=NOW_S, **options).sessions())


def whole(tmp_path):
    """Two stations, and beside them an instrument of none."""
    names = ("line 2/B1", "line 1/A2", "line 1/A1", "C1")
    lot = put(tmp_path / "lot", (f"{name}/{file}" for name in names for file in TWO))
    return put(lot, ["lot.toml", "instrument.toml", "line 1/instrument.toml", "C1/instrument.toml"])


def test_folders_become_sessions_in_order(tmp_path) -> None:
    lot = whole(tmp_path)
    found = find_sessions(str(lot), now_s=NOW_S)
    assert (found.count, found.faults, found.warnings) == (4, (), ())
    assert found.specification_file == str(lot / "lot.toml")
    assert found.table is None
    assert sorted(found.stations()) == ["line 1", "line 2"]
    every = list(found.sessions())
    assert [(each.station, each.serial) for each in every] == [
        ("", "C1"),
        ("line 1", "A1"),
        ("line 1", "A2"),
        ("line 2", "B1"),
    ]
    assert {each.files for each in every} == {("s6_f12_1.wav", "s6_open_1.wav")}
    assert [each.place for each in every[:2]] == [str(lot / "C1"), str(lot / "line 1" / "A1")]
    assert all((each.operator, each.repeat, each.listed) == ("", 1, {}) for each in every)
    assert list(found.sessions()) == every  # as often as it is asked for


def test_nearest_instrument_file_holds(tmp_path) -> None:
    lot = whole(tmp_path)
    files = [each.instrument_file for each in sessions(lot)]
    nearest = ("C1", "line 1", "line 1", "")
    assert files == [str(lot / inner / "instrument.toml") for inner in nearest]
    given = str(put(tmp_path, ["own.toml"]) / "own.toml")
    every = sessions(lot, instrument_file=given)
    assert {each.instrument_file for each in every} == {given}


def test_without_instrument_file_there_is_none(tmp_path) -> None:
    (found,) = sessions(put(tmp_path / "lot", ["A1/s6_open_1.wav"]))
    assert found.instrument_file is None


def test_time_is_that_of_the_newest_recording(tmp_path) -> None:
    lot = put(tmp_path / "lot", ["A1/s6_open_1.wav", "A1/s6_open_2.wav"])
    put(lot, ["A1/s6_open_1.wav"], AT_S + 61.5)
    put(lot, ["A1/notes.txt"], AT_S + 3600)
    (found,) = sessions(lot)
    assert found.recorded_s == AT_S + 61.5
    assert found.recorded_at == "2031-05-17T12:31:01+00:00"


def test_place_reads_from_anywhere(tmp_path, monkeypatch) -> None:
    put(tmp_path / "lot", ["A1/s6_open_1.wav"])
    monkeypatch.chdir(tmp_path)
    (found,) = sessions("lot")
    assert found.place == str(tmp_path / "lot" / "A1")


def test_what_is_hidden_or_no_recording_is_no_instrument(tmp_path) -> None:
    shadows = [".trash/A9/s6_open_1.wav", "A1/._s6_open_1.wav", "A1/notes/list.txt", "readme.txt"]
    (found,) = sessions(put(tmp_path / "lot", [*shadows, "A1/s6_open_1.WAV"]))
    assert (found.serial, found.files) == ("A1", ("s6_open_1.WAV",))


@pytest.mark.parametrize("exclude", ["out", "line 1/out"])
def test_folder_of_the_results_is_left_alone(tmp_path, exclude) -> None:
    lot = put(tmp_path / "lot", ["line 1/A1/s6_open_1.wav", f"{exclude}/pages/x.wav"])
    found = find_sessions(str(lot), exclude=str(lot / "sub" / ".." / exclude), now_s=NOW_S)
    assert [each.serial for each in found.sessions()] == ["A1"]
    assert found.faults == ()


def test_serial_number_is_tidied(tmp_path) -> None:
    lot = put(tmp_path / "lot", ["Cafe\u0301 1 /s6_open_1.wav"])  # e and a combining acute accent
    (found,) = sessions(lot)
    assert found.serial == "Caf\u00e9 1"
    assert found.place == str(lot / "Cafe\u0301 1 ")


def test_odd_serial_numbers_are_taken_as_they_are(tmp_path) -> None:
    odd = ["#12;a", "=1+1", "100%", "a,b", "it's", "-rf", "O'Neil \u65e5\u672c", "1.wav"]
    found = sessions(put(tmp_path / "lot", (f"{name}/s6_open_1.wav" for name in odd)))
    assert sorted(each.serial for each in found) == sorted(odd)


@pytest.fixture
def memory():
    """An empty file system in memory, which fsspec calls by a URL."""
    system = fsspec.filesystem("memory")
    yield system
    system.rm("/", recursive=True)


@pytest.mark.parametrize("scheme", ["file", "memory"])
def test_url_gives_what_its_path_gives(tmp_path, memory, scheme) -> None:
    lot = whole(tmp_path)
    put(lot, ["C1/takes.csv"])
    url = f"file://{lot}" if scheme == "file" else "memory://lot"
    if scheme == "memory":
        memory.put(str(lot), "/lot", recursive=True)
    here, there = sessions(lot), sessions(url)
    assert [(s.serial, s.station, s.files) for s in there] == [
        (s.serial, s.station, s.files) for s in here
    ]
    for one, other in zip(here, there, strict=True):
        assert other.place == url + one.place[len(str(lot)) :]
        with local_folder(other) as folder:
            assert all((folder / file).read_bytes() == b"x" for file in other.files)
            assert (folder / "takes.csv").exists() == (other.serial == "C1")
            instrument = local_instrument_file(other, folder)
            assert instrument is not None
            assert instrument.read_bytes() == b"x"
        assert not folder.exists()


def test_times_of_a_url_are_those_of_its_files(tmp_path) -> None:
    (found,) = sessions(f"file://{put(tmp_path / 'lot', ['A1/s6_open_1.wav'])}")
    assert (found.recorded_s, found.recorded_at) == (AT_S, "2031-05-17T12:30:00+00:00")


def test_local_folder_is_the_folder_itself(tmp_path) -> None:
    (found,) = sessions(put(tmp_path / "lot", ["A1/s6_open_1.wav"]))
    with local_folder(found) as folder:
        assert str(folder) == found.place
    assert folder.exists()


def test_what_is_too_large_is_fetched_in_its_size_alone(tmp_path) -> None:
    lot = put(tmp_path / "lot", ["A1/s6_open_1.wav", "A1/s6_open_2.wav"])
    (lot / "A1" / "s6_open_1.wav").write_bytes(b"y" * 5000)
    (found,) = sessions(f"file://{lot}")
    with local_folder(found, ReadingRules(Limits(file_mb=0.001))) as folder:
        assert (folder / "s6_open_1.wav").read_bytes() == bytes(5000)
        assert (folder / "s6_open_2.wav").read_bytes() == b"x"


def test_what_is_gone_is_not_fetched(tmp_path) -> None:
    lot = put(tmp_path / "lot", ["A1/s6_open_1.wav", "A1/s6_open_2.wav"])
    (found,) = sessions(f"file://{lot}")
    (lot / "A1" / "s6_open_1.wav").unlink()
    with local_folder(found) as folder:
        assert [each.name for each in folder.iterdir()] == ["s6_open_2.wav"]
    assert tokens(found)["s6_open_1.wav"] == ""


@pytest.mark.parametrize("scheme", ["", "file://", "memory://"])
def test_token_changes_with_the_file_and_only_then(tmp_path, memory, scheme) -> None:
    lot = put(tmp_path / "lot", ["A1/s6_open_1.wav", "A1/s6_open_2.wav"])
    folder = "memory://lot" if scheme == "memory://" else f"{scheme}{lot}"
    if scheme == "memory://":
        memory.put(str(lot), "/lot", recursive=True)
    (found,) = sessions(folder)
    before = tokens(found)
    assert all(before.values())
    assert tokens(found) == before
    name = joined(found.place, "s6_open_1.wav")
    with fsspec.open(name, "wb") as file:
        file.write(b"y")  # as long as before
    after = tokens(found)
    assert after["s6_open_1.wav"] != before["s6_open_1.wav"]
    assert after["s6_open_2.wav"] == before["s6_open_2.wav"]
    assert token(name) == after["s6_open_1.wav"]


def test_local_file_keeps_its_name_and_its_folder(tmp_path) -> None:
    put(tmp_path / "week 12", ["lot.toml"])
    with local_file(f"file://{tmp_path}/week 12/lot.toml") as path:
        assert (path.parent.name, path.name) == ("week 12", "lot.toml")
        assert path.read_bytes() == b"x"
    with local_file(str(tmp_path / "week 12" / "lot.toml")) as path:
        assert path == tmp_path / "week 12" / "lot.toml"


def test_urls_in_urls_are_joined_where_they_belong() -> None:
    place = joined("zip://lot::file:///all.zip", "A1")
    assert place == "zip://lot/A1::file:///all.zip"
    assert parted(place) == ("zip://lot::file:///all.zip", "A1")


def peak_bytes(lot) -> int:
    tracemalloc.start()
    found = find_sessions(str(lot), now_s=NOW_S)
    assert sum(len(each.files) for each in found.sessions()) == found.count * 2
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak


def test_memory_does_not_grow_with_the_lot(tmp_path) -> None:
    few = put(tmp_path / "few", (f"A{n}/{file}" for n in range(400) for file in TWO))
    many = put(tmp_path / "many", (f"A{n}/{file}" for n in range(1800) for file in TWO))
    peak_bytes(many)  # what is imported on the way, and the lists of free objects that Python keeps
    # 1400 sessions more; each would take some 600 bytes, and its serial number alone 60.
    assert peak_bytes(many) - peak_bytes(few) < 1400 * 50
