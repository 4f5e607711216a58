"""``pluckcheck inspect`` at the terminal: widths, pipes, exit codes, what cannot be inspected."""

from __future__ import annotations

import io
import json
import os
import re

import numpy as np
import pytest
import soundfile
from conftest import ROOT, SAMPLE_AUDIO
from jsonschema import Draft202012Validator
from pluck_model import PluckModel, recording
from rich.console import Console

from analyzer.inspection.dots import Canvas, bars, line_places, resampled
from analyzer.inspection.files import inspection_as_json
from analyzer.inspection.look import inspect_recording
from analyzer.inspection.model import PluckList
from analyzer.inspection.terminal import TerminalInspection, TerminalPlucks
from analyzer.page.scale import Scale
from analyzer.schemas import schema_text

DEMO = SAMPLE_AUDIO / "own_saddles" / "s6_open_1.wav"
ESCAPE = "\x1b"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("inspect")
    rng = np.random.default_rng(6)
    pluck = recording(PluckModel(82.407), rng)
    for name, samples in (
        ("s6_open_1.wav", pluck),
        ("s1_open_1.wav", pluck),
        ("noise.wav", 0.1 * rng.standard_normal(2 * 44100)),
        ("whole.wav", np.concatenate([pluck, recording(PluckModel(110.0), rng)])),
        (f"s6 {ESCAPE}[31mred\n<b>.wav", recording(PluckModel(82.407), rng, snr_db=9)),
    ):
        soundfile.write(place / name, samples, 44100)
    (place / "text.wav").write_text("hello")
    (place / "empty.wav").touch()
    return place


def shown(found, columns: int, encoding: str) -> str:
    """What a terminal of this width and encoding, or a pipe, is given."""
    stream = io.TextIOWrapper(io.BytesIO(), encoding=encoding)
    whole = TerminalPlucks if isinstance(found, PluckList) else TerminalInspection
    Console(file=stream, width=columns, highlight=False).print(whole(found))
    stream.flush()
    return stream.buffer.getvalue().decode(encoding)


@pytest.mark.parametrize("columns", [60, 80])
@pytest.mark.parametrize("encoding", ["utf-8", "ascii"])
def test_it_fits_the_terminal(folder, columns, encoding) -> None:
    readable = [each for each in folder.iterdir() if each.stem not in {"text", "empty"}]
    for path in (DEMO, *readable):
        text = shown(inspect_recording(path), columns, encoding)  # ascii raises for what it has not
        lines = text.splitlines()
        assert max(map(len, lines)) <= columns
        assert len(lines) > 8
        assert ESCAPE not in text


def test_it_tells_in_ascii_what_it_tells_in_unicode(run) -> None:
    env = {**os.environ, "COLUMNS": "60", "PYTHONIOENCODING": "ascii"}
    told = run("inspect", DEMO, env=env)
    assert (told.returncode, told.stderr) == (0, "")
    assert told.stdout.isascii()
    assert "\\" not in told.stdout  # no escape stands for what could not be shown
    assert re.search(r"Settled pitch +82\.264\d* \+/- 0\.000\d+ Hz", told.stdout)


def test_what_it_tells(called) -> None:
    told = called("inspect", DEMO)
    assert told.code == 0
    assert told.out.startswith("s6_open_1.wav\nUsed: nothing to hold against it.\n")
    # The demo's string is 3 cents flat of E2 (truth.csv, which the script that made it wrote).
    assert re.search(r"Settled pitch +82\.264\d* ± 0\.000\d+ Hz", told.out)
    assert re.search(r"Nearest note +E2 −3\.00 cents", told.out)
    for word in ("Glide", "Drift", "Late slope", "Beating", "Stiffness B", "Misfit", "Early part",
                 "Settled part", "vibrato", "Weight"):  # fmt: skip
        assert word in told.out
    assert re.search(r"^ +2 +164\.5\d+ ", told.out, re.MULTILINE)


def test_exit_codes_and_reasons(called, folder) -> None:
    for name, code, said in (
        ("s6_open_1.wav", 0, "Used"),
        ("s1_open_1.wav", 1, "Rejected: it promises string 1 open"),
        ("noise.wav", 1, "Rejected: it"),
        ("whole.wav", 0, "--pluck"),
    ):
        told = called("inspect", folder / name)
        assert (told.code, told.err) == (code, "")
        assert said in told.out


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("text.wav", "cannot be read as sound"),
        ("empty.wav", "is empty"),
        ("none.wav", "does not exist"),
        ("", "is a folder"),
        ("s6_open_1.wav/x", "cannot be read"),
    ],
)
@pytest.mark.parametrize("more", [(), ("--json", "-")])
@pytest.mark.fault("what cannot be inspected")
def test_what_cannot_be_inspected_is_one_line(called, folder, name, said, more) -> None:
    told = called("inspect", f"{folder}/{name}", *more)
    assert (told.code, told.out) == (2, "")
    assert told.err.count("\n") == 1
    assert told.err.startswith("pluckcheck: ")
    assert said in told.err


