"""The command as a user meets it: exit codes, streams, pipes, narrow terminals, bad input."""

from __future__ import annotations

import csv
import io
import json
import os
import re
import shutil
import subprocess
import sys

import pytest
from conftest import ROOT, SAMPLE_AUDIO, Run

DEMO = SAMPLE_AUDIO / "own_saddles"


@pytest.fixture(scope="module")
def damaged(tmp_path_factory):
    """The demo without an instrument file and one note, and with five files that cannot be used."""
    folder = tmp_path_factory.mktemp("damaged")
    for path in DEMO.glob("*.wav"):
        shutil.copy(path, folder)
    (folder / "s3_f12_1.wav").unlink()
    (folder / "s3_f12_2.wav").unlink()
    (folder / "s2_open_2.wav").write_bytes(b"not a sound")
    (folder / "s2_open_3.wav").write_bytes(b"")
    shutil.copy(folder / "s2_open_1.wav", folder / "practice.wav")
    shutil.copy(folder / "s2_open_1.wav", folder / "s1_open_4.wav")
    shutil.copy(folder / "s6_f12_1.wav", folder / "s6_open_9.wav")
    return folder


@pytest.mark.fault("a folder in which much is damaged")
def test_damaged_folder_loses_only_what_is_damaged(run: Run, damaged) -> None:
    done = run("analyze", damaged, "--json", "-")
    assert done.returncode == 1
    report = json.loads(done.stdout)
    whole = json.loads(run("analyze", DEMO, "--json", "-").stdout)
    errors = {each["string"]: each["error_cents"] for each in report["strings"]}
    assert errors.pop(3) is None
    for each in whole["strings"]:
        if each["string"] in errors:
            assert errors[each["string"]] == pytest.approx(each["error_cents"], abs=1e-6)
    string_3 = next(each for each in report["strings"] if each["string"] == 3)
    assert "No usable 12th-fret recording" in string_3["reason"]
    assert string_3["open_hz"] is not None
    reasons = {e["file"]: e["reason"] for e in report["recordings"] if e["status"] == "rejected"}
    assert set(reasons) == {
        "s2_open_2.wav",
        "s2_open_3.wav",
        "practice.wav",
        "s1_open_4.wav",
        "s6_open_9.wav",
    }
    assert "cannot be read as sound" in reasons["s2_open_2.wav"]
    assert "is empty (0 bytes)" in reasons["s2_open_3.wav"]
    assert "neither string nor fret" in reasons["practice.wav"]
    assert "but sounds 247.3 Hz (B3, as string 2 open)" in reasons["s1_open_4.wav"]
    assert "but sounds 165.3 Hz (E3, as string 6 at the 12th fret" in reasons["s6_open_9.wav"]


def test_without_instrument_file_there_are_cents_but_no_moves(run: Run, damaged) -> None:
    report = json.loads(run("analyze", damaged, "--json", "-").stdout)
    assert report["instrument"]["tuning"] == ["E2", "A2", "D3", "G3", "B3", "E4"]
    assert report["saddles"] == []
    assert all(each["saddle_move_mm"] is None for each in report["strings"])
    assert any(line.startswith("No instrument.toml in") for line in report["warnings"])


def test_table_and_last_line_in_a_pipe(started: Run) -> None:
    done = started("analyze", DEMO)
    assert done.returncode == 0
    assert done.stderr == ""
    assert "\x1b" not in done.stdout
    assert "+7.8 ± " in done.stdout
    last = done.stdout.strip().splitlines()[-1]
    assert last == (
        "6 of 6 strings have a result; 16 recordings used, 0 left out. "
        "Largest error: string 3, 11.4 cents sharp."
    )


@pytest.mark.parametrize("columns", [40, 60, 80, 120])
def test_no_line_is_wider_than_the_terminal(run: Run, columns) -> None:
    done = run("analyze", DEMO, env={**os.environ, "COLUMNS": str(columns)})
    assert done.returncode == 0
    lines = done.stdout.splitlines()
    assert max(map(len, lines)) <= columns
    for string in ("6 E2", "1 E4"):
        assert any(string in line for line in lines)
    assert any("+11.4" in line for line in lines)


