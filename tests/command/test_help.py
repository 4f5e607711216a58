"""Help: short enough to be seen whole, with an example, in the order of the work, all of it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

README = (Path(__file__).parents[2] / "README.md").read_text("utf-8")
# First what is recorded, then one instrument, then many, then what scripts need.
COMMANDS = "sheet analyze inspect compare restring history lot watch station schema".split()
LINES = 30  # of 80 columns: a window of common size, a little taller than that of old terminals


def help_of(called, *words: str) -> str:
    done = called(*words, "--help")
    assert done.code == 0
    return done.out


def test_commands_stand_in_the_order_of_the_work(called) -> None:
    listed = help_of(called).partition("Commands:\n")[2].partition("\n\n")[0]
    assert re.findall(r"^  ([a-z]+) ", listed, re.MULTILINE) == COMMANDS


@pytest.mark.parametrize("command", [None, *COMMANDS])
def test_help_is_seen_whole(called, monkeypatch, command) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    lines = help_of(called, *([command] if command else [])).splitlines()
    assert len(lines) <= LINES
    assert max(map(len, lines)) <= 80


@pytest.mark.parametrize("command", COMMANDS)
def test_help_shows_an_example_that_is_a_use_of_the_command(called, command) -> None:
    (example,) = re.findall(
        r"^  Example: (.*(?:\n    ?.*)?)$", help_of(called, command), re.MULTILINE
    )
    assert example.startswith(f"pluckcheck {command}")
    options = set(re.findall(r"--[a-z0-9-]+", example))
    assert options <= set(
        re.findall(r"--[a-z0-9-]+", help_of(called, command).partition("Options:")[2])
    )


@pytest.mark.parametrize("command", COMMANDS)
def test_manual_and_help_have_the_same_options(called, command) -> None:
    """Every line of use in the manual, with the lines that go on below it."""
    uses = re.findall(
        rf"^    pluckcheck {command}( [A-Z\[].*\n(?:     +[\[A-Z-].*\n)*)", README, re.MULTILINE
    )
    in_manual = set(re.findall(r"--[a-z0-9-]+", "".join(uses)))
    options = help_of(called, command).partition("Options:")[2]
    in_help = set(re.findall(r"^ +(?:-q, )?(--[a-z0-9-]+)", options, re.MULTILINE))
    assert in_help - {"--help"} == in_manual
