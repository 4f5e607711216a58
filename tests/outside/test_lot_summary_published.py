"""Published examples through the frames of a lot: the summary's JSON has the published numbers.

That the statistics themselves are right is held by the tests of each; these hold that a lot's rows
reach them in the right order and groups, and leave under the right name.
"""

from __future__ import annotations

import json

import numpy as np
import pytest
from gauge_studies import AIAG, SECOND
from hard_bake import WIDTHS
from made_lot_frames import START_S, Frames, Made, frames, specification

from analyzer.lot.output.summary_json import as_json


def shuffled(found: Frames, seed=4) -> Frames:
    """The same rows as a store may give them, in any order."""
    return Frames(
        found.sessions.sample(frac=1, random_state=seed),
        found.judged.sample(frac=1, random_state=seed),
    )


@pytest.fixture(scope="module")
def hard_bake() -> dict:
    """125 instruments of one string, one after the other: 25 subgroups of 5; limits 1.5 +- 0.5."""
    spec = specification(1.0, 2.0, 1.5)
    made = [
        Made(f"{n:03d}", {("error_cents", 1): width}, u=0.01, at_s=START_S + 60 * n)
        for n, width in enumerate(WIDTHS.ravel())
    ]
    return json.loads(as_json(shuffled(frames(made, spec)).summary(spec)))


def test_hard_bake_charts_are_the_published_ones(hard_bake) -> None:
    """COMPUTED; the book prints 1.5056, 1.69325, 1.31795, 0.32521 and 0.68749 (MEMORY)."""
    (chart,) = hard_bake["control"]["charts"]
    mean, scatter = chart["location"], chart["scatter"]
    (limits,), (spread,) = mean["limits"], scatter["limits"]
    assert (mean["drawn"], scatter["drawn"]) == ("mean", "range")
    assert limits["centre_cents"] == pytest.approx(1.5056104, abs=5e-8)
    assert limits["upper_cents"] == pytest.approx(1.693255, abs=1e-4)
    assert limits["lower_cents"] == pytest.approx(1.317965, abs=1e-4)
    assert spread["centre_cents"] == pytest.approx(0.325208, abs=5e-7)
    assert spread["upper_cents"] == pytest.approx(0.687490, abs=2e-4)
    assert spread["lower_cents"] == 0
    assert mean["points_cents"] == pytest.approx(WIDTHS.mean(axis=1).tolist())
    assert scatter["points_cents"] == pytest.approx(np.ptp(WIDTHS, axis=1).tolist())
    first = hard_bake["control"]["subgroups"][0]
    assert (first["first_serial"], first["last_serial"]) == ("000", "004")
    assert "beyond limits" not in {each["rule"] for each in mean["signals"]}
    assert scatter["signals"] == []


def test_hard_bake_capability_is_the_published_one(hard_bake) -> None:
    """COMPUTED with sigma = R-bar / 2.326; the book prints Cp 1.192 (MEMORY)."""
    (judged,) = hard_bake["judged"]
    found = judged["capability"]
    values = {"cp": 1.19206, "cpk": 1.17868, "pp": 1.25094, "ppk": 1.23690}
    for name, value in values.items():
        assert found[name]["value"] == pytest.approx(value, abs=1e-4)
        assert found[name]["lower"] < value < found[name]["upper"]
    assert "R-bar/d2" in found["cp"]["method"]
    assert "overall s" in found["pp"]["method"]
    assert found["overall"]["result"]["sigma_cents"] == pytest.approx(0.1332335, abs=5e-8)


def test_hard_bake_without_the_measurements_share(hard_bake) -> None:
    """By hand: s^2 - u^2 = 0.1332335^2 - 0.01^2; C_m = T / (4 u) (JCGM 106:2012, 7.6.3)."""
    found = hard_bake["judged"][0]["measuring"]["result"]
    left = (0.1332335**2 - 0.01**2) ** 0.5
    assert found["process_sd_cents"] == pytest.approx(left, abs=1e-7)
    assert found["share_percent"] == pytest.approx(100 * (0.01 / 0.1332335) ** 2, rel=1e-5)
    assert found["capability_index"] == pytest.approx(1.0 / (4 * 0.01))
    assert found["process_pp"]["value"] == pytest.approx(1 / (6 * left), rel=1e-6)