@pytest.mark.fault("options of inspect that cannot be")
def test_options_that_cannot_be(called, folder, tmp_path) -> None:
    path = folder / "s6_open_1.wav"
    for more, said in (
        (("--a4", "20"), "--a4: is 20 Hz"),
        (("--limit", "length_s=1"), "length_s"),
        (("--pluck", "7"), "--pluck: is 7, and s6_open_1.wav has 1 pluck"),
        (("--instrument", tmp_path / "no.toml"), "no.toml"),
        (("--html", path), "would write over"),
        (("--json", tmp_path / "no" / "x.json"), "cannot be written"),
        (("--json", "-", "--html", "-"), "goes there too"),
    ):
        told = called("inspect", path, *more)
        assert (told.code, told.out) == (2, ""), more
        assert told.err.count("\n") == 1
        assert said in told.err
    assert soundfile.info(str(path)).frames > 100_000


def test_an_empty_folder_and_a_folder_to_be_in(run, tmp_path) -> None:
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    told = run("inspect", "s6_open_1.wav", cwd=tmp_path, env=env)
    assert (told.returncode, told.stdout) == (2, "")
    assert told.stderr == "pluckcheck: s6_open_1.wav: does not exist. Give one recording.\n"
    told = run("inspect", DEMO.name, "-q", cwd=DEMO.parent, env=env)
    assert (told.returncode, told.stdout, told.stderr) == (0, "", "")


def test_json_for_scripts(called, folder, tmp_path) -> None:
    told = called("inspect", folder / "s6_open_1.wav", "--json", "-")
    body = json.loads(told.out, parse_constant=pytest.fail)
    assert (told.code, told.err, body["kind"]) == (0, "", "inspection")
    assert body["pitch"]["settled_hz"] == pytest.approx(82.407, rel=1e-5)
    assert body["pitch"]["beat_hz"] is None
    assert {each["verdict"] for each in body["checks"]} == {"good"}
    assert called("inspect", folder / "s1_open_1.wav", "--json", tmp_path / "x.json").code == 1
    assert json.loads((tmp_path / "x.json").read_text("utf-8"))["status"] == "rejected"
    listed = json.loads(called("inspect", folder / "whole.wav", "--json", "-").out)
    assert listed["kind"] == "plucks"
    assert [each["label"]["string"] for each in listed["plucks"]] == [6, 5]


def test_json_is_as_its_schema_says(folder) -> None:
    """Checked by the ``jsonschema`` library, and able to fail."""
    schema = Draft202012Validator(json.loads(schema_text("inspection")))
    for path in (DEMO, *folder.glob("*[!ty].wav")):
        body = json.loads(inspection_as_json(inspect_recording(path)))
        assert not list(schema.iter_errors(body)), path.name
        for wrong in ({**body, "kind": "other"}, {**body, "more": 1}, {**body, "a4_hz": "440"}):
            assert not schema.is_valid(wrong)
        assert not schema.is_valid({key: body[key] for key in body if key != "sound"})


def test_a_stranger_changes_nothing_that_is_heard(called, folder) -> None:
    path = folder / "s6_open_1.wav"
    trusted, apart = (
        json.loads(called("inspect", path, "--json", "-", *more).out)
        for more in ((), ("--untrusted",))
    )
    assert apart["sound"].pop("kind") != trusted["sound"].pop("kind")
    assert apart == trusted


@pytest.mark.fault("a stranger's link, inspected")
def test_links_that_lead_out_are_not_followed(called, folder, tmp_path) -> None:
    link = tmp_path / "s6_open_1.wav"
    link.symlink_to(folder / "s6_open_1.wav")
    assert called("inspect", link, "-q").code == 0
    told = called("inspect", link, "--untrusted", "-q")
    assert told.code == 2
    assert "is a link to a place outside its folder" in told.err


# Drawings of characters


def test_braille_dots_are_those_of_the_standard() -> None:
    """The Unicode Standard, braille patterns: dots 1 to 8 are bits 0 to 7 of U+2800."""
    canvas = Canvas(1, 1, ascii_only=False)
    dots = {1: (0, 0), 2: (0, 1), 3: (0, 2), 4: (1, 0), 5: (1, 1), 6: (1, 2), 7: (0, 3), 8: (1, 3)}
    for number, place in dots.items():
        assert canvas.drawn([place]) == [chr(0x2800 + (1 << (number - 1)))]
    assert canvas.drawn(dots.values()) == ["\N{BRAILLE PATTERN DOTS-12345678}"]
    assert canvas.drawn([(9, 9), (-1, 0)]) == [" "]


def test_ascii_dots_and_bars() -> None:
    assert Canvas(3, 1, ascii_only=True).drawn([(0, 0), (1, 1), (2, 0), (2, 1)]) == ["'.:"]
    assert bars([-60, -30, 0, 20, -99], -60, 0, ascii_only=False) == " ▄██ "
    assert bars([0, 8], 0, 8, ascii_only=True).isascii()
    assert resampled([1, 5, 2, 3, 4, 0], 3) == [5, 3, 4]
    assert resampled([1.0, 2.0], 5) == [1.0, 2.0]


def test_a_line_does_not_break() -> None:
    places = line_places([(0, 0), (10, 100)], Scale(0, 10, 0, 9), Scale(0, 100, 35, 0))
    dots = {(int(x), int(y)) for x, y in places}
    assert {y for _, y in dots} == set(range(36))
    assert (0, 35) in dots
    assert (9, 0) in dots
