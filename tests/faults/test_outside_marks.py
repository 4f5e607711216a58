"""A check in tests/outside that does not say its source stops all; the others are counted."""

from __future__ import annotations

import shutil
import subprocess
import sys

import pytest
from conftest import ROOT

FAULTY = """
import pytest

def test_none():
    assert True

@pytest.mark.source("A book", "well known", "signs")
def test_mark():
    assert True

@pytest.mark.source("A book", "standard")
def test_two():
    assert True

@pytest.mark.source(" ", "standard", "signs")
def test_empty():
    assert True
"""
GOOD = """
import pytest

pytestmark = pytest.mark.source("A handbook, long enough a title " * 4, "standard", "lengths " * 9)

def test_right():
    assert True

def test_wrong():
    assert False

@pytest.mark.skip(reason="no recordings")
def test_left_out():
    assert True

@pytest.mark.source("The trade", "common practice", "signs")
@pytest.mark.parametrize("n", [1, 2])
def test_own(n):
    assert n
"""


@pytest.fixture
def outside(tmp_path):
    """Run pytest over a folder with the conftest of tests/outside and one test module."""

    def call(text: str) -> subprocess.CompletedProcess[str]:
        shutil.copy(ROOT / "tests" / "outside" / "conftest.py", tmp_path)
        (tmp_path / "test_it.py").write_text(text, encoding="utf-8")
        words = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "."]
        return subprocess.run(words, cwd=tmp_path, capture_output=True, text=True, check=False)

    return call


def test_a_check_without_source_or_mark_stops_the_collection(outside) -> None:
    done = outside(FAULTY)
    assert done.returncode == pytest.ExitCode.USAGE_ERROR
    for fault in (
        "test_none: has no pytest.mark.source(source, mark, held)",
        "test_mark: has the mark 'well known'. Give one of: standard, published example, ",
        "test_two: must say source, mark and what is held against it",
        "test_empty: must say source, mark and what is held against it",
    ):
        assert f"test_it.py::{fault}" in done.stdout + done.stderr
    assert "passed" not in done.stdout


def test_the_table_counts_what_passed_failed_and_was_skipped(outside) -> None:
    done = outside(GOOD)
    assert done.returncode == pytest.ExitCode.TESTS_FAILED
    table = done.stdout[done.stdout.index("held against the outside") :].splitlines()
    assert max(map(len, table)) <= 80
    rows = [line.split() for line in table]
    assert [row for row in rows if row[:1] == ["standard"] and row[-2:] == ["3", "1"]]
    assert ["common", "practice", "signs", "2", "2"] in rows
    assert "5 checks of 2 sources, 3 passed, 1 skipped" in table
