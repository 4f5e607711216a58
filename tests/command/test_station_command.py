"""``pluckcheck station``: exit codes, what is printed where, its JSON, and input that is broken."""

from __future__ import annotations

import json

import numpy as np
import pytest
from conftest import Called
from jsonschema import Draft202012Validator
from made_checks import tone, written

from analyzer.lot.store import FILE_NAME
from analyzer.schemas import schema_text

FIRST = "2026-01-{:02}T08:00:00Z"


@pytest.fixture
def station(called, tmp_path):
    def call(recording, day, *more: object) -> Called:
        at = FIRST.format(day)
        place = ("--store", tmp_path / "kept", "--station", "bench-1", "--at", at)
        return called("station", recording, *place, "--baseline", 5, *more)

    return call


@pytest.fixture
def days(station, tmp_path):
    """Six checks of a station that is as it was."""
    rng = np.random.default_rng(1)
    for day in range(1, 7):
        samples = tone(440 * (1 + 1e-6 * rng.standard_normal()), length_s=4.0, seed=day)
        called = station(written(tmp_path / f"{day}.wav", samples), day, "--tone", 440)
        assert called.code == 0, called.err
    return called


def test_as_before_changed_and_not_measured_have_their_codes(days, station, tmp_path) -> None:
    assert days.out.splitlines()[-1].startswith("As before: ")
    fast = written(tmp_path / "fast.wav", tone(clock_ppm=100, length_s=4.0))
    changed = station(fast, 8, "--tone", 440)
    assert changed.code == 1
    assert "\nChanged: pitch: -0.173" in changed.out  # 1200 log2(1 / 1.0001) = -0.17312
    wrong = station(fast, 9, "--tone", 432)
    assert wrong.code == 1
    assert "\nNot measured: has its strongest tone near 439.96 Hz" in wrong.out
    for each in (days, changed, wrong):
        assert each.err == ""


def test_the_json_keeps_its_schema(days, station, tmp_path) -> None:
    schema = json.loads(schema_text("station"))
    Draft202012Validator.check_schema(schema)
    fast = written(tmp_path / "fast.wav", tone(clock_ppm=100, length_s=4.0))
    empty = written(tmp_path / "empty.wav", np.zeros(200_000))
    for day, each in enumerate((tmp_path / "6.wav", fast, empty), 6):
        found = station(each, day, "--tone", 440, "--tolerance-cents", 0.1, "--json", "-")
        body = json.loads(found.out)
        Draft202012Validator(schema).validate(body)
    assert body["verdict"] == "not measured"
    assert days.code == 0


def test_it_fits_a_narrow_terminal_and_plain_text(days, station, tmp_path, monkeypatch) -> None:
    monkeypatch.setenv("COLUMNS", "60")
    found = station(tmp_path / "6.wav", 6, "--tone", 440)
    assert max(map(len, found.out.splitlines())) <= 60
    assert "pitch: " in found.out
    assert days.code == 0


def test_quiet_prints_nothing(days, station, tmp_path) -> None:
    assert station(tmp_path / "6.wav", 6, "--tone", 440, "--quiet").out == ""
    assert days.code == 0


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--tone", "a"), "give one in hertz"),
        (("--tone", "nan"), "--tone"),
        (("--tone", 440, "--tolerance-cents", "x"), "give one in cents"),
        (("--tone", 440, "--baseline", "1.5"), "no whole number"),
        ((), "of which tone is not said"),
        (("--tone", 440, "--json", "DIR"), "lot.sqlite"),
    ],
)
@pytest.mark.fault("wrong options of a station check")
def test_wrong_words_are_one_line(station, tmp_path, words, said) -> None:
    path = written(tmp_path / "a.wav", tone(length_s=4.0))
    written(tmp_path / "kept" / "x.wav", tone(length_s=4.0))
    (tmp_path / "kept" / FILE_NAME).touch()
    given = [tmp_path / "kept" / FILE_NAME if each == "DIR" else each for each in words]
    found = station(path, 1, *given)
    assert found.code == 2
    assert said in found.err
    assert found.err.count("\n") == 1
    assert found.out == ""


@pytest.mark.fault("a station check with a wrong place")
def test_places_that_are_wrong_are_one_line(station, tmp_path) -> None:
    text = tmp_path / "text.wav"
    text.write_text("no sound")
    found = station(tmp_path / "nothing.wav", 1, "--tone", 440)
    assert (found.code, found.err.count("\n")) == (2, 1)
    assert "does not exist" in found.err
    found = station(tmp_path, 1, "--tone", 440)
    assert (found.code, found.err.count("\n")) == (2, 1)
    assert "is a folder" in found.err
    found = station(text, 1, "--tone", 440)
    assert found.code == 1
    assert found.out.splitlines()[-1].startswith("Not measured: ")
    store = tmp_path / "kept" / FILE_NAME
    store.write_bytes(b"no database" * 100)
    found = station(text, 1, "--tone", 440)
    assert (found.code, found.err.count("\n")) == (2, 1)
    assert FILE_NAME in found.err