def study_of(table, by="operator", strings=1) -> list[dict]:
    """Of an array (parts, operators, repeats): each string of an instrument has the same values."""
    spec = specification(-20.0, 20.0)
    made = [
        Made(
            f"part {part}",
            {("error_cents", string): float(value) for string in range(1, strings + 1)},
            **{by: f"{by} {who}"},
            repeat=repeat + 1,
            at_s=START_S + 1000 * repeat + part,
            latest=(who, repeat) == (table.shape[1] - 1, table.shape[2] - 1),
        )
        for (part, who, repeat), value in np.ndenumerate(table)
    ]
    summary = shuffled(frames(made, spec)).summary(spec)
    assert summary.counts.sessions == table.size
    assert summary.counts.instruments == table.shape[0]
    return json.loads(as_json(summary))["gauge"]["studies"]


@pytest.mark.parametrize("by", ["operator", "station"])
def test_aiag_study_is_the_published_one_by_both_methods(by) -> None:
    """AIAG, Measurement Systems Analysis, 4th ed.: the same data, 4 categories and 5."""
    (study,) = study_of(AIAG, by)
    assert (study["string"], study["parts"], study["unused_parts"]) == (1, 10, 0)
    assert study["operators_are"] == f"{by}s"
    anova, by_range = study["anova"]["result"], study["average_and_range"]["result"]
    rows = {row["source"]: row for row in anova["table"]}
    assert rows["part"]["squares_cents2"] == pytest.approx(88.361934, abs=5e-7)
    assert rows["operator"]["f"] == pytest.approx(39.617, abs=5e-4)
    assert (anova["pooled"], anova["shares"]["categories"]) == (True, 4)
    assert anova["shares"]["gauge"]["study_percent"] == pytest.approx(27.861, abs=5e-4)
    assert anova["shares"]["gauge"]["sd_cents"] == pytest.approx(0.3023715, abs=5e-8)
    assert anova["shares"]["gauge"]["tolerance_percent"] == pytest.approx(
        100 * 6 * 0.3023715 / 40, rel=1e-6
    )
    assert "interaction pooled" in study["anova"]["method"]
    assert study["average_and_range"]["method"] == "average and range"
    assert by_range["mean_range_cents"] == pytest.approx(0.3417, abs=5e-5)
    assert by_range["shares"]["gauge"]["study_percent"] == pytest.approx(26.678, abs=5e-3)
    assert by_range["shares"]["categories"] == 5
    assert by_range["beyond"] == [{"part": "part 3", "operator": f"{by} 1"}]


def test_second_study_is_the_printed_one() -> None:
    (study,) = study_of(SECOND)
    anova = study["anova"]["result"]
    rows = {row["source"]: row for row in anova["table"]}
    assert rows["operator"]["squares_cents2"] == pytest.approx(1.630351, abs=5e-7)
    assert rows["part"]["squares_cents2"] == pytest.approx(28.909369, abs=5e-7)
    assert rows["part"]["freedom"] == 4


def test_strings_are_parts_of_their_own_where_all_are_taken_together() -> None:
    """Two strings alike: 20 parts, twice the squares between repeats, the same repeatability."""
    six, five, together = study_of(AIAG, strings=2)
    assert (six["string"], five["string"], together["string"]) == (2, 1, None)
    assert six["anova"] == five["anova"]
    assert together["parts"] == 20
    error = {row["source"]: row for row in together["anova"]["result"]["table"]}["error (pooled)"]
    # SS of repeats and of the interaction of one string (published), twice.
    assert error["squares_cents2"] == pytest.approx(2 * 3.117916, abs=2e-6)
    assert "strings" in together["caution"]
