"""Disks that are full, quotas that are used up, places and files without permission."""

from __future__ import annotations

import resource
import shutil
import signal
import subprocess
from pathlib import Path

import pytest
from forked import forked, is_refusal
from made_lots import made_lot
from rights import lay_down, permissions_count
from two_rounds import BEFORE, write_round

from analyzer.lot.store import FILE_NAME, open_store

FULL = Path("/dev/full")
FILES = {
    "--json": "r.json",
    "--csv": "r.csv",
    "--recordings-csv": "t.csv",
    "--xlsx": "r.xlsx",
    "--html": "r.html",
    "--letter": "letter.md",
}
needs_full = pytest.mark.skipif(not FULL.exists(), reason="no /dev/full on this system")


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    return write_round(tmp_path_factory.mktemp("made") / "round", BEFORE)


@pytest.fixture(scope="module")
def lot(tmp_path_factory) -> Path:
    made = made_lot(tmp_path_factory.mktemp("made") / "lot", 2, tuning=("A2",), rate_hz=11_025)
    return made.folder


def files_of(place: Path) -> list[str]:
    return sorted(each.name for each in place.iterdir())


def at_most(size_bytes: int):
    """No file may become larger: the system's own limit, which acts as a quota does."""

    def limit() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (size_bytes, resource.RLIM_INFINITY))

    return limit


@needs_full
@pytest.mark.parametrize("option", FILES)
def test_a_full_device_for_an_output(folder, called, option) -> None:
    done = called("analyze", folder, "--jobs", 1, option, FULL)
    is_refusal(done, "/dev/full: cannot be written (No space left on device). Give the name of")
    assert "2 of 2 strings have a result" in done.out


@pytest.mark.parametrize("option", FILES)
def test_a_quota_that_is_used_up_by_an_output(folder, tmp_path, option) -> None:
    """What stood there stays whole, and the other output is written."""
    place, other = tmp_path / FILES[option], tmp_path / "other.txt"
    place.write_text("from before", encoding="utf-8")
    words = ("analyze", folder, "--jobs", 1, option, place, "--request", other)
    done = forked(*words, prepare=at_most(150))
    is_refusal(done, f"{place}: cannot be written (File too large)")
    assert place.read_text(encoding="utf-8") == "from before"
    assert files_of(tmp_path) == sorted([FILES[option], "other.txt"])


def test_a_quota_that_is_used_up_by_the_figures(folder, tmp_path) -> None:
    done = forked("analyze", folder, "--plots", tmp_path, "--jobs", 1, prepare=at_most(150))
    is_refusal(done, str(tmp_path), "cannot be written (File too large)")
    assert files_of(tmp_path) == []


def test_a_quota_that_is_used_up_by_the_store_of_the_shop(folder, tmp_path) -> None:
    words = ("analyze", folder, "--store", tmp_path / "shop", "--serial", "D-7", "--jobs", 1)
    assert forked(*words).code == 0
    done = forked(*words[:-3], "D-8", "--jobs", 1, "--a4", 441, prepare=at_most(8192))
    is_refusal(done, FILE_NAME, "free space, then run again: what was finished is kept.")
    with open_store(tmp_path / "shop" / FILE_NAME, create=False, read_only=True) as store:
        assert len(store.history_of("D-7")) == 1


def test_a_quota_that_is_used_up_in_the_middle_of_a_lot(lot, tmp_path) -> None:
    words = ("lot", lot, "--out", tmp_path, "--jobs", 1, "-q")
    is_refusal(forked(*words, prepare=at_most(150_000)), FILE_NAME)
    assert files_of(tmp_path) in ([FILE_NAME], [])
    assert forked(*words).code == 0
    with open_store(tmp_path / FILE_NAME, create=False, read_only=True) as store:
        assert [len(store.history_of(each)) for each in ("P00001", "P00002")] == [1, 1]


@pytest.fixture
def full_disk(tmp_path):
    """A file system without room for another page, where one may be made."""
    place, mount, umount = tmp_path / "disk", shutil.which("mount"), shutil.which("umount")
    place.mkdir()
    made = [str(mount), "-t", "tmpfs", "-o", "size=64k", "tmpfs", str(place)]
    if mount is None or umount is None:
        pytest.skip("no mount here")
    if subprocess.run(made, capture_output=True, check=False).returncode:
        pytest.skip("no file system may be mounted here")
    with pytest.raises(OSError, match="No space left"), (place / "film").open("wb") as film:
        film.write(bytes(2**20))
    yield place
    subprocess.run([umount, "--lazy", str(place)], check=True)


