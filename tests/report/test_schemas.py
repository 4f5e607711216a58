"""The JSON Schemas against reports of every kind, and against reports that are wrong.

Checked by the ``jsonschema`` library, after the published meta-schema (JSON Schema 2020-12).
"""

from __future__ import annotations

import copy
import json
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
from benchmark_adjust import KINDS
from conftest import SAMPLE_AUDIO
from jsonschema import Draft202012Validator
from made_folders import TUNINGS, analyzed, made_instrument
from made_notes import fretted_notes, note, published_string, report_of
from made_reports import report_with
from schema_checks import faults, validator
from string_sets import NEXT, NOW
from two_rounds import BEFORE, loaded, moved
from whole_takes import plan_of, whole_take, written

from analyzer.analysis import analyze_folder
from analyzer.instrument.file import read_instrument
from analyzer.report.files import as_json
from analyzer.report.json_text import json_text
from analyzer.schemas import NAMES, schema_text
from analyzer.string_model.fretting import Setbacks

UNITS = (
    "_hz",
    "_cents",
    "_db",
    "_mm",
    "_s",
    "_n",
    "_cents_per_s",
    "_turn",
    "turns",
    "_mm_per_turn",
    "_cents_per_day",
    "_cents2",
    "_percent",
)
# Numbers that have no unit, and lists and maps whose members stand for themselves.
WITHOUT_UNIT = {
    *("stiffness", "stiffness_uncertainty", "response", "response_uncertainty", "share"),
    *("instrument_factor", "instrument_factor_uncertainty", "normalised_difference"),
    *("weight", "value", "caution", "reject"),  # of the last three, "unit" stands beside them
    # Of a lot: shares, probabilities, indices and counts.
    "conformity_probability",
    *("lower", "upper", "confidence", "share", "cumulative_share", "f", "p", "interaction_p"),
    *("consumers_risk", "producers_risk", "conforming_accepted", "nonconforming_rejected"),
    *("conforming_not_decided", "nonconforming_not_decided", "false_alarm", "normality_p"),
    *("expected_nonconforming_accepted", "expected_conforming_rejected", "capability_index"),
    *("expected_false_alarms", "degrees_of_freedom", "lag1_autocorrelation"),
    # Of the station check: "unit" stands beside them all but the first and the last.
    *("false_alarm", "standard_uncertainty", "mean", "sigma", "half_width", "average"),
    *("average_half", "slope_per_day", "slope_standard_uncertainty_per_day", "p"),
    *("state", "covariance", "cents", "schema_version", "cents_per_mm", "cents_per_turn"),
}


REPORT, COMPARISON, RESTRING = map(validator, ("report", "comparison", "restring"))


def reported(report) -> dict[str, Any]:
    return json.loads(as_json(report))


@pytest.fixture(scope="module")
def demo() -> dict[str, Any]:
    return reported(analyze_folder(SAMPLE_AUDIO / "own_saddles", jobs=1))


@pytest.mark.parametrize("name", NAMES)
def test_schemas_are_schemas(name) -> None:
    Draft202012Validator.check_schema(json.loads(schema_text(name)))


def test_demo(demo) -> None:
    assert faults(REPORT, demo) == []
    assert all(each["course"]["cents"] for each in demo["recordings"])


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("screw", [True, False])
def test_every_kind_of_bridge(tmp_path, kind, screw) -> None:
    path = tmp_path / "instrument.toml"
    lines = KINDS[kind].splitlines()
    kept = [each for each in lines if screw or not each.startswith(("thread", "screw", "smallest"))]
    path.write_text("\n".join(["[instrument]", *kept]), encoding="utf-8")
    instrument = read_instrument(path)
    errors = dict(zip(instrument.strings, (8.0, -5.0, 3.0, 0.0, 11.0, -2.0) * 2, strict=False))
    body = reported(report_with(instrument, errors))
    assert faults(REPORT, body) == []
    assert body["adjusters"]
    assert any(each["move_mm"] for each in body["adjusters"])


def test_rejected_recordings_and_strings_without_a_result(tmp_path) -> None:
    (tmp_path / "s6_open_1.wav").write_bytes(b"RIFF")
    (tmp_path / "no label \udcff.wav").write_bytes(b"RIFF")
    body = reported(analyze_folder(tmp_path, jobs=1))
    assert faults(REPORT, body) == []
    assert {each["status"] for each in body["recordings"]} == {"rejected"}
    assert {each["error_cents"] for each in body["strings"]} == {None}


def test_frets_and_findings() -> None:
    string = published_string(6)
    notes = fretted_notes(6, string, Setbacks(3.0, -0.5), (1, 3, 5, 7, 12, 17))
    others = [
        note("6 h12", 0.5),
        note("5 open"),
        note("5 f3"),
        note("4 open 1"),
        note("4 open 2", 9.0),
    ]
    body = reported(report_of(*notes, *others))
    assert faults(REPORT, body) == []
    assert [bool(each["verdict"]) for each in body["frets"]] == [True, False]
    assert body["frets"][0]["harmonic_cents"] is not None
    assert [each["cause"] for each in body["findings"]] == ["repeats scatter"]


def test_second_round_and_comparison(before, record, called, tmp_path) -> None:
    advised = {each["name"]: each["move_mm"] for each in loaded(before)["adjusters"]}
    true = {s: moved(error, 0.9 * advised[f"saddle {s}"]) for s, error in BEFORE.items()}
    after = tmp_path / "after.json"
    words = ("analyze", record("after", true), "--previous", before, "--json", after, "-q")
    assert called(*words).code == 0
    body = loaded(after)
    assert faults(REPORT, body) == []
    assert (len(body["outcome"]), len(body["errors_before"])) == (2, 2)
    assert body["response"]["rounds"] == 1
    compared = json.loads(called("compare", before, after, "--json", "-").out)
    assert faults(COMPARISON, compared) == []
    assert [each["verdict"] for each in compared["strings"]] != [None, None]


