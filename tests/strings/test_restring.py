"""What other strings change: the command, its files, and what is said where something lacks."""

from __future__ import annotations

import csv
import io
import json

import pytest
from compensation_tables import TABLES
from made_bridges import own_screws
from restrung import instrument_with, measured
from string_sets import NEXT, NOW

from analyzer.instrument.model import Screw
from analyzer.instrument.string_data import StringData
from analyzer.restring.measured import MeasuredNow
from analyzer.restring.plan import plan_of


def test_the_same_string_again_changes_nothing() -> None:
    row = TABLES["hard nylon"][2]
    bridge = own_screws([(3,)], Screw(0.5, "tail"))
    plan = plan_of(instrument_with({3: measured(row)}, bridge), {3: measured(row)})
    assert plan.strings[0].error_change_cents == 0
    assert plan.strings[0].saddle_move_mm == pytest.approx(0, abs=1e-6)
    assert (plan.saddles[0].turns, plan.saddles[0].direction) == (0, "none")
    assert plan.complete


def test_heights_that_are_not_given_widen_the_interval() -> None:
    now, after = TABLES["normal nylon"][5], TABLES["normal nylon"][0]
    given = {6: measured(now)}, {6: measured(after)}
    without = [
        {6: StringData(2 * row.radius_mm, None, None, None, row.mass_g_per_m, None, row.response)}
        for row in (now, after)
    ]
    known = plan_of(instrument_with(given[0]), given[1]).strings[0]
    unknown = plan_of(instrument_with(without[0]), without[1]).strings[0]
    assert unknown.error_change_uncertainty_cents > known.error_change_uncertainty_cents


@pytest.fixture
def files(tmp_path):
    now, after = tmp_path / "instrument.toml", tmp_path / "next.toml"
    now.write_text(NOW, encoding="utf-8")
    after.write_text(NEXT, encoding="utf-8")
    return now, after


def test_command_as_json_and_csv(run, files) -> None:
    done = run("restring", *files, "--json", "-")
    assert (done.returncode, done.stderr) == (0, "")
    plan = json.loads(done.stdout)
    assert plan["schema_version"] == 1
    assert [each["string"] for each in plan["strings"]] == [6, 3]
    assert all(each["saddle_move_mm"] > 0 for each in plan["strings"])
    assert [each["strings"] for each in plan["saddles"]] == [[6], [3]]
    assert {each["direction"] for each in plan["saddles"]} == {"clockwise"}
    assert plan["limits"].startswith("A change of strings")
    rows = list(csv.DictReader(io.StringIO(run("restring", *files, "--csv", "-").stdout)))
    assert float(rows[0]["error_change_cents"]) == plan["strings"][0]["error_change_cents"]


@pytest.mark.parametrize("columns", [40, 60, 80])
def test_command_in_a_narrow_terminal(run, files, columns) -> None:
    import os

    done = run("restring", *files, env={**os.environ, "COLUMNS": str(columns)})
    assert done.returncode == 0
    assert max(map(len, done.stdout.splitlines())) <= columns
    said = " ".join(done.stdout.split())
    assert "Saddle of string 6: 0.5 turn clockwise, 0.25 mm away from nut" in said
    assert "qualified repairer" in said
    assert "Strings that stay on: 5, 4, 2, 1." in said


def test_string_without_data_now_is_said_and_code_1(run, files) -> None:
    now, after = files
    after.write_text(NEXT + "\n[[strings]]\nstring = 5\ndiameter_mm = 0.9\n", encoding="utf-8")
    done = run("restring", now, after)
    assert done.returncode == 1
    assert "no [[strings]] for what is on now" in " ".join(done.stdout.split())
    assert "no advice: String 5 has no result." in " ".join(done.stdout.split())


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("", "next.toml, [strings]: is missing. Add a table headed [[strings]]"),
        ("[instrument]\nname = 'x'\n" + NEXT, "next.toml, [instrument]: is not known here"),
        (NEXT.replace("string = 3", "string = 9"), "next.toml, [strings]: names string 9"),
        (NEXT.replace("1.168", "11.68"), "next.toml, [strings, string 6] diameter_mm: is 11.68"),
    ],
)
@pytest.mark.fault("an unusable file of the next strings")
def test_unusable_file_is_one_line_and_code_2(run, files, text, line) -> None:
    now, after = files
    after.write_text(text, encoding="utf-8")
    done = run("restring", now, after)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith(f"pluckcheck: {line}")
    assert done.stderr.count("\n") == 1


