"""Nothing of a result depends on where it is made: locale, time zone, way of starting processes.

Nor on the form that a system gives to the letters of a name.
"""

from __future__ import annotations

import csv
import json
import os
import shutil
import subprocess
import sys
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from multiprocessing import get_context
from unicodedata import normalize

import pytest
from conftest import ROOT, SAMPLE_AUDIO
from made_lots import made_lot

from analyzer.analysis import analyze_folder, read_inputs, report_of
from analyzer.measure import measure_file
from analyzer.report.files import as_json

DEMO = SAMPLE_AUDIO / "paired_saddles"
NAME = "Prélude à l'été Å"  # of letters with marks, some of which have three forms
FORMS = ("NFC", "NFD")


@pytest.fixture(scope="module")
def here() -> str:
    return as_json(analyze_folder(DEMO, jobs=1))


@pytest.mark.parametrize(
    "place",
    [
        {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"},  # ASCII, as in old services
        {"LC_ALL": "C.UTF-8", "TZ": "Pacific/Kiritimati"},  # 14 hours before Greenwich
        {"LC_ALL": "no_SUCH", "TZ": "America/St_Johns"},  # three and a half behind
    ],
    ids=["ASCII", "far east", "unknown locale"],
)
def test_a_report_is_the_same_bytes_anywhere(here, tmp_path, place) -> None:
    places = {name: value for name, value in os.environ.items() if not name.startswith("LC_")}
    words = ["analyze", DEMO, "--jobs", "1", "--json", tmp_path / "report.json"]
    done = subprocess.run(
        [sys.executable, "-m", "cli", *map(str, words)],
        cwd=ROOT, env={**places, **place}, capture_output=True, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, b"")
    assert (tmp_path / "report.json").read_text("utf-8") == here


def test_processes_that_are_started_afresh_measure_the_same(here) -> None:
    """The only way on some systems: nothing of this process is there but what is sent."""
    inputs = read_inputs(DEMO)
    measure = partial(
        measure_file, instrument=inputs.instrument, a4_hz=inputs.a4_hz, rules=inputs.rules
    )
    with ProcessPoolExecutor(1, get_context("spawn")) as pool:
        measured = list(pool.map(measure, inputs.files, [()] * len(inputs.files)))
    assert (
        json.loads(as_json(report_of(inputs, measured, 1)))["strings"]
        == json.loads(here)["strings"]
    )


@pytest.mark.parametrize("written", FORMS)
@pytest.mark.parametrize("kept", FORMS)
def test_a_table_and_its_files_may_spell_letters_apart(here, tmp_path, written, kept) -> None:
    shutil.copy(DEMO / "instrument.toml", tmp_path)
    rows = [("file", "start_s", "end_s", "string", "fret")]
    for place in sorted(DEMO.glob("*.wav")):
        _, string, fret, take = f"{NAME}_{place.stem}".rsplit("_", 3)
        name = f"{NAME} {string} {fret} {take}.wav"
        shutil.copy(place, tmp_path / normalize(kept, name))
        rows.append((normalize(written, name), "", "", string.removeprefix("s"), fret))
    with (tmp_path / "takes.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(rows)
    found = json.loads(as_json(analyze_folder(tmp_path, jobs=1)))
    assert found["strings"] == json.loads(here)["strings"]


@pytest.mark.parametrize("written", FORMS)
@pytest.mark.parametrize("kept", FORMS)
def test_a_lot_and_its_folders_may_spell_letters_apart(called, tmp_path, written, kept) -> None:
    lot = tmp_path / "lot"
    made_lot(lot, 1, tuning=("E2", "A2"), rate_hz=11_025)
    (lot / "P00001").rename(lot / normalize(kept, NAME))
    rows = [("serial", "file")]
    rows += [
        (normalize(written, NAME), normalize(written, f"{NAME}/{each.name}"))
        for each in sorted((lot / normalize(kept, NAME)).glob("*.wav"))
    ]
    with (lot / "lot.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(rows)
    done = called("lot", lot, "--out", tmp_path / "out", "--jobs", 1, "--json", "-")
    body = json.loads(done.out)
    assert body["counts"]["faults"] == 0, done.err
    assert body["counts"]["instruments"] == 1