@pytest.mark.parametrize("option", FILES)
def test_a_full_disk_for_an_output(folder, full_disk, called, option) -> None:
    done = called("analyze", folder, "--jobs", 1, option, full_disk / FILES[option])
    is_refusal(done, f"{FILES[option]}: cannot be written (No space left on device)")
    assert files_of(full_disk) == ["film"]


def test_a_full_disk_for_a_lot(lot, full_disk, called) -> None:
    done = called("lot", lot, "--out", full_disk / "out", "--jobs", 1)
    is_refusal(done, FILE_NAME, "disk", "Free some space")


@pytest.mark.parametrize("option", [*FILES, "--plots"])
def test_a_folder_without_permission_to_write(folder, tmp_path, option) -> None:
    """Said before anything is measured."""
    place = tmp_path / "closed"
    place.mkdir(mode=0o555)
    words = ("analyze", folder, option, place / FILES.get(option, "figures"))
    done = forked(*words, prepare=lay_down)
    is_refusal(done, f"{place}", "(Permission denied). Give ")
    assert (done.out, files_of(place)) == ("", [])


def test_a_file_without_permission_to_write(folder, tmp_path) -> None:
    place = tmp_path / "r.json"
    place.write_text("kept", encoding="utf-8")
    place.chmod(0o444)
    done = forked("analyze", folder, "--json", place, prepare=lay_down)
    is_refusal(done, "r.json: cannot be written (Permission denied)")
    assert place.read_text(encoding="utf-8") == "kept"


def test_a_recording_without_permission_to_read(folder, called, tmp_path) -> None:
    shutil.copytree(folder, tmp_path / "copy")
    (tmp_path / "copy" / "s2_open_2.wav").chmod(0)
    with permissions_count():
        done = called("analyze", tmp_path / "copy", "--jobs", 1)
    assert (done.code, done.err) == (1, "")
    said = " ".join(done.out.split())
    assert "Left out: s2_open_2.wav: cannot be read (Permission denied). Check its perm" in said
    assert "2 of 2 strings have a result" in said


@pytest.mark.parametrize("name", ["instrument.toml", "takes.csv", "before.json", "."])
def test_an_input_without_permission_to_read(folder, called, tmp_path, name) -> None:
    copy = tmp_path / "copy"
    shutil.copytree(folder, copy)
    (copy / name).touch()
    (copy / name).chmod(0)
    previous = ["--previous", copy / name] if name.endswith("json") else []
    try:
        with permissions_count():
            is_refusal(called("analyze", copy, "--jobs", 1, *previous), "(Permission denied)")
    finally:
        copy.chmod(0o755)


@pytest.mark.parametrize("command", ["lot", "watch", "station"])
def test_results_that_go_where_nothing_may_be_written(lot, called, tmp_path, command) -> None:
    (tmp_path / "closed").mkdir(mode=0o555)
    place = lot / "P00001" if command == "station" else lot
    named = ["--station", "1"] if command == "station" else []
    into = "--store" if command == "station" else "--out"
    with permissions_count():
        done = called(command, place, into, tmp_path / "closed" / "out", *named)
    is_refusal(done, str(tmp_path / "closed"), "(Permission denied)")
    signal.signal(signal.SIGINT, signal.default_int_handler)  # which watch has taken
    signal.signal(signal.SIGTERM, signal.SIG_DFL)


def test_a_store_without_permission_to_read(lot, called, tmp_path) -> None:
    open_store(tmp_path / FILE_NAME, create=True).close()
    (tmp_path / FILE_NAME).chmod(0)
    with permissions_count():
        for words in (("history", "A-1", "--store", tmp_path), ("lot", lot, "--out", tmp_path)):
            is_refusal(called(*words), FILE_NAME, "(Permission denied)")


def test_an_instrument_of_a_lot_without_permission(lot, called, tmp_path) -> None:
    """It costs that instrument; the other is measured and kept."""
    shutil.copytree(lot, tmp_path / "lot")
    (tmp_path / "lot" / "P00001").chmod(0)
    try:
        with permissions_count():
            done = called("lot", tmp_path / "lot", "--out", tmp_path / "out", "--jobs", 1)
    finally:
        (tmp_path / "lot" / "P00001").chmod(0o755)
    assert (done.code, done.err) == (1, "")
    assert "P00001: cannot be listed (Permission denied)" in " ".join(done.out.split())
    with open_store(tmp_path / "out" / FILE_NAME, create=False, read_only=True) as store:
        assert len(store.history_of("P00002")) == 1