@pytest.mark.fault("an output in the place of an input")
def test_no_input_is_written_over_and_no_file_is_one_line(run, files) -> None:
    now, after = files
    done = run("restring", now, after, "--json", after)
    assert done.returncode == 2
    assert "would write over" in done.stderr
    assert after.read_text(encoding="utf-8") == NEXT
    done = run("restring", now, after.with_name("none.toml"))
    assert (done.returncode, done.stderr.count("\n")) == (2, 1)


def test_move_within_its_uncertainty_is_left(run, files) -> None:
    """Nylon of which only the gauge is known: its stretch is that of nylon on average."""
    now, after = files
    nylon = '[[strings]]\nstring = 3\ndiameter_mm = {}\nmaterial = "nylon"\n'
    now.write_text(NOW[: NOW.index("[[strings]]")] + nylon.format(1.02), encoding="utf-8")
    after.write_text(nylon.format(1.06), encoding="utf-8")
    said = " ".join(run("restring", now, after).stdout.split())
    assert "Saddle of string 3: leave it" in said
    assert "is within its own uncertainty" in said
    now.write_text(NOW[: NOW.index("[bridge]")] + nylon.format(1.02), encoding="utf-8")
    said = " ".join(run("restring", now, after).stdout.split())
    assert "3 G3" in said
    assert "leave it" in said


def test_string_without_result_in_the_report_has_a_change_and_no_move() -> None:
    now, after = TABLES["normal nylon"][1], TABLES["hard nylon"][1]
    made = instrument_with({2: measured(now)}, own_screws([[2]]))
    plan = plan_of(made, {2: measured(after)}, now=MeasuredNow("before.json", {}, None))
    (found,) = plan.strings
    assert found.error_change_cents is not None
    assert (found.error_next_cents, found.saddle_move_mm) == (None, None)
    assert "before.json has no result for this string" in found.reason
    assert not plan.complete


STEEL = '[[strings]]\nstring = {}\ndiameter_mm = {}\nmaterial = "steel"\n'


def test_report_is_where_presetting_starts(called, before, tmp_path) -> None:
    """BEFORE's strings: 8.0 cents sharp and 5.0 flat; M3, head at the tail; moves of no round."""
    now, after = tmp_path / "before" / "instrument.toml", tmp_path / "next.toml"
    text = now.read_text(encoding="utf-8")
    now.write_text(text + STEEL.format(2, 0.6) + STEEL.format(1, 0.5), encoding="utf-8")
    after.write_text(STEEL.format(2, 0.62), encoding="utf-8")
    plan = json.loads(called("restring", now, after, "--report", before, "--json", "-").out)
    (string,) = plan["strings"]
    assert string["error_now_cents"] == pytest.approx(8.0, abs=0.2)
    assert string["error_next_cents"] == pytest.approx(
        string["error_now_cents"] + string["error_change_cents"]
    )
    assert plan["report"] == "before.json"
    (preset,) = plan["saddles"]
    assert preset["direction"] == "clockwise"
    assert abs(preset["residual_cents"]["2"]) < 0.5
    done = called("restring", now, after, "--report", before)
    assert "Starting from the errors in before.json" in done.out
    now.write_text(now.read_text(encoding="utf-8").replace("Dunlin", "Dotterel"), encoding="utf-8")
    done = called("restring", now, after, "--report", before)
    assert (done.code, done.out) == (2, "")
    assert done.err.startswith("pluckcheck: before.json: is of 'Dunlin', and this is 'Dotterel'.")