def test_files_and_quiet(run: Run, tmp_path) -> None:
    out_json, out_csv = tmp_path / "report.json", tmp_path / "report.csv"
    done = run("analyze", DEMO, "--json", out_json, "--csv", out_csv, "--quiet")
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
    report = json.loads(out_json.read_text(encoding="utf-8"))
    rows = list(csv.DictReader(io.StringIO(out_csv.read_text(encoding="utf-8"))))
    assert report["schema_version"] == 1
    assert [int(row["string"]) for row in rows] == [6, 5, 4, 3, 2, 1]
    for row, each in zip(rows, report["strings"], strict=True):
        for key in ("open_hz", "error_cents", "error_uncertainty_cents", "saddle_move_mm"):
            assert float(row[key]) == pytest.approx(each[key], rel=1e-12)


def test_json_has_the_keys_that_others_rely_on(run: Run) -> None:
    report = json.loads(run("analyze", SAMPLE_AUDIO / "paired_saddles", "--json", "-").stdout)
    strings = (
        "string note open_hz fretted_hz error_cents error_uncertainty_cents open_drift_cents "
        "fretted_drift_cents sustain_drift_cents saddle_move_mm saddle_move_uncertainty_mm"
    )
    assert set(strings.split()) <= set(report["strings"][0])
    assert set("strings move_mm turns direction residual_cents".split()) <= set(
        report["saddles"][0]
    )
    recordings = (
        "file string fret take status reason settled_hz settled_uncertainty_cents "
        "sustain_drift_cents stiffness"
    )
    assert set(recordings.split()) <= set(report["recordings"][0])
    assert [each["strings"] for each in report["saddles"]] == [[6, 5], [4, 3], [2, 1]]
    assert set(report["saddles"][0]["residual_cents"]) == {"6", "5"}
    # 6-32: 25.4/32 mm a turn, head on the neck side: to lengthen, counterclockwise.
    first = report["saddles"][0]
    assert first["move_mm"] == pytest.approx(first["turns"] * 25.4 / 32)
    assert (first["move_mm"] > 0, first["direction"]) == (True, "counterclockwise")
    residuals = list(first["residual_cents"].values())
    assert abs(residuals[0] + residuals[1]) < 0.25 * 25.4 / 32 * 2.76 + 0.01  # half a step each


def test_frequency_reference_names_notes_and_changes_no_error(run: Run) -> None:
    usual = json.loads(run("analyze", DEMO, "--json", "-").stdout)
    other = json.loads(run("analyze", DEMO, "--json", "-", "--a4", "415").stdout)
    assert other["a4_hz"] == 415
    for a, b in zip(usual["strings"], other["strings"], strict=True):
        assert a["error_cents"] == b["error_cents"]
    far = run("analyze", DEMO, "--a4", "400", "--json", "-")  # 165 cents away: other notes
    assert far.returncode == 1
    assert all(each["error_cents"] is None for each in json.loads(far.stdout)["strings"])


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (["analyze", "no/such/folder"], "no/such/folder: does not exist"),
        (["analyze", "README.md"], "README.md: is not a folder"),
        (["analyze", "tests"], "tests: holds no recording"),
        (["analyze", "sample_audio"], "these folders do: sample_audio/own_saddles"),
        (["analyze", "sample_audio/own_saddles", "--a4", "4400"], "--a4: is 4400 Hz"),
        (["analyze", "sample_audio/own_saddles", "--a4", "nan"], "--a4: is nan Hz"),
        (["analyze", "sample_audio/own_saddles", "--jobs", "0"], "--jobs: is 0"),
        (
            ["analyze", "sample_audio/own_saddles", "--instrument", "none.toml"],
            "none.toml: cannot be read (No such file or directory)",
        ),
        (
            ["analyze", "sample_audio/own_saddles", "--json", "no/where/report.json"],
            "no/where/report.json: cannot be written",
        ),
    ],
)
@pytest.mark.fault("unusable input")
def test_unusable_input_is_one_line_and_code_2(run: Run, words, line) -> None:
    done = run(*words)
    assert done.returncode == 2
    assert done.stdout == ""
    assert line in done.stderr
    assert done.stderr.startswith("pluckcheck: ")
    assert done.stderr.count("\n") == 1


@pytest.mark.fault("an option that is misused")
def test_usage_errors_are_code_2(run: Run) -> None:
    assert run("analyze").returncode == 2
    assert run("nonsense").returncode == 2
    assert run("analyze", DEMO, "--jobs", "many").returncode == 2


