"""The manual says what the program does: its demo, its bridges, its links and its picture."""

from __future__ import annotations

import re
import struct

import pytest
from conftest import ROOT, SAMPLE_AUDIO
from manual import HEIGHT, PICTURE, WIDTH, first_tables

from analyzer.instrument.bridge_table import KINDS
from analyzer.instrument.file import read_instrument

README = (ROOT / "README.md").read_text("utf-8")
HEAD = '[instrument]\nscale_length_mm = 647.7\ntuning = ["E2", "A2", "D3", "G3", "B3", "E4"]\n'
BRIDGES = [
    block
    for block in re.findall(r"```toml\n(.*?)```", README, re.DOTALL)
    if block.startswith("[bridge]")
]
_NUMBER = re.compile(r"[+-]?\d+(?:\.\d+)?")


def test_the_demo_is_what_the_manual_shows(called) -> None:
    """Its words are the program's, and so are its figures, but for the last digit."""
    (shown,) = re.findall(r"<!-- demo -->\n```text\n(.*?)\n```", README, re.DOTALL)
    found = first_tables(called("analyze", SAMPLE_AUDIO / "own_saddles").out)
    assert _NUMBER.sub("#", shown) == _NUMBER.sub("#", found)
    numbers = [[float(each) for each in _NUMBER.findall(text)] for text in (shown, found)]
    assert numbers[0] == pytest.approx(numbers[1], abs=0.11)


def test_the_manuals_errors_are_those_that_the_demo_was_made_with(demo_truth) -> None:
    (shown,) = re.findall(r"<!-- demo -->\n```text\n(.*?)\n```", README, re.DOTALL)
    found = re.findall(r"^ (\d) [A-G]\d .* ([+-][\d.]+) ± ", shown, re.MULTILINE)
    truth = {
        row["string"]: row["error_cents"] for row in demo_truth if row["folder"] == "own_saddles"
    }
    assert len(found) == 6
    for string, error in found:
        assert float(error) == pytest.approx(float(truth[string]), abs=0.05 + 1e-9)


@pytest.mark.parametrize("bridge", BRIDGES)
def test_an_example_of_a_bridge_is_read(tmp_path, bridge) -> None:
    (tmp_path / "instrument.toml").write_text(HEAD + bridge, "utf-8")
    found = read_instrument(tmp_path / "instrument.toml").bridge
    assert sorted(string for saddle in found.saddles for string in saddle) == [1, 2, 3, 4, 5, 6]


def test_every_kind_of_bridge_has_an_example() -> None:
    named = {
        kind for block in BRIDGES for kind in re.findall(r'^kind = "(.*)"$', block, re.MULTILINE)
    }
    assert {"saddles", *named} == set(KINDS)


def test_every_link_leads_somewhere() -> None:
    headings = {
        re.sub(r"[^a-z0-9 -]", "", each.lower()).replace(" ", "-")
        for each in re.findall(r"^#+ (.*)$", README, re.MULTILINE)
    }
    targets = re.findall(r"\]\(([^)]+)\)", README)
    assert len(targets) > 10
    for target in targets:
        assert target[1:] in headings if target.startswith("#") else (ROOT / target).exists(), (
            target
        )


def test_the_picture_is_a_png_of_the_size_that_is_asked_for() -> None:
    content = PICTURE.read_bytes()
    assert content.startswith(b"\x89PNG\r\n\x1a\n")
    assert struct.unpack(">II", content[16:24]) == (WIDTH, HEIGHT)  # PNG (ISO/IEC 15948), 11.2.2