def test_comparison_without_a_result(before, called, tmp_path) -> None:
    body, after = loaded(before), tmp_path / "after.json"
    body["strings"][0].update(error_cents=None, error_uncertainty_cents=None)
    after.write_text(json.dumps(body), encoding="utf-8")
    done = called("compare", before, after, "--json", "-")
    assert done.code == 1
    assert faults(COMPARISON, json.loads(done.out)) == []


def test_whole_take(tmp_path) -> None:
    rng = np.random.default_rng(13)
    made = made_instrument(rng, TUNINGS[4])
    written(tmp_path / "whole.wav", whole_take(plan_of(made, 1), rng).samples)
    body = reported(analyzed(tmp_path, made.instrument))
    assert faults(REPORT, body) == []
    assert all(each["end_s"] > each["start_s"] for each in body["recordings"])


def test_restringing_plan(called, tmp_path) -> None:
    now, after = tmp_path / "instrument.toml", tmp_path / "next.toml"
    now.write_text(NOW, encoding="utf-8")
    after.write_text(NEXT, encoding="utf-8")
    plan = json.loads(called("restring", now, after, "--json", "-").out)
    assert faults(RESTRING, plan) == []
    assert all(each["error_change_cents"] for each in plan["strings"])


WRONG = [
    ("a key too many", lambda b: b["strings"][0].update(error=1)),
    ("a key too few", lambda b: b["strings"][0].pop("error_cents")),
    ("a number as text", lambda b: b["strings"][0].update(error_cents="7.8")),
    ("a negative interval", lambda b: b["strings"][0].update(error_uncertainty_cents=-0.1)),
    ("no figure and no reason", lambda b: b["strings"][0].update(error_cents=None)),
    ("string 0", lambda b: b["strings"][0].update(string=0)),
    ("a frequency of nought", lambda b: b["strings"][0].update(open_hz=0)),
    ("another schema", lambda b: b.update(schema_version=2)),
    ("no schema", lambda b: b.pop("schema_version")),
    ("an unknown status", lambda b: b["recordings"][0].update(status="good")),
    ("rejected, and no reason", lambda b: b["recordings"][0].update(status="rejected")),
    (
        "a caution that is not said",
        lambda b: b["recordings"][0].update(status="used with a caution"),
    ),
    ("a caution on what is used", lambda b: b["recordings"][0].update(cautions=["hums"])),
    ("no such fret", lambda b: b["recordings"][0].update(fret="12")),
    ("a course of text", lambda b: b["recordings"][0]["course"]["cents"].append("x")),
    ("a direction of its own", lambda b: b["adjusters"][0].update(direction="left")),
    ("turns to the left", lambda b: b["adjusters"][0].update(turns=-1.0)),
    ("travel one way", lambda b: b["adjusters"][0].update(travel_mm=[4.0])),
    ("a string by its note", lambda b: b["saddles"][0]["residual_cents"].update(E2=0.1)),
    ("an action of its own", lambda b: b["adjusters"][0].update(action="push")),
    ("no step", lambda b: b["steps"][0].pop("adjuster")),
]


@pytest.mark.parametrize(("what", "edit"), WRONG, ids=[each[0] for each in WRONG])
def test_wrong_reports_are_refused(demo, what, edit) -> None:
    body = copy.deepcopy(demo)
    edit(body)
    assert faults(REPORT, body), what


def objects(schema: Any) -> Iterator[dict[str, Any]]:
    if isinstance(schema, dict):
        if "properties" in schema and "title" in schema:
            yield schema
        for each in schema.values():
            yield from objects(each)
    elif isinstance(schema, list):
        for each in schema:
            yield from objects(each)


@pytest.mark.parametrize("name", NAMES)
def test_every_key_is_closed_and_every_number_has_its_unit(name) -> None:
    found = list(objects(json.loads(schema_text(name))))
    assert len(found) >= 3
    for each in found:
        assert each["additionalProperties"] is False
        assert set(each["required"]) == set(each["properties"])
        for key, value in each["properties"].items():
            kinds = value.get("type", [])
            number = "number" in ([kinds] if isinstance(kinds, str) else kinds)
            if number:
                assert value["description"]
                assert key in WITHOUT_UNIT or key.endswith(UNITS), key


def test_command_prints_it(called) -> None:
    for name in NAMES:
        done = called("schema", name)
        assert (done.code, done.out) == (0, schema_text(name))
    assert called("schema").out == schema_text("report")
    done = called("schema", "letter")
    assert (done.code, done.out, done.err.count("\n")) == (2, "", 1)


def test_lists_of_numbers_stand_on_few_lines(demo) -> None:
    """What is written is the same value as without any of it (the standard library reads it)."""
    text = json_text(demo)
    assert json.loads(text) == demo
    assert max(map(len, text.splitlines())) <= 400  # sentences are not broken
    course = text[text.index('"times_s"') : text.index('"cents"')]
    assert 3 <= course.count("\n") <= 8
    hostile = {
        "[\n 1,\n 2\n]": ["[\n  1\n]", "a\\[\n1,2]"],
        "empty": [],
        "deep": [[1.5, None], [-2e-9]],
    }
    assert json.loads(json_text(hostile)) == hostile
    with pytest.raises(ValueError, match="JSON"):
        json_text([float("nan")])
