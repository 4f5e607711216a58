"""The demo instruments, held to the numbers that the script which made them wrote down."""

from __future__ import annotations

import json

import pytest
from conftest import SAMPLE_AUDIO, Run

CLEAN_CENTS = 0.1  # what the analysis promises on a clean synthetic pluck


@pytest.fixture(scope="module", params=["own_saddles", "paired_saddles"])
def demo(request, run: Run, demo_truth):
    done = run("analyze", SAMPLE_AUDIO / request.param, "--json", "-")
    assert done.returncode == 0, done.stderr
    truth = {int(row["string"]): row for row in demo_truth if row["folder"] == request.param}
    return json.loads(done.stdout), truth


def test_every_error_is_the_true_one(demo) -> None:
    report, truth = demo
    assert len(report["strings"]) == len(truth) == 6
    for each in report["strings"]:
        true_cents = float(truth[each["string"]]["error_cents"])
        print(
            f"\n{report['instrument']['name']}, string {each['string']}: "
            f"{each['error_cents']:+.4f} ± {each['error_uncertainty_cents']:.2f} cents, "
            f"truth {true_cents:+.1f}",
            end="",
        )
        assert each["error_cents"] == pytest.approx(true_cents, abs=CLEAN_CENTS)
        assert abs(each["error_cents"] - true_cents) <= each["error_uncertainty_cents"]


def test_frequencies_are_the_true_ones(demo) -> None:
    report, truth = demo
    for each in report["strings"]:
        for key in ("open_hz", "fretted_hz"):
            true_hz = float(truth[each["string"]][key])
            assert each[key] == pytest.approx(true_hz, rel=CLEAN_CENTS / 1731)


def test_drift_is_the_true_one_and_falls(demo) -> None:
    report, truth = demo
    for each in report["strings"]:
        row = truth[each["string"]]
        drifts = [float(row["open_drift_cents"]), float(row["fretted_drift_cents"])]
        assert each["open_drift_cents"] == pytest.approx(drifts[0], abs=0.3)
        assert each["fretted_drift_cents"] == pytest.approx(drifts[1], abs=0.3)
        assert each["sustain_drift_cents"] == pytest.approx(max(drifts, key=abs), abs=0.3)
        assert each["sustain_drift_cents"] < 0


def test_stiffness_of_the_open_strings(demo) -> None:
    report, truth = demo
    opens = [each for each in report["recordings"] if each["fret"] == "open"]
    assert len(opens) >= 6
    for each in opens:
        true_b = float(truth[each["string"]]["open_stiffness"])
        assert each["stiffness"] == pytest.approx(true_b, rel=0.03)


def test_two_takes_are_combined(demo) -> None:
    report, _ = demo
    if report["instrument"]["name"].startswith("Demo One"):
        takes = [each["take"] for each in report["recordings"] if each["string"] == 6]
        assert sorted(takes) == [1, 1, 2, 2]
        widths = {each["string"]: each["error_uncertainty_cents"] for each in report["strings"]}
        assert widths[6] < widths[5]  # two takes of each note are surer than one


def test_whole_demo_is_small() -> None:
    size = sum(path.stat().st_size for path in SAMPLE_AUDIO.rglob("*.wav"))
    assert 0 < size < 5_000_000