def test_version_is_the_packages_own(started: Run) -> None:
    from importlib.metadata import version

    assert started("--version").stdout == f"pluckcheck {version('pluckcheck')}\n"


def test_help_loads_nothing_heavy() -> None:
    code = (
        "import sys; from cli.main import app\n"
        "try: app(['--help'])\n"
        "except SystemExit: pass\n"
        "heavy = {'numpy', 'scipy', 'librosa', 'pandas', 'joblib'} & set(sys.modules)\n"
        "sys.exit(', '.join(heavy) or 0)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert "analyze" in done.stdout


def test_csv_has_what_to_turn_for_each_string(run: Run) -> None:
    """The demo's two strings of a saddle share its turns; what stands there is that of the JSON."""
    folder = SAMPLE_AUDIO / "paired_saddles"
    rows = list(csv.DictReader(io.StringIO(run("analyze", folder, "--csv", "-").stdout)))
    report = json.loads(run("analyze", folder, "--json", "-").stdout)
    for saddle in report["saddles"]:
        for row in rows:
            if int(row["string"]) not in saddle["strings"]:
                continue
            assert row["saddle"] == f"saddle {'-'.join(map(str, saddle['strings']))}"
            assert float(row["turns"]) == saddle["turns"]
            assert row["direction"] == saddle["direction"]
            assert float(row["advised_move_mm"]) == pytest.approx(saddle["move_mm"])
            after = saddle["residual_cents"][row["string"]]
            assert float(row["residual_cents"]) == pytest.approx(after)
            told = "leave it" if not saddle["move_mm"] else f"{saddle['turns']:g} turn"
            assert row["advice"].startswith(f"{row['saddle']}: {told}")


@pytest.mark.usefixtures("before")
def test_csv_of_one_piece_on_two_posts_names_both(called, tmp_path) -> None:
    """No single turn moves a string there, so the cells of one screw stay empty."""
    folder = tmp_path / "before"
    text = (folder / "instrument.toml").read_text(encoding="utf-8")
    posts = 'kind = "two posts"\nstring_spread_mm = 10\npost_positions_mm = [-5, 15]\n'
    text = text.replace("saddles = [[2], [1]]\n", posts)
    (folder / "instrument.toml").write_text(text, encoding="utf-8")
    done = called("analyze", folder, "--csv", "-")
    rows = list(csv.DictReader(io.StringIO(done.out)))
    assert [row["turns"] for row in rows] == ["", ""]
    for row in rows:
        assert row["advice"].startswith("bass post: ")
        assert "; treble post: " in row["advice"]
    assert float(rows[0]["advised_move_mm"]) > 0 > float(rows[1]["advised_move_mm"])


COMMANDS = "analyze compare history inspect lot restring schema sheet station watch".split()


@pytest.mark.parametrize("command", COMMANDS)
def test_every_option_has_a_word_of_capitals_for_its_value(run, command) -> None:
    """As the README has them: no ``<path>`` or ``<str>`` beside FILE and PATH."""
    done = run(command, "--help")
    options = done.stdout[done.stdout.index("Options:") :]
    assert not re.findall(r"^ +--[a-z0-9-]+ <.*", options, re.MULTILINE)
    arguments = done.stdout[: done.stdout.index("Options:")]
    assert not re.findall(r"^  [a-z]+ ", arguments.partition("Arguments:")[2], re.MULTILINE)


def test_summaries_of_the_commands_are_whole(run) -> None:
    lines = run("--help").stdout.partition("Commands:")[2].splitlines()
    found = [line for line in lines if line.strip().partition(" ")[0] in COMMANDS]
    assert len(found) == len(COMMANDS)
    assert all(line.endswith(".") and not line.endswith("...") for line in found)


def test_a_schema_that_there_is_not(run) -> None:
    done = run("schema", "letter")
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == (
        "pluckcheck: the name of a schema: is 'letter'. Give report, comparison, restring, "
        "inspection, lot, station or history.\n"
    )


def test_a_question_ends_without_a_full_stop(run) -> None:
    said = run("analyse", "x").stderr
    assert "?" not in said or said.endswith("'analyze'? See pluckcheck --help.\n")
    assert "?." not in said
